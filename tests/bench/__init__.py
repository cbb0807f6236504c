"""Measurements, run by `make bench`: what they print is seen, not asserted."""
