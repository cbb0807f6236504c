"""The time-series store: one SQLite file, the truth of a bridge."""
