"""Trials: the tests of set-up and cleanliness, each with figure, tolerance and pass or fail."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.checks.cleanliness import (
    UNTOLD,
    Figure,
    block_means,
    by_heading,
    difference_of_spans,
    levels_between_steps,
    repeat_misfit,
    spread_of_levels,
)
from lodewalk.records import Document, Record
from lodewalk.steps.context import Context
from lodewalk.steps.days import Days
from lodewalk.steps.findings import FindingList, tell_idle
from lodewalk.steps.rows import table
from lodewalk.steps.trial_spans import TrialSpan, idle_decisions, trial_spans, turn_arounds

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: A heading is taken from the walk where it is faster than this [m/s], else the operator turns
#: on one spot.
WALKING_M_S = 0.5
#: Block over which a stand of a turn-around test is averaged [s]; stands are short.
STAND_BLOCK_S = 2.0
#: Fewest readings of a passage that is compared with another of its line.
LEAST_READINGS = 20


@dataclass(frozen=True)
class _Rover:
    """The readings with the variation of the field taken off, where the base allows it."""

    seconds: Floats
    field_nT: Floats
    easting: Floats
    northing: Floats
    corrected: NDArray[np.bool_]
    days: Days


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return each test with its figure, and the findings."""
    tolerances = settings["tolerances"]
    rover = _corrected(inputs, Days.of(settings["survey.time_zone"]))
    spans = trial_spans(inputs, context.decisions)
    rows = [
        *_static(rover, spans, tolerances["static_nT"]),
        *_side_by_side(rover, spans),
        *_turn_around(rover, spans, tolerances["heading_nT"]),
        *_items(rover, spans, tolerances["item_nT"]),
        *_check_stations(rover, spans, tolerances["check_station_nT"]),
        *_repeats(inputs, rover, tolerances["repeat_nT"]),
    ]
    found = _findings(rows)
    for decision in idle_decisions(inputs, context.decisions):
        tell_idle(found, decision, "fewer than two readings")
    return {"trials": Document({"tests": rows}), "trial_findings": found.table()}


def _corrected(inputs: Mapping[str, Record], days: Days) -> _Rover:
    """Return the kept readings less the diurnal correction; raw where there is none."""
    raw = table(inputs, "rover_recorded").floats("raw_nT")
    kept = table(inputs, "rover_checks").booleans("kept")
    diurnal = table(inputs, "rover_diurnal").floats("diurnal_nT")
    positions = table(inputs, "rover_positions")
    known = np.isfinite(diurnal)
    return _Rover(
        table(inputs, "rover_times").seconds("time_utc"),
        np.where(kept, raw - np.where(known, diurnal, 0.0), np.nan),
        positions.floats("easting_m"),
        positions.floats("northing_m"),
        known,
        days,
    )


def _row(
    rover: _Rover,
    spans: Iterable[TrialSpan],
    figure: Figure,
    tolerance: float | None,
    *,
    what: str,
) -> dict[str, Any]:
    """Return one test for print; a test that isn't told neither passes nor fails."""
    spans = list(spans)
    told = np.isfinite(figure.value_nT)
    corrected = all(rover.corrected[span.rows].all() for span in spans)
    size = f"{figure.value_nT:+.2f}" if figure.value_nT < 0 else f"{figure.value_nT:.2f}"
    text = f"{what} {size} nT, sd {figure.sd_nT:.2f} nT" if told else f"{what} can't be told"
    if not corrected:
        text += ", the variation of the field still in it"
    if tolerance is not None:
        text += f"; tolerance {tolerance:g} nT"
    passed = None if tolerance is None or not told else bool(abs(figure.value_nT) <= tolerance)
    return {
        "test": spans[0].test,
        "item": spans[0].item,
        "instrument": spans[0].instrument,
        "day": rover.days.name(min(span.start_s for span in spans)),
        "start_s": min(span.start_s for span in spans),
        "end_s": max(span.end_s for span in spans),
        "figure_nT": round(figure.value_nT, 3) if told else None,
        "sd_nT": round(figure.sd_nT, 3) if told else None,
        "tolerance_nT": tolerance,
        "passed": passed,
        "text": f"{text}.",
    }


def _readings(rover: _Rover, span: TrialSpan) -> tuple[Floats, Floats]:
    """Return times and readings of a span."""
    return rover.seconds[span.rows], rover.field_nT[span.rows]


def _means(rover: _Rover, span: TrialSpan) -> Floats:
    """Return the block means of a span."""
    return block_means(*_readings(rover, span))


