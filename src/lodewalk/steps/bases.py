"""Bases: their usable records, parted where they moved, and brought to one datum."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.checks.fourth_difference import noise_sd
from lodewalk.methods.checks.resolution import quantisation_sd
from lodewalk.records import Document, Record
from lodewalk.steps.findings import FindingList, duration_text
from lodewalk.steps.rows import at_distinct_times, document, file_rows, in_time_order, table
from lodewalk.steps.time import decision_rows

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Base:
    """The usable record of one base at one place, in order of time.

    `rows` tells where each reading stands in the table of all bases; `node` is the name of the
    base at this place, `level_nT` how far its field lies above the datum's, with its error.
    """

    name: str
    rows: NDArray[np.int64]
    seconds: Floats
    field_nT: Floats
    noise_nT: float
    node: str
    place: int = 1
    level_sd_nT: float = 0.0


def usable_bases(
    inputs: Mapping[str, Record], decisions: Iterable[Mapping[str, Any]] = ()
) -> list[Base]:
    """Return the kept readings of each base at each of its places; the first of equal times counts.

    A base is parted where it was decided that it moved.
    """
    seconds = table(inputs, "base_times").seconds("time_utc")
    value = table(inputs, "base_recorded").floats("raw_nT")
    checks = table(inputs, "base_checks")
    kept, fourth = checks.booleans("kept"), checks.floats("fourth_difference_nT")
    files = document(inputs, "base_files")
    recorded = table(inputs, "base_recorded").frame["recorded_time"]
    moves = moves_before(files, recorded, decisions)
    bases = []
    for name, rows in in_time_order(files, seconds):
        good = at_distinct_times(rows[kept[rows]], seconds)
        for place, own in enumerate(parted(good, moves), 1):
            noise = np.nanmax([noise_sd(fourth[own]), quantisation_sd(value[own]), 0.0])
            node = name if not moves[good].any() else f"{name} place {place}"
            bases.append(Base(name, own, seconds[own], value[own], float(noise), node, place))
    return bases


def moves_before(
    files: Document, recorded: pl.Series, decisions: Iterable[Mapping[str, Any]]
) -> NDArray[np.int64]:
    """Return how often a base had moved, by decision, when each row was read."""
    moves = np.zeros(len(recorded), dtype=np.int64)
    for decision in decisions:
        if decision["kind"] == "move":
            for span in file_rows(files):
                moves[span.rows] += decision_rows(decision["target"], recorded[span.rows], span)
    return moves


def parted(rows: NDArray[np.int64], moves: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Return rows in order of time, parted by the number of moves before them.

    Examples
    --------
    >>> parts = parted(np.arange(4), np.array([0, 0, 2, 2]))
    >>> [part.tolist() for part in parts]
    [[0, 1], [2, 3]]
    """
    return [rows[moves[rows] == count] for count in np.unique(moves[rows])]


def on_datum(bases: Iterable[Base], network: Document) -> list[Base]:
    """Return the bases with their levels above the datum taken off their fields."""
    known = {row["node"]: row for row in network["nodes"]}
    levelled = []
    for base in bases:
        row = known[base.node]
        field = base.field_nT - row["level_nT"]
        levelled.append(replace(base, field_nT=field, level_sd_nT=row["sd_nT"]))
    return levelled


def tell_apart(found: FindingList, bases: list[Base], files: Document, seconds: Floats) -> None:
    """Tell rovers that no base ever recorded together with: a wrong date or zone, mostly."""
    for name, rows in in_time_order(files, seconds):
        if not (rows.size and bases):
            continue
        first, last = seconds[rows[0]], seconds[rows[-1]]
        away = [max(base.seconds[0] - last, first - base.seconds[-1]) for base in bases]
        nearest = int(np.argmin(away))
        if away[nearest] > 0:
            side = "after" if bases[nearest].seconds[0] > last else "before"
            found.add(
                "base and rover never overlap",
                f"{name}: the record of {bases[nearest].name} lies {duration_text(away[nearest])} "
                f"{side} all its readings, so none can be corrected. Is the date, the zone or the "
                "clock of one of them wrong?",
                severity="loss",
                instrument=name,
                start_s=first,
                end_s=last,
            )
