"""The signal of no sheet, one and two, and its spread."""
