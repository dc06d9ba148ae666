"""Bringing the products of a survey up to date."""

import json
from collections.abc import Callable
from dataclasses import dataclass

from lodewalk.services.changed.change import Change, changes_since
from lodewalk.services.changed.standing import Beforehand
from lodewalk.steps.context import Reporter, Silent
from lodewalk.steps.declarations import STEPS
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import StepRun
from lodewalk.survey.run import run as run_steps
from lodewalk.survey.store import PUBLIC


@dataclass(frozen=True)
class ReadingCount:
    """How many rover readings there are and how many are kept."""

    total: int
    kept: int


@dataclass(frozen=True)
class RunResult:
    """What a run did, and where its products are; counts only where it went to the end.

    `problem` says why there is no grid, where there is none; `changes` what the survey says
    otherwise than before the run.
    """

    steps: list[StepRun]
    readings: ReadingCount | None
    products: list[str]
    problem: str | None
    changes: list[Change]


def run(
    folder: Folder,
    *,
    to: str | None = None,
    rehash: bool = False,
    workers: int = 2,
    scheduler: str | None = None,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> RunResult:
    """Bring products up to date and tell what that changed; see `lodewalk.survey.run.run`."""
    watching = Beforehand(folder, reporter or Silent())
    steps = run_steps(
        folder,
        to=to,
        rehash=rehash,
        workers=workers,
        scheduler=scheduler,
        reporter=watching,
        cancelled=cancelled,
    )
    changed = changes_since(watching.standing, folder)
    looked_at = {item.step for item in steps}
    products = [
        str(folder.products / PUBLIC[name])
        for step in STEPS
        if step.name in looked_at
        for name in step.products
        if name in PUBLIC
    ]
    if "summary" not in looked_at:
        return RunResult(steps, None, sorted(products), None, changed)
    summary = json.loads((folder.products / PUBLIC["summary"]).read_text(encoding="utf-8"))
    counts = ReadingCount(summary["readings"]["total"], summary["readings"]["kept"])
    return RunResult(steps, counts, sorted(products), summary["grid"]["problem"], changed)
