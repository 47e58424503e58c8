"""From predicted signals to a ranked recommendation."""
