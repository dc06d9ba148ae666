"""Ties: crossings of lines as differences of corrected readings, for heading and levelling."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.corrections.levelling_model import LineTies, crossing_sd
from lodewalk.records import Record
from lodewalk.steps.rows import table

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
SIDES = ("first", "second")
HOUR_S = 3600.0
#: Noise of a reading where none was measured [nT]; common practice.
LEAST_NOISE_NT = 0.05


@dataclass(frozen=True)
class Crossed:
    """Crossings of two lines: their ties, and the times of both readings.

    `by_position_nT` is the part of each tie's sd that comes from the positions.
    """

    ties: LineTies
    seconds: Floats
    by_position_nT: Floats

    @property
    def number(self) -> Numbers:
        """Passages of either side, shape (n, 2)."""
        sides: Numbers = np.column_stack([self.ties.first, self.ties.second])
        return sides


@dataclass(frozen=True)
class Series:
    """Columns of readings as series in time, passage by passage."""

    passage: Numbers
    seconds: Floats

    def at(self, values: Floats, number: Numbers, seconds: Floats) -> Floats:
        """Return the values of passages at times between their readings, of any shape."""
        found = np.full(number.shape, np.nan)
        for own, rows in self._parts(number):
            here = number == own
            found[here] = np.interp(seconds[here], self.seconds[rows], values[rows])
        return found

    def nearest(self, values: Floats, number: Numbers, seconds: Floats) -> Floats:
        """Return the values of passages at the readings nearest in time, such as directions."""
        found = np.full(number.shape, np.nan)
        for own, rows in self._parts(number):
            here = number == own
            middle = (self.seconds[rows][1:] + self.seconds[rows][:-1]) / 2
            found[here] = values[rows[np.searchsorted(middle, seconds[here])]]
        return found

    def _parts(self, number: Numbers) -> list[tuple[int, Numbers]]:
        """Return the passages that are asked for, with their readings in order of time."""
        parts = []
        for own in np.unique(number).tolist():
            rows = np.flatnonzero((self.passage == own) & np.isfinite(self.seconds))
            if rows.size:
                parts.append((own, rows[np.argsort(self.seconds[rows], kind="stable")]))
        return parts


def hours_of(inputs: Mapping[str, Record]) -> Floats:
    """Return the time of each reading since the first [h]."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    known = seconds[np.isfinite(seconds)]
    hours: Floats = (seconds - (known.min() if known.size else 0.0)) / HOUR_S
    return hours


def crossing_ties(
    inputs: Mapping[str, Record], passage: Numbers, *, taken_off: Sequence[str]
) -> Crossed:
    """Return the crossings of lines whose readings have the corrections that are taken off.

    `taken_off` names corrections, such as ``diurnal``: each the column of its own record.
    """
    crossings = table(inputs, "crossings")
    lines = crossings.frame.select(f"{side}_passage" for side in SIDES)
    rows = np.flatnonzero(lines.select(pl.all_horizontal(pl.all().is_not_null())).to_numpy())
    number = lines.fill_null(-1).to_numpy().astype(np.int64)[rows]
    columns = {
        name: np.column_stack([crossings.floats(f"{side}_{name}")[rows] for side in SIDES])
        for name in ("slope_nT_m", "position_sd_m")
    }
    seconds = np.column_stack([crossings.seconds(f"{side}_utc")[rows] for side in SIDES])
    series = Series(passage, table(inputs, "rover_times").seconds("time_utc"))
    noise = np.fmax(table(inputs, "lines").floats("noise_nT"), LEAST_NOISE_NT)
    diurnal_sd = table(inputs, "rover_diurnal").floats("sd_diurnal_nT")
    known = {
        "noise_nT": noise[number],
        "diurnal_sd_nT": np.nan_to_num(series.at(diurnal_sd, number, seconds)),
        "angle_deg": np.clip(crossings.floats("angle_deg")[rows], 1.0, 90.0),
    }
    sd = crossing_sd(**known, **columns)
    bare = crossing_sd(**known, **columns | {"position_sd_m": np.zeros(number.shape)})
    hours = series.at(hours_of(inputs), number, seconds)
    difference = crossings.floats("difference_nT")[rows]
    for name in taken_off:
        off = series.at(table(inputs, f"rover_{name}").floats(f"{name}_nT"), number, seconds)
        difference = difference - (off[:, 0] - off[:, 1])
    ties = (number[:, 0], hours[:, 0], number[:, 1], hours[:, 1], difference, sd)
    usable = np.isfinite(difference + sd) & (number[:, 0] != number[:, 1])
    by_position = np.sqrt(np.maximum(sd**2 - bare**2, 0.0))
    return Crossed(LineTies(*(part[usable] for part in ties)), seconds[usable], by_position[usable])
