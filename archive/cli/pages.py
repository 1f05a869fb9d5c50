"""What commands that write pages share."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from archive.cli.face import say


def to_option(function: Any) -> Any:
    """Give a command the option that says where its PDF goes."""
    return click.option(
        "--to", required=True, type=click.Path(path_type=Path), metavar="FILE", help="The PDF to write."
    )(function)


def say_notices(notices: Sequence[str]) -> None:
    """Say what a person should know of the pages."""
    for notice in notices:
        say(f"  {notice}")
