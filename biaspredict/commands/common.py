"""What the commands share: the stage argument, --json, exit codes."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

NOTHING = 0  # nothing to report
FOUND = 1  # findings or suspects
UNUSABLE = 2  # the input could not be used

Run = Callable[[argparse.Namespace], int]
# argparse keeps the type of its subparsers action private
Subparsers = Any


def command(
    subparsers: Subparsers, name: str, run: Run, help_line: str, description: str = ""
) -> argparse.ArgumentParser:
    """A command that reads a stage file and can print a record."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        name, help=help_line, description=description or help_line,
        formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False,
    )
    parser.add_argument("stage", help="the stage file")
    parser.add_argument("--json", action="store_true", help="print a record for programs")
    parser.set_defaults(run=run)
    return parser
