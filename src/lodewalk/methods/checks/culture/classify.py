"""Spikes and culture in the readings of rovers, each with a probable cause."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.culture.courses import (
    LinearFeatures,
    find_linear_features,
    line_ends,
)
from lodewalk.methods.checks.culture.events import DROPPED, Notes, RoverEvents
from lodewalk.methods.checks.culture.evidence import course_probability, note_words, with_note
from lodewalk.methods.checks.culture.record import (
    Event,
    Record,
    events_of_record,
    is_told,
    usual_noise,
)
from lodewalk.methods.checks.culture.sources import NEAR
from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.validation import FloatArray, check_increasing, check_same_length

FENCE: Final = "fence or power line"
IRON: Final = "surface iron"


@dataclass(frozen=True)
class _Rows:
    """The columns, in the order given."""

    time_s: FloatArray
    field_nT: FloatArray
    line: IntArray
    east_m: FloatArray
    north_m: FloatArray
    height_m: FloatArray
    distance_m: FloatArray | None
    quality: FloatArray
    instrument: IntArray


def classify_rover(
    time_s: ArrayLike,
    field_nT: ArrayLike,
    line: ArrayLike,
    *,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    sensor_height_m: ArrayLike,
    distance_m: ArrayLike | None = None,
    quality: ArrayLike | None = None,
    instrument: ArrayLike | None = None,
    notes: Notes | None = None,
    tolerance_m: float = 4.0,
) -> RoverEvents:
    """Find spikes, outages and culture in the readings of rovers, with their probable causes.

    Parameters
    ----------
    time_s : array, shape (n,)
        Time of each reading [s]; all different within one instrument.
    field_nT : array, shape (n,)
        Total field as recorded [nT]; NaN where missing.
    line : int array, shape (n,)
        Number of the line of each reading; below zero for none.
    easting_m, northing_m : array, shape (n,)
        Positions [m]; NaN where there is none.
    sensor_height_m : float or array, shape (n,)
        Height of the sensor above ground [m].
    distance_m : array, shape (n,), optional
        Distance walked up to each reading [m]; by default from the positions.
    quality : array, shape (n,), optional
        Signal quality on any scale; see `low_quality`.
    instrument : int array, shape (n,), optional
        Number of the instrument of each reading; by default one.
    notes : Notes, optional
        What was noted in the field.
    tolerance_m : float
        How far from a straight course an anomaly may stand [m] (default 4).

    Returns
    -------
    RoverEvents
        In order of the first row. Nothing is changed: leaving the marks out is the undo.

    Raises
    ------
    InputError
        When the lengths differ, two readings of an instrument have one time, or a height isn't
        above zero.

    Notes
    -----
    Instrument by instrument: dropouts (`find_dropouts`) and their edges; low quality, a dead
    zone where it keeps to one heading, else loss of lock; bursts of noise; spikes
    (`find_spikes`); stretches at another level; then, in what is left, compact sources with the
    probability that they are nearer to the sensor than the ground (`find_sources`), and beats
    (`find_beats`). Over all instruments, sources nearer than 2.6 sensor heights that line up on
    three lines or more are one fence or power line (`find_linear_features`), if more probable
    than a dyke (`course_probability`); a spike that stands in such a course is taken for part
    of it. Notes multiply odds (`with_note`).

    A cause is always probable: width alone doesn't tell iron on the ground from a boulder at
    it, and two readings don't tell a nail from a spike. A power line high above and a pipe
    deeper than about one sensor height look like rock. Readings farther apart than the sensor is
    from the ground tell little. Compact sources are told of from 5 nT and 20 noise sd,
    within 2.6 sensor heights.

    Examples
    --------
    >>> field = 48_000 + np.random.default_rng(3).normal(scale=0.1, size=300)
    >>> field[100] += 25
    >>> along = np.arange(300.0)
    >>> found = classify_rover(along, field, np.zeros(300), easting_m=along,
    ...                        northing_m=np.zeros(300), sensor_height_m=2.0)
    >>> found.cause.tolist(), found.first.tolist(), found.drop.tolist()
    (['isolated spike'], [100], [True])
    """
    rows = _checked(
        time_s,
        field_nT,
        line,
        easting_m,
        northing_m,
        sensor_height_m,
        distance_m,
        quality,
        instrument,
    )
    events: list[Event] = []
    told: list[bool] = []
    orders: list[IntArray] = []
    for number in np.unique(rows.instrument):
        order = _in_time(rows, int(number))
        record = _record(rows, order)
        found = events_of_record(record)
        told += [is_told(event, record.noise_nT) for event in found]
        events += [_given(event, order) for event in found]
        orders += [order] * len(found)
    features, member = _courses(rows, events, notes, tolerance_m)
    events = [
        replace(event, cause=FENCE, probability=float(features[1][number]))
        if number >= 0
        else event
        for event, number in zip(events, member, strict=True)
    ]
    keep = np.flatnonzero(np.array(told, dtype=bool) | (member >= 0))
    return _table(
        rows,
        [events[k] for k in keep],
        [orders[k] for k in keep],
        member[keep],
        features[0],
        notes,
    )


def _checked(
    time_s: ArrayLike,
    field_nT: ArrayLike,
    line: ArrayLike,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    sensor_height_m: ArrayLike,
    distance_m: ArrayLike | None,
    quality: ArrayLike | None,
    instrument: ArrayLike | None,
) -> _Rows:
    """Return the columns as arrays of one length."""
    time, field = np.asarray(time_s, float), np.asarray(field_nT, float)
    east, north = np.asarray(easting_m, float), np.asarray(northing_m, float)
    number = np.asarray(line, dtype=np.int64)
    check_same_length(time_s=time, field_nT=field, line=number, easting_m=east, northing_m=north)
    height = np.broadcast_to(np.asarray(sensor_height_m, float), time.shape)
    if (height <= 0).any():
        raise InputError("sensor_height_m must be above zero.", value=float(np.nanmin(height)))
    worth = np.full(time.size, np.nan) if quality is None else np.asarray(quality, float)
    who = np.zeros(time.size, np.int64) if instrument is None else np.asarray(instrument, np.int64)
    check_same_length(time_s=time, quality=worth, instrument=who)
    along = None if distance_m is None else np.asarray(distance_m, float)
    if along is not None:
        check_same_length(time_s=time, distance_m=along)
    return _Rows(time, field, number, east, north, height, along, worth, who)


def _in_time(rows: _Rows, instrument: int) -> IntArray:
    """Return the rows of an instrument in order of time."""
    own = np.flatnonzero(rows.instrument == instrument)
    order = own[np.argsort(rows.time_s[own], kind="stable")]
    check_increasing(rows.time_s[order], name="time_s of one instrument")
    return order


def _record(rows: _Rows, order: IntArray) -> Record:
    """Return the record of one instrument."""
    east, north = rows.east_m[order], rows.north_m[order]
    height = rows.height_m[order]
    if rows.distance_m is None:
        step = np.hypot(np.diff(east), np.diff(north))
    else:
        step = np.abs(np.diff(rows.distance_m[order]))
    known = step[np.isfinite(step)]
    usual = float(np.median(known)) if known.size else 1.0
    step = np.where(np.isfinite(step), step, usual)
    return Record(
        time_s=rows.time_s[order],
        value_nT=rows.field_nT[order],
        east_m=east,
        north_m=north,
        distance_m=np.concatenate((np.zeros(min(order.size, 1)), np.cumsum(step))),
        height_m=np.where(np.isfinite(height), height, np.nanmedian(rows.height_m)),
        quality=rows.quality[order],
        noise_nT=usual_noise(rows.time_s[order], rows.field_nT[order]),
    )


def _given(event: Event, order: IntArray) -> Event:
    """Return an event in rows as given."""
    return replace(
        event,
        first=int(order[event.first]),
        last=int(order[event.last]),
        row=int(order[event.row]),
    )


def _courses(
    rows: _Rows, events: list[Event], notes: Notes | None, tolerance_m: float
) -> tuple[tuple[LinearFeatures, FloatArray], IntArray]:
    """Return the linear features with their probabilities, and the feature of each event."""
    row = np.array([event.row for event in events], dtype=np.int64)
    depth = np.array([event.depth_m for event in events], dtype=np.float64)
    spike = np.array([event.cause == "isolated spike" for event in events], dtype=bool)
    short = spike | (depth <= NEAR * rows.height_m[row])
    points = np.flatnonzero(short & (rows.line[row] >= 0))
    at = row[points]
    strength = np.abs([events[k].peak_nT for k in points])
    found = find_linear_features(
        rows.east_m[at],
        rows.north_m[at],
        rows.line[at],
        passages=line_ends(rows.line, rows.east_m, rows.north_m),
        strength=strength,
        tolerance_m=tolerance_m,
    )
    # What is too narrow for a source below ground, and stands in a course, is no chance spike.
    above = np.where(spike[points], 1.0, [events[k].above_ground for k in points])
    words = note_words(FENCE, rows.east_m[at], rows.north_m[at], rows.time_s[at], notes)
    sure = np.zeros(len(found))
    for number in range(len(found)):
        own = found.member == number
        odds = course_probability(above[own])
        sure[number] = with_note([odds], [(words[own] != "").any()])[0] * (
            1 - found.expected[number]
        )
    wanted = np.flatnonzero(sure >= 0.5)
    renamed = np.full(len(found) + 1, -1, dtype=np.int64)
    renamed[wanted] = np.arange(wanted.size)
    member = np.full(len(events), -1, dtype=np.int64)
    member[points] = renamed[found.member]
    names = [name for name in vars(found) if name != "member"]
    kept = LinearFeatures(
        **{name: getattr(found, name)[wanted] for name in names}, member=member[:0]
    )
    return (kept, sure[wanted]), member


def _table(
    rows: _Rows,
    events: list[Event],
    orders: list[IntArray],
    member: IntArray,
    features: LinearFeatures,
    notes: Notes | None,
) -> RoverEvents:
    """Return the events as arrays, after the notes."""
    by_row = np.argsort([event.first for event in events], kind="stable")
    events, orders = [events[k] for k in by_row], [orders[k] for k in by_row]
    member = member[by_row]
    row = np.array([event.row for event in events], dtype=np.int64)
    cause = np.array([event.cause for event in events], dtype="<U24")
    probability = np.array([event.probability for event in events], dtype=np.float64)
    note = np.full(row.size, "", dtype="<U16")
    east, north, time = rows.east_m[row], rows.north_m[row], rows.time_s[row]
    # A note of iron speaks against a spike.
    spike = cause == "isolated spike"
    iron = spike & (note_words(IRON, east, north, time, notes) != "")
    probability[iron] = 1 - with_note(1 - probability[iron], np.ones(iron.sum(), bool))
    for name in np.unique(cause).tolist():
        own = cause == name
        note[own] = note_words(name, east[own], north[own], time[own], notes)
    raised = (note != "") & (member < 0)
    probability[raised] = with_note(probability[raised], np.ones(raised.sum(), bool))
    drop = np.isin(cause, DROPPED)
    event_of_row, dropped = _marks(rows, events, orders, drop)
    return RoverEvents(
        first=np.array([event.first for event in events], dtype=np.int64),
        last=np.array([event.last for event in events], dtype=np.int64),
        cause=cause,
        probability=probability,
        drop=drop,
        peak_nT=np.array([event.peak_nT for event in events], dtype=np.float64),
        width_m=np.array([event.width_m for event in events], dtype=np.float64),
        depth_m=np.array([event.depth_m for event in events], dtype=np.float64),
        row=row,
        frequency_Hz=np.array([event.frequency_Hz for event in events], dtype=np.float64),
        feature=member,
        note=note,
        event_of_row=event_of_row,
        dropped=dropped,
        features=replace(features, member=member),
    )


def _marks(
    rows: _Rows, events: list[Event], orders: list[IntArray], drop: BoolArray
) -> tuple[IntArray, BoolArray]:
    """Return the event of each row, the dropping one first, and the rows that are dropped."""
    event_of_row = np.full(rows.time_s.size, -1, dtype=np.int64)
    place = np.zeros(rows.time_s.size, dtype=np.int64)
    for order in {id(order): order for order in orders}.values():
        place[order] = np.arange(order.size)
    size = np.array([place[event.last] - place[event.first] for event in events])
    # Written last are those that drop, and the shortest of the others.
    for number in np.lexsort((-size, drop)).tolist() if events else []:
        event, order = events[number], orders[number]
        event_of_row[order[place[event.first] : place[event.last] + 1]] = number
    dropped = np.zeros(rows.time_s.size, dtype=bool)
    known = event_of_row >= 0
    dropped[known] = drop[event_of_row[known]] if events else False
    return event_of_row, dropped
