"""The events of one instrument's record, before lines and notes are looked at."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.methods.checks.culture.mains import find_beats
from lodewalk.methods.checks.culture.outages import (
    dropout_edges,
    find_bursts,
    find_shifts,
    heading_chance,
)
from lodewalk.methods.checks.culture.sources import find_sources
from lodewalk.methods.checks.fourth_difference import fourth_difference, noise_sd, running_noise
from lodewalk.methods.checks.quality import low_quality
from lodewalk.methods.checks.resolution import quantisation_sd
from lodewalk.methods.checks.spans import BoolArray, IntArray, marked_spans
from lodewalk.methods.checks.spikes import find_dropouts, find_spikes
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.validation import FloatArray

#: Share of what `find_spikes` marks that were spikes, in trials over shallow dipoles.
SPIKE_PROBABILITY: Final = 0.95

#: Probability that a stretch of noise or of another level is the sensor's, not iron's.
LOCK_PROBABILITY: Final = {"low quality": 0.95, "noise": 0.8, "level": 0.9}

#: Chance below which low quality keeps to one heading.
HEADING_CHANCE: Final = 0.01

#: Least compact source that is told of [nT], and in noise sd.
COMPACT: Final = (5.0, 20.0)


@dataclass(frozen=True)
class Record:
    """Readings of one instrument in order of time; NaN where something isn't known."""

    time_s: FloatArray
    value_nT: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    distance_m: FloatArray
    height_m: FloatArray
    quality: FloatArray
    noise_nT: FloatArray

    def azimuth_deg(self) -> FloatArray:
        """Return the heading at each reading, over two readings to either side."""
        if self.time_s.size < 5:
            return np.full(self.time_s.size, np.nan)
        east = np.gradient(np.convolve(self.east_m, np.ones(3) / 3, mode="same"))
        north = np.gradient(np.convolve(self.north_m, np.ones(3) / 3, mode="same"))
        return np.asarray(np.degrees(np.arctan2(east, north)) % 360)


@dataclass(frozen=True)
class Event:
    """One event in rows of a record, and whether iron above ground is sure."""

    first: int
    last: int
    row: int
    cause: str
    probability: float
    peak_nT: float = np.nan
    width_m: float = np.nan
    depth_m: float = np.nan
    frequency_Hz: float = np.nan
    above_ground: float = np.nan


def usual_noise(time_s: FloatArray, value_nT: FloatArray) -> FloatArray:
    """Return the noise at each reading, at least what rounding leaves.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    value_nT : array, shape (n,)
        Readings [nT]; NaN where missing.

    Returns
    -------
    array, shape (n,)
        Noise sd [nT].
    """
    known = np.flatnonzero(np.isfinite(value_nT) & ~find_dropouts(value_nT))
    fourth = fourth_difference(value_nT[known], time_s=time_s[known])
    noise = np.full(time_s.size, np.nan)
    noise[known] = running_noise(fourth, window=401)
    noise = np.where(np.isfinite(noise), noise, np.nan_to_num(noise_sd(fourth)))
    return np.asarray(np.maximum(noise, max(quantisation_sd(value_nT[known]), 1e-3)))


def events_of_record(record: Record) -> list[Event]:
    """Return the events of one instrument's record.

    Parameters
    ----------
    record : Record
        Readings of one instrument in order of time.

    Returns
    -------
    list of Event
        Compact sources of any distance up to 5 sensor heights among them, as lines may need
        them.
    """
    value = record.value_nT
    gone = find_dropouts(value)
    left = np.isfinite(value) & ~gone
    if not left.any():
        return list(_stretches(record, gone, "dropout", 1.0))
    low = low_quality(record.quality)
    edges = left & dropout_edges(value, gone, noise_nT=record.noise_nT, low=low)
    events = list(_stretches(record, gone | edges, "dropout", 0.99))
    left &= ~edges
    events += _lost(record, left, low)
    events += _spikes(record, left)
    events += _shifts(record, left)
    events += _sources(record, left)
    events += _beats(record, left)
    return events


def _shifts(record: Record, left: BoolArray) -> list[Event]:
    """Return the stretches at another level, and take them from the readings left."""
    rows = np.flatnonzero(left)
    marks = np.zeros(left.size, dtype=bool)
    marks[rows] = find_shifts(
        record.time_s[rows],
        record.value_nT[rows],
        noise_nT=record.noise_nT[rows],
        distance_m=record.distance_m[rows],
        sensor_height_m=record.height_m[rows],
    )
    left &= ~marks
    return list(_stretches(record, marks, "loss of lock", LOCK_PROBABILITY["level"]))


