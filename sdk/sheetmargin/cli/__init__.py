"""The command line: `sheetmargin recommend | predict | fit | diagnose | materials | classes | serve`."""

from __future__ import annotations

from sheetmargin.cli.command import main

__all__ = ["main"]
