"""What the store keeps, as tables for other programs: names, units, and rows in bounded batches."""
