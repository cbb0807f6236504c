"""A month's report on paper, for whoever looks after the animals."""
