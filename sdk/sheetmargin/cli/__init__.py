"""The command line: `sheetmargin recommend | batch | predict | fit | diagnose | characterise | materials ...`."""

from __future__ import annotations

from sheetmargin.cli.command import main

__all__ = ["main"]
