"""The command line: `sheetmargin recommend | materials | classes | serve`."""

from __future__ import annotations

from sheetmargin.cli.command import main

__all__ = ["main"]
