"""Spans of readings that were marked as a test: by the file, by a note or by a decision."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.records import Record
from lodewalk.steps.rows import document, file_rows, in_time_order, instruments, table
from lodewalk.steps.set_up import Mark, TestName, facings, read_mark
from lodewalk.steps.time import decision_rows

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: A mark in the file goes on over a pause of this length [s].
PAUSE_S = 120.0
#: Stands of one turn-around test follow each other within this time [s].
TURN_S = 300.0
#: A note that starts a test and is never ended marks this much [s].
OPEN_S = 600.0


@dataclass(frozen=True)
class TrialSpan:
    """Readings of one rover during one test, in order of time."""

    test: TestName
    item: str
    instrument: str
    rows: Rows
    start_s: float
    end_s: float


def trial_spans(
    inputs: Mapping[str, Record], decisions: Iterable[Mapping[str, Any]]
) -> list[TrialSpan]:
    """Return the tests of all rovers in order of time."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    found: list[TrialSpan] = []
    notes = _noted(inputs)
    for name, rows in in_time_order(document(inputs, "rover_files"), seconds):
        found += _marked(inputs, name, rows, seconds)
        found += _by_notes(notes, name, rows, seconds)
    found += _decided(inputs, decisions, seconds)
    return sorted(_once(found), key=lambda span: (span.start_s, span.instrument, span.test))


def turn_arounds(spans: Iterable[TrialSpan]) -> list[list[TrialSpan]]:
    """Return the turn-around tests, each as its spans: one, or one for each way that was faced.

    Spans that name one facing each and follow each other within `TURN_S` are one test.
    """
    found: list[list[TrialSpan]] = []
    last: dict[str, list[TrialSpan]] = {}
    for span in spans:
        if span.test != "turn-around":
            continue
        own = last.get(span.instrument)
        if len(facings(span.item)) != 1:
            found.append([span])
        elif own is not None and span.start_s - own[-1].end_s <= TURN_S:
            own.append(span)
        else:
            last[span.instrument] = [span]
            found.append(last[span.instrument])
    return found


def idle_decisions(
    inputs: Mapping[str, Record], decisions: Iterable[Mapping[str, Any]]
) -> list[Mapping[str, Any]]:
    """Return the decisions on tests that mark no span, since too few readings lie in theirs."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    tests = (decision for decision in decisions if decision["kind"] == "test")
    return [decision for decision in tests if not _decided(inputs, [decision], seconds)]


def _once(spans: list[TrialSpan]) -> list[TrialSpan]:
    """Leave out spans that lie within another of the same test; a facing of its own stays."""
    kept: list[TrialSpan] = []
    for span in sorted(spans, key=lambda item: item.start_s - item.end_s):
        same = (
            other.test == span.test
            and (other.item == span.item or not facings(span.item))
            and other.instrument == span.instrument
            and other.start_s <= span.start_s
            and span.end_s <= other.end_s
            for other in kept
        )
        if not any(same):
            kept.append(span)
    return kept


def _span(mark: Mark, instrument: str, rows: Rows, seconds: Floats) -> list[TrialSpan]:
    """Return the span of some rows, none where there are fewer than two."""
    if rows.size < 2:
        return []
    first, last = float(seconds[rows[0]]), float(seconds[rows[-1]])
    return [TrialSpan(mark.test, mark.item, instrument, rows, first, last)]


def _marked(
    inputs: Mapping[str, Record], instrument: str, rows: Rows, seconds: Floats
) -> list[TrialSpan]:
    """Return the spans that the file itself marks as a test."""
    names = table(inputs, "rover_recorded").strings("line")
    marks = {name: read_mark(name) for name in {names[row] for row in rows}}
    spans: list[TrialSpan] = []
    for name, mark in marks.items():
        if mark is None:
            continue
        own = rows[[names[row] == name for row in rows]]
        for part in np.split(own, np.flatnonzero(np.diff(seconds[own]) > PAUSE_S) + 1):
            spans += _span(mark, instrument, part, seconds)
    return spans


@dataclass(frozen=True)
class _Note:
    """A note that speaks of a test; `instrument` is None where it names no rover."""

    second: float
    mark: Mark
    instrument: str | None


def _noted(inputs: Mapping[str, Record]) -> list[_Note]:
    """Return the notes that speak of a test, in order of time."""
    notes = table(inputs, "notes_recorded")
    rovers = {name.casefold(): name for name in instruments(document(inputs, "rover_files"))}
    found: list[_Note] = []
    for second, name, text in zip(
        table(inputs, "notes_times").seconds("time_utc"),
        notes.strings("name"),
        notes.strings("text"),
        strict=True,
    ):
        instrument = rovers.get((name or "").casefold())
        words = [text] if instrument else [f"{name or ''} {text or ''}", text]
        marks = [read_mark(part) for part in words]
        mark = next((item for item in marks if item is not None), None)
        if mark is not None and np.isfinite(second):
            found.append(_Note(float(second), mark, instrument))
    return sorted(found, key=lambda note: note.second)


def _by_notes(notes: list[_Note], instrument: str, rows: Rows, seconds: Floats) -> list[TrialSpan]:
    """Return the spans that notes begin, each up to its end, its length or the next such note."""
    own = [note for note in notes if note.instrument in (None, instrument)]
    spans: list[TrialSpan] = []
    for place, note in enumerate(own):
        if note.mark.end:
            continue
        alike = (other for other in own[place + 1 :] if other.mark.test == note.mark.test)
        end = min(next((other.second for other in alike), np.inf), note.second + OPEN_S)
        if note.mark.minutes is not None:
            end = note.second + 60 * note.mark.minutes
        inside = rows[(seconds[rows] >= note.second) & (seconds[rows] <= end)]
        spans += _span(note.mark, instrument, inside, seconds)
    return spans


def _decided(
    inputs: Mapping[str, Record], decisions: Iterable[Mapping[str, Any]], seconds: Floats
) -> list[TrialSpan]:
    """Return the spans that a person marked afterwards."""
    recorded = table(inputs, "rover_recorded").frame["recorded_time"]
    spans: list[TrialSpan] = []
    for decision in decisions:
        if decision["kind"] != "test":
            continue
        parts = [
            np.flatnonzero(decision_rows(decision["target"], recorded[span.rows], span))
            + span.start
            for span in file_rows(document(inputs, "rover_files"))
        ]
        rows = np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
        rows = rows[np.isfinite(seconds[rows])]
        rows = rows[np.argsort(seconds[rows], kind="stable")]
        mark = Mark(decision["value"]["test"], decision["value"]["item"])
        spans += _span(mark, str(decision["target"]["instrument"]), rows, seconds)
    return spans
