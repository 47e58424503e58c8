"""Client for the sheetmargin service."""
