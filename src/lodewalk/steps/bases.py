"""Bases: their usable records, and whether several of them agree."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.checks.fourth_difference import noise_sd
from lodewalk.methods.checks.resolution import quantisation_sd
from lodewalk.methods.corrections.diurnal import interpolate_base
from lodewalk.records import Document, Record
from lodewalk.steps.findings import FindingList, duration_text
from lodewalk.steps.rows import at_distinct_times, document, in_time_order, own_value, table

Floats = NDArray[np.float64]
#: Bases that differ by more than this on the average have no common site tie [nT].
TIE_TOLERANCE_NT = 1.0


@dataclass(frozen=True)
class Base:
    """The usable record of one base, in order of time, with its site tie added.

    `rows` tells where each reading stands in the table of all bases.
    """

    name: str
    rows: NDArray[np.int64]
    seconds: Floats
    field_nT: Floats
    noise_nT: float


def usable_bases(inputs: Mapping[str, Record], ties: Mapping[str, float]) -> list[Base]:
    """Return the kept readings of each base; the first of equal times counts."""
    seconds = table(inputs, "base_times").seconds("time_utc")
    value = table(inputs, "base_recorded").floats("raw_nT")
    checks = table(inputs, "base_checks")
    kept, fourth = checks.booleans("kept"), checks.floats("fourth_difference_nT")
    bases = []
    for name, rows in in_time_order(document(inputs, "base_files"), seconds):
        good = at_distinct_times(rows[kept[rows]], seconds)
        if good.size:
            noise = np.nanmax([noise_sd(fourth[good]), quantisation_sd(value[good]), 0.0])
            field = value[good] + own_value(ties, name)
            bases.append(Base(name, good, seconds[good], field, float(noise)))
    return bases


def base_findings(
    found: FindingList,
    bases: list[Base],
    ties: Mapping[str, float],
    *,
    named: Collection[str],
    max_gap_s: float,
) -> None:
    """Tell bases that don't agree, and sections of settings that name no instrument."""
    for base in bases[1:]:
        _compare(found, bases[0], base, ties, max_gap_s=max_gap_s)
    known = {name.casefold(): name for name in named}
    for name in ties:
        if name not in named and name.casefold() in known:
            found.add(
                "unknown instrument",
                f"The settings have a section instruments.{name}, but the files say "
                f"{known[name.casefold()]}; the section is not used.",
                severity="doubt",
            )


def _compare(
    found: FindingList, first: Base, other: Base, ties: Mapping[str, float], *, max_gap_s: float
) -> None:
    """Compare a base with the first one where both recorded."""
    there = interpolate_base(other.seconds, first.seconds, first.field_nT, max_gap_s=max_gap_s)
    both = np.flatnonzero(np.isfinite(there))
    if not both.size:
        if own_value(ties, other.name) == 0:
            found.add(
                "bases not tied",
                f"{other.name} never recorded together with {first.name} and has no site tie: if "
                "they stood at different spots, the map has a step between them.",
                severity="doubt",
                instrument=other.name,
                start_s=other.seconds[0],
                end_s=other.seconds[-1],
            )
        return
    difference = float(np.median(other.field_nT[both] - there[both]))
    overlap = other.seconds[both[-1]] - other.seconds[both[0]]
    tie = own_value(ties, other.name) - difference
    differs = abs(difference) > TIE_TOLERANCE_NT
    advice = f"; instruments.{other.name}.site_tie_nT = {tie:.2f} would make them agree"
    found.add(
        "bases disagree" if differs else "bases agree",
        f"{other.name} reads {difference:+.2f} nT against {first.name} over "
        f"{duration_text(overlap)} together{advice if differs else ''}.",
        severity="doubt" if differs else "information",
        instrument=other.name,
        start_s=other.seconds[both[0]],
        end_s=other.seconds[both[-1]],
    )


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
