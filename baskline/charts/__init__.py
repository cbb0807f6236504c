"""Charts: one definition each, for the page, for files and for reports."""
