"""Options that several commands share."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse


def add_procedure(command: argparse.ArgumentParser) -> None:
    """Add `--procedure`."""
    command.add_argument(
        "--procedure",
        default="fresh-air-damper",
        metavar="NAME",
        help="a procedure's slug, or a .toml file of your own (default: fresh-air-damper)",
    )


def add_log(command: argparse.ArgumentParser) -> None:
    """Add `--log`."""
    command.add_argument("--log", type=Path, metavar="FILE", help="the job log (default: yours)")


def log_path(arguments: argparse.Namespace) -> Path:
    """Return the job log that was named, or the user's own."""
    from companion.joblog import default_path

    return arguments.log or default_path(os.environ)
