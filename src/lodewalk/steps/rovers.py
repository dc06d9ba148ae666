"""Rovers: how far each reads above the first one, from tests and from lines that cross."""

from collections.abc import Iterable, Mapping
from itertools import combinations
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.checks.cleanliness import block_means
from lodewalk.methods.corrections.base_ties import (
    Tie,
    level_scatter,
    revisit_tie,
    visits_tie,
)
from lodewalk.records import Document, Record
from lodewalk.records.products import RoverLevel
from lodewalk.records.table import float_column
from lodewalk.steps.base_network import NamedTie, settled, with_shared_ends
from lodewalk.steps.context import Context
from lodewalk.steps.crossing_ties import crossing_ties
from lodewalk.steps.findings import FindingList
from lodewalk.steps.rows import document, instruments, passage_of_readings, rows_of, table
from lodewalk.steps.trial_spans import trial_spans

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
#: Tests in which rovers read one spot, and what the ties from them are called.
TESTS = {"check-station": "check station", "side-by-side": "side by side"}


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return what each reading's rover is off by with its error, the ties, and findings."""
    found = FindingList("rovers")
    names = _most_read_first(inputs)
    several = len(names) > 1 and settings["rovers.apply"]
    ties = _ties(inputs, names, settings, context.decisions) if several else []
    network = settled(names, ties, {})
    _tell(found, names, network, settings["rovers.apply"])
    return {
        "rover_instrument": _of_readings(inputs, network),
        "rover_network": Document(network),
        "rover_findings": found.table(),
    }


def _most_read_first(inputs: Mapping[str, Record]) -> list[str]:
    """Return the rovers, the one with the most kept readings first."""
    files = document(inputs, "rover_files")
    kept = table(inputs, "rover_checks").booleans("kept")
    count = {name: int(kept[rows_of(files, name)].sum()) for name in instruments(files)}
    return sorted(count, key=lambda name: (-count[name], name))


def _ties(
    inputs: Mapping[str, Record],
    names: list[str],
    settings: Mapping[str, Any],
    decisions: Iterable[Mapping[str, Any]],
) -> list[NamedTie]:
    """Return the ties of all pairs of rovers."""
    pairs = list(combinations(names, 2))
    crossed = _Crossed(inputs, settings["level.constant_nT"])
    crossings = [NamedTie(*pair, "lines that cross", crossed.tie(*pair)) for pair in pairs]
    occasions = [crossings]
    for (test, _), visits in _spots(inputs, decisions).items():
        occasions.append(
            [
                NamedTie(a, b, TESTS[test], visits_tie(visits.get(a, []), visits.get(b, [])))
                for a, b in pairs
            ]
        )
    used = [[tie for tie in ties if tie.tie.count] for ties in occasions]
    return [tie for ties in used for tie in with_shared_ends(ties)]


def _spots(
    inputs: Mapping[str, Record], decisions: Iterable[Mapping[str, Any]]
) -> dict[tuple[str, str], dict[str, list[float]]]:
    """Return the level of each visit by rover, for each check station and for side by side."""
    recorded = table(inputs, "rover_recorded").floats("raw_nT")
    kept = table(inputs, "rover_checks").booleans("kept")
    seconds = table(inputs, "rover_times").seconds("time_utc")
    field = recorded - table(inputs, "rover_diurnal").floats("diurnal_nT")
    found: dict[tuple[str, str], dict[str, list[float]]] = {}
    for span in trial_spans(inputs, decisions):
        rows = span.rows[kept[span.rows] & np.isfinite(field[span.rows])]
        if span.test in TESTS and rows.size:
            means = block_means(seconds[rows], field[rows])
            visits = found.setdefault((span.test, span.item), {})
            visits.setdefault(span.instrument, []).append(float(np.median(means)))
    return found


class _Crossed:
    """The crossings of lines, the base taken off, with the rover of each side."""

    def __init__(self, inputs: Mapping[str, Record], unknown_nT: float) -> None:
        passage = passage_of_readings(inputs)
        self._ties = crossing_ties(inputs, passage, taken_off=("diurnal", "heading")).ties
        rover = np.array(table(inputs, "lines").strings("instrument"), dtype=object)
        self._first, self._second = (rover[n] for n in (self._ties.first, self._ties.second))
        same = self._first == self._second
        self._scatter = level_scatter(
            self._ties.difference_nT[same], self._ties.sd_nT[same], unknown_nT=unknown_nT
        )

    def tie(self, first: str, second: str) -> Tie:
        """Return level of the second rover above the first, by lines of theirs that cross."""
        along = (self._first == first) & (self._second == second)
        against = (self._first == second) & (self._second == first)
        rows = np.flatnonzero(along | against)
        own, other = self._ties.first[rows], self._ties.second[rows]
        turned = against[rows]
        return revisit_tie(
            np.where(turned, 1.0, -1.0) * self._ties.difference_nT[rows],
            self._ties.sd_nT[rows],
            np.where(turned, other, own).tolist(),
            np.where(turned, own, other).tolist(),
            line_sd_nT=self._scatter,
        )


def _of_readings(inputs: Mapping[str, Record], network: Mapping[str, Any]) -> RoverLevel:
    """Return the offset of the rover of each reading, with its error."""
    files = document(inputs, "rover_files")
    level, sd = (np.zeros(len(table(inputs, "rover_checks"))) for _ in range(2))
    for row in network["nodes"]:
        rows = rows_of(files, row["node"])
        level[rows], sd[rows] = row["level_nT"], row["sd_nT"]
    columns = {"instrument_nT": float_column(level), "sd_instrument_nT": float_column(sd)}
    return RoverLevel(pl.DataFrame(columns))


def _tell(found: FindingList, names: list[str], network: Mapping[str, Any], apply: bool) -> None:
    """Tell the offset of each rover but the first, and ties that contradict each other."""
    if not apply and len(names) > 1:
        found.add(
            "rovers not compared",
            "The comparison of rovers is turned off: what one reads above another is in no "
            "correction, and in no error, which is too small by it.",
            severity="doubt",
        )
        return
    for row in network["nodes"][1:]:
        if row["rests_on"] == "ties":
            found.add(
                "rover offset",
                f"{row['node']} reads {row['level_nT']:+.2f} nT against {names[0]}, sd "
                f"{row['sd_nT']:.2f} nT; it is taken off.",
                instrument=row["node"],
            )
        else:
            found.add(
                "rovers not tied",
                f"{row['node']} and {names[0]} share no check station, no side-by-side run and no "
                "crossing of lines: what one reads above the other is in no correction, and in no "
                "error.",
                severity="doubt",
                instrument=row["node"],
            )
    for tie in network["ties"]:
        if tie["suspect"]:
            found.add(
                "tie suspected",
                f"The tie of {tie['first']} and {tie['second']} ({tie['kind']}) misses the others "
                f"by {tie['residual_nT']:+.2f} nT, {abs(tie['standardised']):.1f} sd; it stays in.",
                severity="doubt",
            )