def _of(spans: list[TrialSpan], *tests: str) -> list[TrialSpan]:
    """Return the spans of some tests."""
    return [span for span in spans if span.test in tests]


def _static(rover: _Rover, spans: list[TrialSpan], tolerance: float) -> list[dict[str, Any]]:
    """Return the noise of each static run, between neighbouring readings."""
    return [
        _row(rover, [span], _noise(rover, span), tolerance, what="noise standing")
        for span in _of(spans, "static")
    ]


def _noise(rover: _Rover, span: TrialSpan) -> Figure:
    """Return the spread of a standing sensor about its blocks' means."""
    value = rover.field_nT[span.rows]
    value = value[np.isfinite(value)]
    if value.size < 20:
        return UNTOLD
    spread = float(np.std(np.diff(value), ddof=1) / np.sqrt(2))
    return Figure(spread, spread / float(np.sqrt(2 * (value.size - 1))), value.size)


def _side_by_side(rover: _Rover, spans: list[TrialSpan]) -> list[dict[str, Any]]:
    """Return the spread of rover less base in each side-by-side run; the level tells no fault."""
    rows = []
    for span in _of(spans, "side-by-side"):
        means = _means(rover, span)
        figure = UNTOLD
        if means.size >= 3 and rover.corrected[span.rows].all():
            spread = float(means.std(ddof=1))
            figure = Figure(spread, spread / float(np.sqrt(2 * (means.size - 1))), means.size)
        rows.append(_row(rover, [span], figure, None, what="rover less base spreads by"))
    return rows


def _turn_around(rover: _Rover, spans: list[TrialSpan], tolerance: float) -> list[dict[str, Any]]:
    """Return the spread over the headings of each turn-around test."""
    rows = []
    for own in turn_arounds(spans):
        levels = _headings(rover, own[0])
        if len(own) > 1:  # a span for each way that was faced
            levels = [block_means(*_readings(rover, span), block_s=STAND_BLOCK_S) for span in own]
        figure = spread_of_levels(levels)
        rows.append(_row(rover, own, figure, tolerance, what="headings spread by"))
    return rows


def _headings(rover: _Rover, span: TrialSpan) -> list[Floats]:
    """Return the readings of each heading: by the walk, or by the steps of one standing."""
    seconds, value = rover.seconds[span.rows], rover.field_nT[span.rows]
    east, north = rover.easting[span.rows], rover.northing[span.rows]
    if seconds.size < 4:
        return []
    # Speed from halves of the span: jitter of fixes on one spot is no walk.
    way = np.hypot(np.diff(east[::5]), np.diff(north[::5]))
    pace = float(np.nanmedian(way / np.maximum(np.diff(seconds[::5]), 1e-9))) if way.size else 0.0
    if pace > WALKING_M_S:
        azimuth = np.degrees(np.arctan2(np.gradient(east), np.gradient(north))) % 360
        return by_heading(azimuth, value)
    return levels_between_steps(seconds, value)


def _items(rover: _Rover, spans: list[TrialSpan], tolerance: float) -> list[dict[str, Any]]:
    """Return what each item changes: the spans with it against those without."""
    rows = []
    groups: dict[tuple[str, str, str], list[TrialSpan]] = {}
    for span in _of(spans, "with", "without"):
        key = (span.instrument, span.item, rover.days.name(span.start_s))
        groups.setdefault(key, []).append(span)
    for (_, item, _), own in groups.items():
        lots = [
            [value for span in own if span.test == test for value in _means(rover, span).tolist()]
            for test in ("with", "without")
        ]
        figure = difference_of_spans(*lots)
        own = sorted(own, key=lambda span: (span.test != "with", span.start_s))
        rows.append(_row(rover, own, figure, tolerance, what=f"{item or 'the item'} changes"))
    return rows


def _check_stations(
    rover: _Rover, spans: list[TrialSpan], tolerance: float
) -> list[dict[str, Any]]:
    """Return the spread of each rover's visits to the check station on a day."""
    groups: dict[tuple[str, str, str], list[TrialSpan]] = {}
    for span in _of(spans, "check-station"):
        key = (span.instrument, span.item, rover.days.name(span.start_s))
        groups.setdefault(key, []).append(span)
    return [
        _row(
            rover,
            own,
            spread_of_levels([_means(rover, span) for span in own]),
            tolerance,
            what=f"{len(own)} visits spread by",
        )
        for own in groups.values()
    ]


