"""Walked lines as profiles are cut from them: which readings, their gradients and heights."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.gridding.block_means import block_means
from lodewalk.methods.inversion.line_gradient import LineGradient
from lodewalk.methods.inversion.picking import PickedProfile, angle_between_deg
from lodewalk.methods.inversion.sensor_rise import choose_reach, local_height
from lodewalk.records import Record, Table
from lodewalk.steps.gridded import spacing_or_usual
from lodewalk.steps.rows import document, passage_of_readings, table

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: Products that lines are cut from.
NEEDS = (
    "readings", "rover_lines", "lines", "rover_positions", "rover_heights", "rover_culture",
    "budget",
)  # fmt: skip
UNKNOWN_HEIGHT = "The height of the sensor above ground is not known, so no depth can be told."
#: Settings that they are cut by.
NEEDS_SET = ("position.height_m", "instruments.*.sensor_height_sd_m")
#: Heights are averaged along each passage over this share of the line spacing first.
BLOCK = 0.5


@dataclass(frozen=True)
class Walked:
    """The readings that profiles are cut from, passage by passage.

    Parameters
    ----------
    readings : Table
        All readings.
    passage : int array
        Passage of each, -1 off the lines.
    used : bool array
        Which may stand in a profile: kept, with anomaly and place, on a line, no culture.
    height : array
        Smoothed height of the sensor above the ellipsoid; NaN where none is recorded [m].
    place_sd : array
        Error of the place on one axis, as crossings bear it out [m].
    sensor_sd : mapping of str to float
        Error of the sensor's height above ground by instrument, others under ``*`` [m].
    """

    readings: Table
    passage: NDArray[np.int64]
    used: NDArray[np.bool_]
    height: Floats
    place_sd: Floats
    sensor_sd: Mapping[str, float]
    _lines: dict[int, LineGradient | None] = field(default_factory=dict)

    @cached_property
    def places(self) -> Floats:
        """Easting and northing of each reading."""
        names = ("easting_m", "northing_m")
        return np.stack([self.readings.floats(name) for name in names], axis=1)

    @cached_property
    def sd(self) -> Floats:
        """Noise of each reading; where it isn't known, the largest of the others [nT]."""
        own = self.readings.floats("sd_sensor_nT")
        known = own[self.used & (own > 0)]
        return np.where(own > 0, own, known.max() if known.size else 1.0)

    @cached_property
    def ids(self) -> list[str]:
        """The id of each reading."""
        return [str(name) for name in self.readings.strings("reading_id")]

    @cached_property
    def line_spacing_m(self) -> float:
        """Distance between lines, or the usual one where there is one line [m]."""
        own = self.used
        east, north = self.places[own].T
        return spacing_or_usual(east, north, self.passage[own])

    @property
    def passages(self) -> list[int]:
        """The passages with readings that can be used."""
        return [int(number) for number in np.unique(self.passage[self.used])]

    def rows(self, number: int) -> Rows:
        """Return the usable rows of a passage, in order of walking."""
        own = np.flatnonzero(self.used & (self.passage == number))
        return own[np.argsort(self.readings.seconds("time_utc")[own], kind="stable")]

    def line(self, number: int) -> LineGradient | None:
        """Return a passage with its gradients; None where it has too few readings."""
        if number not in self._lines:
            own = self.rows(number)
            anomaly = self.readings.floats("anomaly_nT")[own]
            try:
                made = LineGradient(self.places[own, 0], self.places[own, 1], anomaly, self.sd[own])
            except InputError:
                made = None
            self._lines[number] = made
        return self._lines[number]

    @cached_property
    def _pieces(self) -> tuple[Floats, Floats, Floats, float]:
        """Places and heights of pieces of all passages, and how far they reach [m]."""
        good, size = self.used & np.isfinite(self.height), BLOCK * self.line_spacing_m
        parts, passage = [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)]
        for number in self.passages:
            own = good & (self.passage == number)
            east, north = (self.places[own] / size).T
            mean = block_means(east, north, self.height[own], weight=np.ones(int(own.sum())))
            parts.append(np.stack([mean.column * size, mean.row * size, mean.value], axis=1))
            passage.append(np.full(mean.value.size, number))
        east, north, height = np.concatenate(parts).T
        reach = (
            0.0
            if not height.size
            else choose_reach(
                east, north, height, np.concatenate(passage), line_spacing_m=self.line_spacing_m
            )
        )
        return east, north, height, reach

    def heights_at(self, rows: Rows) -> Floats:
        """Return the height of the sensor at some readings, smoothed over the lines [m].

        NaN where no reading has a height.
        """
        east, north, height, reach = self._pieces
        if not height.size:
            return np.full(rows.size, np.nan)
        at = self.places[rows]
        middle, half = at.mean(axis=0), np.ptp(at, axis=0).max() / 2.0 + 4.0 * reach
        near = np.maximum(abs(east - middle[0]), abs(north - middle[1])) <= half
        return local_height(
            east[near],
            north[near],
            height[near],
            at_easting_m=at[:, 0],
            at_northing_m=at[:, 1],
            reach_m=reach,
        )