def _lost(record: Record, left: BoolArray, low: BoolArray) -> list[Event]:
    """Return bursts of noise and stretches of low quality, and take them from those left."""
    rows = np.flatnonzero(left)
    burst = np.zeros(left.size, dtype=bool)
    burst[rows] = find_bursts(
        record.value_nT[rows],
        noise_nT=record.noise_nT[rows],
        low=low[rows],
        distance_m=record.distance_m[rows],
    )
    poor = left & low
    chance = heading_chance(record.azimuth_deg(), poor)
    dead = chance < HEADING_CHANCE
    events = list(
        _stretches(record, poor, "dead zone", 1 - chance)
        if dead
        else _stretches(record, poor, "loss of lock", LOCK_PROBABILITY["low quality"])
    )
    events += _stretches(record, burst & ~poor, "loss of lock", LOCK_PROBABILITY["noise"])
    left &= ~(burst | poor)
    return events


def _spikes(record: Record, left: BoolArray) -> list[Event]:
    """Return the spikes, and take them from the readings left."""
    rows = np.flatnonzero(left)
    marks = np.zeros(left.size, dtype=bool)
    marks[rows] = find_spikes(
        record.value_nT[rows],
        time_s=record.time_s[rows],
        noise_nT=record.noise_nT[rows],
        distance_m=record.distance_m[rows],
        sensor_height_m=record.height_m[rows],
    )
    left &= ~marks
    return list(_stretches(record, marks, "isolated spike", SPIKE_PROBABILITY))


def _stretches(record: Record, marks: BoolArray, cause: str, probability: float) -> Iterator[Event]:
    """Yield an event for each run of marked readings, with its departure from both sides."""
    sound = np.flatnonzero(np.isfinite(record.value_nT) & ~marks)
    spans = marked_spans(marks, time_s=record.time_s)
    for first, last in zip(spans.first.tolist(), spans.last.tolist(), strict=True):
        at = int(np.searchsorted(sound, first))
        beside = record.value_nT[sound[max(at - 2, 0) : at + 2]]
        off = record.value_nT[first : last + 1] - (np.median(beside) if beside.size else np.nan)
        place = int(np.nanargmax(np.abs(off))) if np.isfinite(off).any() else 0
        peak = float(off[place]) if cause != "dropout" else np.nan
        yield Event(first, last, first + place, cause, probability, peak_nT=peak)


def _sources(record: Record, left: BoolArray) -> Iterator[Event]:
    """Yield the compact sources, surface iron by name."""
    rows: IntArray = np.flatnonzero(left)
    found = find_sources(
        record.value_nT[rows],
        record.distance_m[rows],
        sensor_height_m=record.height_m[rows],
        noise_nT=record.noise_nT[rows],
    )
    first, last, row = rows[found.first], rows[found.last], rows[found.row]
    for place in range(row.size):
        above, near = float(found.above_ground[place]), float(found.near[place])
        iron = above >= 0.5
        yield Event(
            int(first[place]),
            int(last[place]),
            int(row[place]),
            "surface iron" if iron else "compact source",
            above if iron else near - above,
            peak_nT=float(found.peak_nT[place]),
            width_m=float(found.width_m[place]),
            depth_m=float(found.distance_m[place]),
            above_ground=above,
        )


def is_told(event: Event, noise_nT: FloatArray) -> bool:
    """Tell whether an event is told of by itself: all but weak and distant compact sources.

    Parameters
    ----------
    event : Event
        The event.
    noise_nT : array
        Noise at each row of its record [nT].

    Returns
    -------
    bool
    """
    least, sds = COMPACT
    strong = abs(event.peak_nT) >= max(least, sds * float(noise_nT[event.row]))
    return event.cause != "compact source" or (event.probability >= 0.5 and strong)


def _beats(record: Record, left: BoolArray) -> Iterator[Event]:
    """Yield the stretches that beat."""
    rows = np.flatnonzero(left)
    moving = rows[np.isfinite(record.time_s[rows])]
    if not np.isfinite(nominal_interval(record.time_s[moving])):
        return
    beats = find_beats(record.time_s[moving], record.value_nT[moving])
    first, last = moving[beats.first], moving[beats.last]
    for place in range(first.size):
        yield Event(
            int(first[place]),
            int(last[place]),
            int(first[place]),
            "mains beating",
            1 - float(beats.chance[place]),
            peak_nT=float(beats.amplitude_nT[place]),
            frequency_Hz=float(beats.frequency_Hz[place]),
        )
