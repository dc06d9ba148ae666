"""What commands share: options, JSON on standard output, progress on standard error."""

import json
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from lodewalk.services.opening import Reporter, Silent

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

Survey = Annotated[Path, typer.Argument(metavar="DIR", help="Survey folder.")]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON object on standard output.")]


def emit(result: Any, *, as_json: bool, lines: Iterable[str]) -> None:
    """Print a result, as JSON or as lines for a person."""
    if as_json:
        typer.echo(json.dumps(asdict(result), indent=1, allow_nan=False))
    else:
        for line in lines:
            typer.echo(line)


def columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return rows of cells as lines with even columns.

    Examples
    --------
    >>> columns([["a", "1"], ["bcd", "2"]])
    ['a    1', 'bcd  2']
    """
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))] if rows else []
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]


class Bars:
    """Shows the progress of steps as bars."""

    def __init__(self, progress: "Progress") -> None:
        self._progress = progress
        self._tasks: dict[str, TaskID] = {}

    def began(self, step: str, why: list[str]) -> None:
        """Leave the reasons to the table at the end."""

    def progress(self, step: str, done: int, total: int) -> None:
        """Move the bar of a step."""
        if step not in self._tasks:
            self._tasks[step] = self._progress.add_task(step, total=total)
        self._progress.update(self._tasks[step], completed=done, total=total)


@contextmanager
def progress() -> Iterator[Reporter]:
    """Yield a reporter that draws bars on standard error where that is a terminal."""
    if not sys.stderr.isatty():
        yield Silent()
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bars:
        yield Bars(bars)
