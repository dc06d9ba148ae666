"""What the check says of each base: range, activity, departures from the chord, its interval."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.checks.base_record import spans_over
from lodewalk.methods.checks.minutes_interval import IntervalJudged, interval_judged
from lodewalk.methods.checks.spans import Spans
from lodewalk.methods.geomagnetic.k_index import scalar_activity
from lodewalk.records import Record
from lodewalk.steps.bases import Base, usable_bases
from lodewalk.steps.days import Days
from lodewalk.steps.findings import FindingList
from lodewalk.steps.rows import document, in_time_order, table

#: Spans closer together than this are one finding [s].
JOIN_S = 1800.0
NO_BASE: dict[str, Any] = {
    "range_nT": None,
    "worst_chord_nT": None,
    "activity": [],
    "intervals": [],
}


@dataclass(frozen=True)
class BaseRules:
    """What a base is judged by."""

    k9_nT: float
    tolerance_nT: float
    max_gap_s: float


def base_days(
    inputs: Mapping[str, Record],
    rules: BaseRules,
    days: Days,
    decisions: Iterable[Mapping[str, Any]] = (),
) -> dict[str, dict[str, Any]]:
    """Return range, worst chord departure and activity of each day, the worst of all bases.

    A base that was decided to have moved is judged at each of its places by itself.
    """
    found: dict[str, dict[str, Any]] = {}
    for base in usable_bases(inputs, decisions):
        for day, own in _days_of_base(inputs, base, rules, days).items():
            known = found.setdefault(day, own | {"intervals": []})
            known["intervals"].append(_interval(base, days.bounds(day), rules))
            for name in ("range_nT", "worst_chord_nT"):
                sizes = [item[name] for item in (known, own) if item[name] is not None]
                known[name] = max(sizes, default=None)
            known["activity"] = _worst_of(known["activity"], own["activity"])
    return found


def _worst_of(first: list[dict[str, Any]], second: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return for each interval the entry with the larger range."""
    worst: dict[str, dict[str, Any]] = {}
    for item in (*first, *second):
        known = worst.setdefault(item["start_utc"], item)
        if item["range_nT"] > known["range_nT"]:
            worst[item["start_utc"]] = item
    return [worst[start] for start in sorted(worst)]


def _days_of_base(
    inputs: Mapping[str, Record], base: Base, rules: BaseRules, days: Days
) -> dict[str, dict[str, Any]]:
    """Return range, worst chord departure and activity of one base for each day."""
    times, value = base.seconds, base.field_nT
    departure = table(inputs, "base_checks").floats("departure_nT")[base.rows]
    activity = _activity(times, value, rules.k9_nT)
    found = {}
    for day in days.names(times):
        begin, end = days.bounds(day)
        here = (times >= begin) & (times < end)
        judged = departure[here & np.isfinite(departure)]
        found[day] = {
            "range_nT": round(float(np.ptp(value[here])), 3) if here.sum() > 1 else None,
            "worst_chord_nT": round(float(judged.max()), 3) if judged.size else None,
            "activity": [item for item in activity if days.name_of(item["start_utc"]) == day],
        }
    return found


def _interval(base: Base, bounds: tuple[float, float], rules: BaseRules) -> dict[str, Any]:
    """Return whether the base's interval was enough for the field of one day."""
    here = (base.seconds >= bounds[0]) & (base.seconds < bounds[1])
    judged = interval_judged(
        base.seconds[here],
        base.field_nT[here],
        tolerance_nT=rules.tolerance_nT,
        base_noise_nT=base.noise_nT,
        max_gap_s=rules.max_gap_s,
    )
    return {
        "instrument": base.name,
        "interval_s": _rounded(judged.interval_s),
        "answer": judged.answer,
        "error_95_nT": _rounded(judged.error_95_nT),
        "tolerance_nT": rules.tolerance_nT,
        "longest_s": _rounded(judged.longest_s),
        "basis": _basis(judged),
    }


def _basis(judged: IntervalJudged) -> str | None:
    """Say what the longest interval that would do rests on."""
    found = np.flatnonzero(judged.intervals_s == judged.longest_s)
    return judged.basis[int(found[0])] if found.size else None


def _rounded(value: float) -> float | None:
    """Return a figure for print, null where it can't be told."""
    return round(float(value), 3) if np.isfinite(value) else None


def _activity(
    times: NDArray[np.float64], value: NDArray[np.float64], k9_nT: float
) -> list[dict[str, Any]]:
    """Return the activity of each 3-hour interval that a base recorded in."""
    found = scalar_activity(times, value, k9_nT=k9_nT)
    return [
        {
            "start_utc": stamp(start),
            "activity": str(word),
            "range_nT": round(float(size), 3),
        }
        for start, word, size in zip(found.start_s, found.activity, found.range_nT, strict=True)
    ]


def tell_chords(found: FindingList, inputs: Mapping[str, Record], tolerance_nT: float) -> None:
    """Tell the spans in which a base strays from its chord by more than the tolerance.

    The chord supports the verdict of the minutes; it lowers none by itself.
    """
    seconds = table(inputs, "base_times").seconds("time_utc")
    checks = table(inputs, "base_checks")
    departure = np.where(checks.booleans("kept"), checks.floats("departure_nT"), np.nan)
    for name, rows in in_time_order(document(inputs, "base_files"), seconds):
        judged = rows[np.isfinite(departure[rows])]
        times, sizes = seconds[judged], departure[judged]
        spans = spans_over(sizes, time_s=times, tolerance_nT=tolerance_nT)
        for first, last in _joined(spans, times):
            start, end = (stamp(times[place], "%H:%M") for place in (first, last))
            found.add(
                "base departs from chord",
                f"{name}: departs from the chord by up to {sizes[first : last + 1].max():.1f} nT "
                f"between {start} and {end} UTC, tolerance {tolerance_nT:g} nT.",
                severity="information",
                instrument=name,
                start_s=times[first],
                end_s=times[last],
            )


def _joined(spans: Spans, times: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Return first and last reading of the spans, those close together as one."""
    joined: list[tuple[int, int]] = []
    for first, last in zip(spans.first.tolist(), spans.last.tolist(), strict=True):
        if joined and times[first] - times[joined[-1][1]] < JOIN_S:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return joined


def stamp(seconds: float, form: str = "%Y-%m-%dT%H:%M:%SZ") -> str:
    """Return Unix seconds in a form of `strftime`, in UTC; ISO 8601 to the second by default."""
    return datetime.fromtimestamp(float(seconds), UTC).strftime(form)
