"""Spans of a field day: what was found, readings left out, and gaps of the base record."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lodewalk.records.products import BaseRecord, Findings

#: Left-out readings closer than this belong to one span [s].
_JOINED_S = 60.0
_GRAVITY = {"loss": 0, "doubt": 1, "information": 2}


@dataclass(frozen=True)
class Span:
    """A stretch of a day in seconds from its begin, with a severity and the reason.

    A finding that holds for no time of its own has NaN for start and end.
    """

    start: float
    end: float
    severity: str
    text: str
    instrument: str = ""
    number: int = 0

    @property
    def timed(self) -> bool:
        """Whether the span has a place on the time axis."""
        return bool(np.isfinite(self.start))

    @property
    def length(self) -> float:
        """How long it is, endless without times of its own."""
        return self.end - self.start if self.timed else float("inf")


def runs_of(time: NDArray[np.float64], *, intervals: float = 5.0) -> list[NDArray[np.float64]]:
    """Split sorted times wherever a pause exceeds `intervals` sampling intervals.

    Examples
    --------
    >>> [run.tolist() for run in runs_of(np.array([0.0, 1.0, 2.0, 9.0, 10.0]))]
    [[0.0, 1.0, 2.0], [9.0, 10.0]]
    """
    step = np.diff(time)
    limit = intervals * float(np.median(step)) if step.size else np.inf
    return np.split(time, np.flatnonzero(step > limit) + 1)


def gaps_of(base: BaseRecord, *, begin: float, intervals: float = 5.0) -> list[Span]:
    """Return the pauses of more than `intervals` sampling intervals of the only base.

    Where there are several bases, a pause counts only while none of them records.
    """
    names = np.array(base.strings("instrument"))
    time = base.seconds("time_utc") - begin
    runs = [
        (float(run[0]), float(run[-1]))
        for name in np.unique(names)
        for run in runs_of(np.sort(time[names == name]), intervals=intervals)
    ]
    gaps, reached = [], np.inf
    for first, last in sorted(runs):
        if first > reached:
            gaps.append(Span(reached, first, "loss", "gap"))
        reached = last if np.isinf(reached) else max(reached, last)
    return gaps


def day_spans(
    base: BaseRecord, findings: Findings, *, begin: float, end: float, most: int = 9
) -> list[Span]:
    """Return what was found on a day, the gravest first and then by time.

    Findings of doubt or loss count where they touch the day or name no time at all; information
    counts where it lies within the day. Runs of left-out base readings come as information where
    no finding tells of them. The `most` gravest and longest are numbered from 1; the others have
    the number 0.
    """
    found = _from_findings(findings, begin=begin, end=end)
    found += [span for span in _left_out(base, begin) if not _told(span, found)]
    found.sort(key=lambda span: (_GRAVITY[span.severity], -span.length, span.text))
    chosen, others = sorted(found[:most], key=_by_gravity), sorted(found[most:], key=_by_gravity)
    return [replace(span, number=index) for index, span in enumerate(chosen, start=1)] + others


def _by_gravity(span: Span) -> tuple[int, float, float, str]:
    """Return the key that puts the gravest first, and then the earliest."""
    start = span.start if span.timed else -np.inf
    return _GRAVITY[span.severity], start, span.end if span.timed else start, span.text


def _from_findings(findings: Findings, *, begin: float, end: float) -> list[Span]:
    """Return the findings that concern a day, in their own times."""
    columns = [findings.strings(name) for name in ("instrument", "severity", "text")]
    times = [findings.seconds(name) - begin for name in ("start_utc", "end_utc")]
    spans = []
    for start, last, name, severity, text in zip(*times, *columns, strict=True):
        if severity not in _GRAVITY or not _concerns(start, last, severity, end - begin):
            continue
        whole = np.isnan(start) and np.isnan(last)
        first = 0.0 if np.isnan(start) and not whole else float(start)
        final = end - begin if np.isnan(last) and not whole else float(last)
        spans.append(Span(first, max(first, final), str(severity), str(text), name or ""))
    return spans


def _concerns(start: float, last: float, severity: str, length: float) -> bool:
    """Tell whether a finding concerns a day of a length; a time that is missing is open."""
    if severity == "information":
        return bool(start >= 0 and last <= length)
    return not (start >= length or last < 0)


def _told(run: Span, found: list[Span]) -> bool:
    """Tell whether a finding about the same instrument spans a run of left-out readings."""
    return any(
        span.start <= run.start and run.end <= span.end
        for span in found
        if span.instrument in ("", run.instrument)
    )


def _left_out(base: BaseRecord, begin: float) -> list[Span]:
    """Return runs of base readings that are not kept, joined where they have the same reason."""
    rows = np.flatnonzero(~base.booleans("kept"))
    if rows.size == 0:
        return []
    time = base.seconds("time_utc")[rows] - begin
    names, reasons = base.strings("instrument"), base.strings("reason")
    runs: dict[tuple[str, str], list[list[float]]] = {}
    for at, row in sorted(zip(time.tolist(), rows.tolist(), strict=True)):
        mine = runs.setdefault((names[row] or "", reasons[row] or "no reason given"), [])
        if mine and at - mine[-1][-1] <= _JOINED_S:
            mine[-1].append(at)
        else:
            mine.append([at])
    return [
        Span(run[0], run[-1], "information", _left_out_words(name, reason, len(run)), name)
        for (name, reason), found in runs.items()
        for run in found
    ]


def _left_out_words(name: str, reason: str, count: int) -> str:
    """Return what was left out, in words."""
    return f"{name}: {count} reading{'' if count == 1 else 's'} left out, {reason}."
