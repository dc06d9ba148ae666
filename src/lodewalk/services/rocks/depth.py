"""Depths: bringing them up to date, with every method's word and the one calibrated answer."""

from collections.abc import Callable
from dataclasses import dataclass

from lodewalk.services.rocks.fit import nothing_picked
from lodewalk.services.rocks.idle import idle_picks
from lodewalk.services.rocks.rows import filled, frame_of
from lodewalk.steps.context import Reporter
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import run

ANSWER = "answer"


@dataclass(frozen=True)
class MethodDepth:
    """What one method says: depth of the top below ground with its 90 % interval."""

    method: str
    depth_m: float | None
    depth_low_m: float | None
    depth_high_m: float | None
    valid: bool
    reason: str


@dataclass(frozen=True)
class PickDepth:
    """The calibrated depth at one pick, below ground, and what each method said.

    Without a depth, `reason` says why there is none. `disagreement` is the standard deviation
    of the methods that hold over that of the answer: over 2 they disagree by more than it tells.
    """

    pick: str
    lineament: str | None
    line: str | None
    easting_m: float
    northing_m: float
    depth_m: float | None
    depth_sd_m: float | None
    depth_low_m: float | None
    depth_high_m: float | None
    top_height_m: float | None
    index: float | None
    disagreement: float | None
    reason: str
    methods: list[MethodDepth]


@dataclass(frozen=True)
class DepthResult:
    """The depths, pick by pick.

    `problem` says why nothing was picked at all; `idle` names the decisions that meet nothing.
    """

    picks: list[PickDepth]
    problem: str | None
    idle: list[str]


def depth(
    folder: Folder,
    *,
    workers: int = 2,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> DepthResult:
    """Bring the depths up to date and return them."""
    run(folder, to="depth", workers=workers, reporter=reporter, cancelled=cancelled)
    return DepthResult(depths_of(folder), nothing_picked(folder), idle_picks(folder))


def depths_of(folder: Folder) -> list[PickDepth]:
    """Return the depths as they stand, pick by pick."""
    rows: dict[str, list[dict[str, object]]] = {}
    for row in frame_of(folder, "depths").iter_rows(named=True):
        rows.setdefault(row["pick"], []).append(row)
    found = []
    for pick in frame_of(folder, "picks").iter_rows(named=True):
        own = rows.get(pick["pick"], [])
        methods = [filled(MethodDepth, row) for row in own if row["method"] != ANSWER]
        answers = [row for row in own if row["method"] == ANSWER]
        if answers:
            about = {**pick, **answers[0], "methods": methods}
        else:
            about = {**pick, **NO_DEPTH, "reason": pick["problem"] or "", "methods": methods}
        found.append(filled(PickDepth, about))
    return found


#: The columns of a depth that isn't there.
NO_DEPTH = dict.fromkeys(
    (
        "depth_m",
        "depth_sd_m",
        "depth_low_m",
        "depth_high_m",
        "top_height_m",
        "index",
        "disagreement",
    )
)
