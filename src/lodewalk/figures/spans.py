"""Spans of the base record that are doubtful, lost, left out or missing."""

from dataclasses import dataclass, replace

import numpy as np

from lodewalk.records.products import BaseRecord, Findings

#: Left-out readings closer than this belong to one span [s].
_JOINED_S = 60.0


@dataclass(frozen=True)
class Span:
    """A stretch of a day in seconds from its midnight, with a severity and the reason."""

    start: float
    end: float
    severity: str
    text: str
    number: int = 0


def gaps_of(base: BaseRecord, *, midnight: float, intervals: float = 5.0) -> list[Span]:
    """Return the pauses of more than `intervals` sampling intervals of the only base.

    Where there are several bases, a pause counts only if none of them has a reading.
    """
    time = np.unique(base.seconds("time_utc")) - midnight
    step = np.diff(time)
    if step.size == 0:
        return []
    at = np.flatnonzero(step > intervals * np.median(step))
    return [Span(float(time[i]), float(time[i + 1]), "loss", "gap") for i in at]


def day_spans(
    base: BaseRecord, findings: Findings, *, midnight: float, most: int = 9
) -> list[Span]:
    """Return the spans of a day in order of time: findings, and runs of left-out readings.

    The `most` important ones are numbered: findings first, then the longest runs; the others have
    the number 0.
    """
    found, left_out = _from_findings(base, findings, midnight), _left_out(base, midnight)
    left_out.sort(key=lambda span: span.start - span.end)
    spans = found + left_out
    chosen, others = sorted(spans[:most], key=_in_time), sorted(spans[most:], key=_in_time)
    numbered = [replace(span, number=index) for index, span in enumerate(chosen, start=1)]
    return sorted(numbered + others, key=_in_time)


def _in_time(span: Span) -> tuple[float, float, str]:
    """Return the key that puts spans in order of time."""
    return span.start, span.end, span.text


def _from_findings(base: BaseRecord, findings: Findings, midnight: float) -> list[Span]:
    """Return the findings of severity doubt or loss that touch the day's base record."""
    bases = set(base.strings("instrument"))
    starts, ends = findings.seconds("start_utc") - midnight, findings.seconds("end_utc") - midnight
    time = base.seconds("time_utc") - midnight
    low, high = float(time.min()), float(time.max())
    names, levels, texts = (findings.strings(n) for n in ("instrument", "severity", "text"))
    spans = []
    for name, level, text, start, end in zip(names, levels, texts, starts, ends, strict=True):
        if name not in bases or level not in ("doubt", "loss") or not start < high or not end > low:
            continue
        spans.append(Span(max(start, low), min(end, high), str(level), str(text)))
    return spans


def _left_out(base: BaseRecord, midnight: float) -> list[Span]:
    """Return runs of readings that are not kept, joined where they have the same reason."""
    rows = np.flatnonzero(~base.booleans("kept"))
    time = base.seconds("time_utc")[rows] - midnight
    reasons = [base.strings("reason")[row] or "no reason given" for row in rows]
    runs: dict[str, list[list[float]]] = {}
    for at, reason in sorted(zip(time.tolist(), reasons, strict=True)):
        mine = runs.setdefault(reason, [])
        if mine and at - mine[-1][-1] <= _JOINED_S:
            mine[-1].append(at)
        else:
            mine.append([at])
    return [
        Span(run[0], run[-1], "loss", f"left out, {reason} ({len(run)} readings)")
        for reason, found in runs.items()
        for run in found
    ]