def walked(inputs: Mapping[str, Record], settings: Mapping[str, Any]) -> Walked:
    """Return the readings that profiles are cut from.

    A height that is the setting's own to the last digit stands for one that no file holds.
    """
    readings, passage = table(inputs, "readings"), passage_of_readings(inputs)
    used = readings.booleans("kept") & (passage >= 0)
    for name in ("anomaly_nT", "easting_m", "northing_m"):
        used &= np.isfinite(readings.floats(name))
    used &= ~_culture(readings, table(inputs, "rover_culture"))
    told = document(inputs, "budget")["position"] or {}
    # the root mean square of a log-normal factor
    borne_out = told.get("factor", 1.0) * float(np.exp(told.get("log_sd", 0.0) ** 2))
    place_sd = np.nan_to_num(table(inputs, "rover_positions").floats("sd_m")) * borne_out
    height = table(inputs, "rover_heights").floats("height_m")
    height = np.where(height == settings["position.height_m"], np.nan, height)
    sensor_sd = settings["instruments.*.sensor_height_sd_m"]
    return Walked(readings, passage, used, height, place_sd, sensor_sd)


def _culture(readings: Table, culture: Table) -> NDArray[np.bool_]:
    """Tell which readings stand in an event that is probably no rock."""
    marked = np.zeros(len(readings), dtype=bool)
    seconds = readings.seconds("time_utc")
    instrument = np.array(readings.strings("instrument"), dtype=object)
    spans = zip(
        culture.strings("instrument"),
        culture.seconds("start_utc"),
        culture.seconds("end_utc"),
        strict=True,
    )
    for name, start, end in spans:
        marked |= (instrument == name) & (seconds >= start) & (seconds <= end)
    return marked


def pick_row(
    about: Mapping[str, object],
    found: PickedProfile,
    lines: Walked,
    rows: Rows,
    *,
    place: tuple[float, float],
    strike: tuple[float, float | None],
) -> tuple[dict[str, object], pl.DataFrame]:
    """Return a pick as a row of its table, and its profile as rows of theirs.

    Parameters
    ----------
    about : mapping
        Name, source, lineament, line and passage of the pick.
    found : PickedProfile
        Its profile, by place among `rows`, which are rows of the readings.
    place : tuple = (easting, northing)
        Where it lies [m].
    strike : tuple = (azimuth, standard deviation)
        Its strike [deg]; without a standard deviation it isn't known, and taken as across the line.
    """
    own = rows[found.rows]
    heights = lines.heights_at(own) if own.size else np.zeros(0)
    level = float(np.median(heights)) if np.isfinite(heights).all() and own.size else np.nan
    above = lines.readings.floats("height_above_ground_m")[own]
    sensor = float(np.median(above)) if own.size and np.isfinite(above).all() else np.nan
    line = lines.line(int(lines.passage[rows[0]])) if rows.size else None
    row = {
        **about,
        "easting_m": place[0],
        "northing_m": place[1],
        "azimuth_deg": (strike[0] + 90.0) % 360.0,
        "strike_sd_deg": strike[1],
        "crossing_deg": None if line is None else angle_between_deg(line.azimuth_deg, strike[0]),
        "half_window_m": found.half_window_m,
        "sensor_height_m": None if np.isnan(sensor) else sensor,
        "sensor_sd_m": sensor_sd(lines, own),
        "ground_m": None if np.isnan(level - sensor) else level - sensor,
        "readings": int(own.size),
        "problem": found.problem or (UNKNOWN_HEIGHT if own.size and np.isnan(sensor) else None),
    }
    profile = pl.DataFrame(
        {
            "pick": pl.Series([str(about["pick"])] * own.size, dtype=pl.String),
            "reading_id": pl.Series([lines.ids[place] for place in own], dtype=pl.String),
            "distance_m": found.distance_m,
            "rise_m": np.zeros(own.size) if np.isnan(level) else heights - level,
            "anomaly_nT": lines.readings.floats("anomaly_nT")[own],
            "sd_nT": lines.sd[own],
            "place_nT": found.slope_nT_m * lines.place_sd[own],
            "place_sd_m": lines.place_sd[own],
        }
    )
    return row, profile


def sensor_sd(lines: Walked, rows: Rows) -> float | None:
    """Return the error of the sensor's height above ground over some readings [m]."""
    if not rows.size:
        return None
    name = str(lines.readings.frame["instrument"][int(rows[0])])
    return lines.sensor_sd.get(name, lines.sensor_sd["*"])
