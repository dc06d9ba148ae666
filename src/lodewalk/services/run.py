"""Bringing the products of a survey up to date."""

from collections.abc import Callable
from dataclasses import dataclass

from lodewalk.steps.context import Reporter
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import StepRun
from lodewalk.survey.run import run as run_steps
from lodewalk.survey.state import read_state
from lodewalk.survey.store import PUBLIC


@dataclass(frozen=True)
class ReadingCount:
    """How many rover readings there are and how many are kept."""

    total: int
    kept: int


@dataclass(frozen=True)
class RunResult:
    """What a run did, and where its products are."""

    steps: list[StepRun]
    readings: ReadingCount | None
    products: list[str]


def run(
    folder: Folder,
    *,
    to: str | None = None,
    rehash: bool = False,
    workers: int = 2,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> RunResult:
    """Bring products up to date; see `lodewalk.survey.run.run`."""
    steps = run_steps(
        folder,
        to=to,
        rehash=rehash,
        workers=workers,
        reporter=reporter,
        cancelled=cancelled,
    )
    products = [
        str(folder.products / PUBLIC[name])
        for made in read_state(folder).values()
        for name in made.products
        if name in PUBLIC
    ]
    return RunResult(steps, _counts(folder), sorted(products))


def _counts(folder: Folder) -> ReadingCount | None:
    """Return the counts from the summary, or None before there is one."""
    import json

    path = folder.products / PUBLIC["summary"]
    if not path.exists():
        return None
    readings = json.loads(path.read_text(encoding="utf-8"))["readings"]
    return ReadingCount(readings["total"], readings["kept"])
