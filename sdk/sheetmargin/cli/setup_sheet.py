"""`sheetmargin setup-sheet`: one page to print for whoever mounts the detector."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import get_args

from sheetmargin.cli.recommend import add_job_options, job_body, write_setup_sheet
from sheetmargin.cli.service import client_of
from sheetmargin.contract.job import Paper

DONE = 0


def add_setup_sheet_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="FILE", help="what to write: .pdf (extra pdf) or .html")
    parser.add_argument("--rank", type=int, default=1, metavar="N", help="rank of the recommendation (default: 1)")
    parser.add_argument("--setup", type=int, default=1, metavar="N", help="its set-up, from 1 (default: 1)")
    parser.add_argument("--paper", choices=get_args(Paper), default="a4", help="a4, or letter with US units")
    add_job_options(parser)


def setup_sheet(arguments: argparse.Namespace) -> int:
    body = json.loads(job_body(arguments))
    with client_of(arguments) as client:
        write_setup_sheet(
            client, body, arguments.file, rank=arguments.rank, setup=arguments.setup - 1, paper=arguments.paper
        )
    return DONE
