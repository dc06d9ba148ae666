"""Fitting bodies: bringing them up to date and telling them."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import cast

import polars as pl

from lodewalk.records.interpreted import Bodies, Dips, with_dips
from lodewalk.services.rocks.idle import idle_picks
from lodewalk.services.rocks.rows import filled, frame_of, notes_of, plain
from lodewalk.steps.context import Reporter
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import run
from lodewalk.survey.store import read_product


@dataclass(frozen=True)
class Body:
    """One body: at a pick, or of a lineament, fitted to all its profiles.

    Low and high are the ends of 90 % intervals; where one is missing, the data hold no more than
    the other side. Depths are below ground, heights above the ellipsoid. The dip is that to the
    right of the strike as written; its range holds the remanence that the settings allow.
    """

    body: str
    pick: str | None
    lineament: str | None
    kind: str
    probability: float
    decidable: bool
    easting_m: float
    northing_m: float
    position_sd_m: float
    strike_deg: float | None
    depth_m: float | None
    depth_sd_m: float | None
    depth_low_m: float | None
    depth_high_m: float | None
    top_height_m: float | None
    width_m: float | None
    width_low_m: float | None
    width_high_m: float | None
    width_resolved: bool
    index_angle_deg: float | None
    index_angle_low_deg: float | None
    index_angle_high_deg: float | None
    dip_deg: float | None
    dip_low_deg: float | None
    dip_high_deg: float | None
    dip_range_low_deg: float | None
    dip_range_high_deg: float | None
    positive: bool | None
    susceptibility_width_SI_m: float | None
    susceptibility_width_low_SI_m: float | None
    susceptibility_width_high_SI_m: float | None
    magnetisation: str
    dip_words: str
    misfit: float
    profiles: int
    not_resolved: str


@dataclass(frozen=True)
class NoBody:
    """A pick without a body, and why."""

    pick: str
    line: str | None
    reason: str


@dataclass(frozen=True)
class CompactBody:
    """A compact body under a spot or a named place; without numbers where `problem` says why.

    Depth and height are those of its centre: where its top lies isn't told. The declination of
    its magnetisation counts from true north; where the direction is null, `direction` says why.
    """

    body: str
    source: str
    easting_m: float
    northing_m: float
    position_sd_m: float | None
    centre_depth_m: float | None
    centre_depth_low_m: float | None
    centre_depth_high_m: float | None
    centre_height_m: float | None
    moment_A_m2: float | None
    moment_low_A_m2: float | None
    moment_high_A_m2: float | None
    inclination_deg: float | None
    declination_deg: float | None
    cone_deg: float | None
    off_field_deg: float | None
    remanent: bool | None
    direction: str
    anomaly_share: float | None
    misfit: float | None
    reach_m: float
    readings: int
    problem: str | None


@dataclass(frozen=True)
class FitResult:
    """The bodies, joint ones last, the picks that have none, and what became of known facts.

    `problem` says why nothing was picked at all; `idle` names the decisions that meet nothing.
    """

    bodies: list[Body]
    without: list[NoBody]
    known: list[str] = field(default_factory=list)
    problem: str | None = None
    idle: list[str] = field(default_factory=list)
    compact: list[CompactBody] = field(default_factory=list)


def fit(
    folder: Folder,
    *,
    workers: int = 2,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> FitResult:
    """Bring the bodies up to date and return them."""
    for step in ("dips", "compact"):
        run(folder, to=step, workers=workers, reporter=reporter, cancelled=cancelled)
    told = notes_of(folder, "fit_notes").get("facts", [])
    known = [*(str(fact["text"]) for fact in told), *_outcrops(folder)]
    bodies = [filled(Body, row) for row in told_bodies(folder).iter_rows(named=True)]
    why, idle = nothing_picked(folder), idle_picks(folder)
    rows = frame_of(folder, "compact_bodies").iter_rows(named=True)
    compact = [filled(CompactBody, row) for row in rows]
    idle += idle_compact(folder)
    return FitResult(bodies, without_body(folder), known, why, idle, compact)


def idle_compact(folder: Folder) -> list[str]:
    """Return a sentence for each compact body asked for at a reading without a place."""
    return [
        f"Compact body {row['name']} isn't looked for: its reading {row['reading_id']} has no "
        "place."
        for row in notes_of(folder, "compact_notes")["idle_decisions"]
    ]


def _outcrops(folder: Folder) -> list[str]:
    """Return a sentence for each dip at an outcrop: at which bodies it is told of."""
    facts = frame_of(folder, "known_recorded").filter(pl.col("what") == "dip")
    words = frame_of(folder, "dips").select("body", "dip_words")
    said = []
    for row, fact in enumerate(facts.iter_rows(named=True)):
        name = fact["name"] or f"fact {row + 1}"
        near = words.filter(pl.col("dip_words").str.contains(f" degrees at {name}", literal=True))
        told = (
            f"is told of at {', '.join(near['body'])}"
            if near.height
            else ("lies near no pick with a body of its strike, so it isn't used")
        )
        said.append(f"{name}: a dip of {fact['value']:g} degrees {told}.")
    return said


def told_bodies(folder: Folder) -> pl.DataFrame:
    """Return the bodies with their dips, as they stand."""
    bodies, dips = (read_product(folder, name) for name in ("bodies", "dips"))
    return with_dips(cast(Bodies, bodies), cast(Dips, dips))


def nothing_picked(folder: Folder) -> str | None:
    """Return why there is no pick; None where there are some."""
    if frame_of(folder, "picks").height:
        return None
    problem = plain(notes_of(folder, "trace_notes").get("problem"))
    if problem:
        return str(problem)
    if frame_of(folder, "lineaments").height:
        return "No lineament crosses a line that can be used."
    return "No lineament was traced on the map, and no pick was added."


def without_body(folder: Folder) -> list[NoBody]:
    """Return the picks that have no body, with the reason."""
    picks = frame_of(folder, "picks").select("pick", "line", "problem")
    notes = notes_of(folder, "fit_notes")["picks"]
    told = {name: row["problem"] for name, row in notes.items()}
    reasons = picks.with_columns(
        reason=pl.coalesce("problem", pl.col("pick").replace_strict(told, default=None))
        if told
        else pl.col("problem")
    )
    found = reasons.filter(pl.col("reason").is_not_null())
    return [filled(NoBody, row) for row in found.iter_rows(named=True)]
