"""Fits of calibration points; the only place that needs scipy, so nothing else imports it."""
