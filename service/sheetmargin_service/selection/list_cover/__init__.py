"""A list of sheets served by the fewest classes, positions and bands."""
