"""A simulated year of twenty lamps: how well the events tell what happened."""