def _repeats(inputs: Mapping[str, Record], rover: _Rover, tolerance: float) -> list[dict[str, Any]]:
    """Return, for each rover, day and line walked again, the pair of passages that differ most.

    A pair belongs to the day of its later passage.
    """
    lines, readings = table(inputs, "lines").frame, table(inputs, "rover_lines").frame
    passage = readings["passage"].fill_null(-1).to_numpy()
    alike: dict[tuple[str, str], list[Rows]] = {}
    for number, row in enumerate(lines.iter_rows(named=True)):
        part = _along(rover, np.flatnonzero(passage == number))
        if part.size >= LEAST_READINGS:
            alike.setdefault((row["instrument"], row["line"]), []).append(part)
    groups: dict[tuple[str, str, str], list[tuple[Figure, Rows, Rows]]] = {}
    for (instrument, line), parts in alike.items():
        for first, second in combinations(parts, 2):
            day = rover.days.name(max(_ends(rover, part)[0] for part in (first, second)))
            mean, spread = _compared(rover, first, second)
            figure = mean if abs(mean.value_nT) > spread.value_nT else spread
            groups.setdefault((instrument, line, day), []).append((figure, first, second))
    return [
        _worst_of(rover, instrument, line, pairs, tolerance)
        for (instrument, line, _), pairs in groups.items()
    ]


def _worst_of(
    rover: _Rover,
    instrument: str,
    line: str,
    pairs: list[tuple[Figure, Rows, Rows]],
    tolerance: float,
) -> dict[str, Any]:
    """Return the worst of some pairs of passages as one test, under the day of the pairs."""
    figure, *parts = max(pairs, key=lambda pair: np.nan_to_num(abs(pair[0].value_nT), nan=-1.0))
    spans = [
        TrialSpan("repeat-line", line, instrument, part, *_ends(rover, part)) for part in parts
    ]
    what = "mean difference and noise up to"
    if len(pairs) > 1:
        what = f"the worst of {len(pairs)} pairs of passages: {what}"
    row = _row(rover, spans, figure, tolerance, what=what)
    return row | {"day": rover.days.name(max(span.start_s for span in spans))}


def _along(rover: _Rover, rows: Rows) -> Rows:
    """Return the readings of a passage that can be compared, in order of time."""
    good = rows[np.isfinite(rover.field_nT[rows]) & np.isfinite(rover.easting[rows])]
    return good[np.argsort(rover.seconds[good], kind="stable")]


def _ends(rover: _Rover, rows: Rows) -> tuple[float, float]:
    """Return first and last time of some readings."""
    return float(rover.seconds[rows[0]]), float(rover.seconds[rows[-1]])


def _compared(rover: _Rover, first: Rows, second: Rows) -> tuple[Figure, Figure]:
    """Compare two passages along the direction of the first."""
    origin = rover.easting[first[0]], rover.northing[first[0]]
    ahead = np.array([rover.easting[first[-1]] - origin[0], rover.northing[first[-1]] - origin[1]])
    length = float(np.hypot(*ahead))
    if length < 1:
        return UNTOLD, UNTOLD
    unit = ahead / length

    def projected(rows: Rows) -> tuple[Floats, Floats]:
        distance = (rover.easting[rows] - origin[0]) * unit[0]
        distance = distance + (rover.northing[rows] - origin[1]) * unit[1]
        order = np.argsort(distance, kind="stable")
        new = np.diff(distance[order], prepend=-np.inf) > 0.05
        return distance[order][new], rover.field_nT[rows][order][new]

    return repeat_misfit(*projected(first), *projected(second))


def _findings(rows: list[dict[str, Any]]) -> FindingList:
    """Tell each test; one that fails is a doubt."""
    found = FindingList("trials")
    for row in rows:
        state = {True: "passed", False: "failed", None: "no tolerance applies"}[row["passed"]]
        found.add(
            "test",
            f"{row['instrument']}: {_name(row)} {state}: {row['text']}",
            severity="doubt" if row["passed"] is False else "information",
            instrument=row["instrument"],
            start_s=row["start_s"],
            end_s=row["end_s"],
        )
    return found


def _name(row: Mapping[str, Any]) -> str:
    """Return what a test is called, with its item where the text doesn't say it anyway."""
    if row["test"] in ("with", "without"):
        return "with-and-without test"
    item = "" if row["test"] == "turn-around" else row["item"]
    return f"{row['test']} {item}".strip()
