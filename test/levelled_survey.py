"""A walked survey with known line errors, for tests and trials of levelling."""

from dataclasses import dataclass

import numpy as np

from lodewalk.methods.bodies.dyke import index_dyke_anomaly
from lodewalk.methods.corrections.crossings import Crossings, at_positions, find_crossings
from lodewalk.methods.corrections.levelling_model import LevelPrior, LineTies, crossing_sd

SPEED_M_H = 1.2 * 3600.0
SPACING_M = 25.0
LENGTH_M = 300.0
#: Tie lines go this far beyond the outer lines.
OVERSHOOT_M = 10.0

_found: dict[int, tuple[object, Crossings]] = {}


@dataclass(frozen=True)
class Walk:
    """North-going and south-going lines, then tie lines; readings in the order walked."""

    passage: np.ndarray
    hours: np.ndarray
    easting: np.ndarray
    northing: np.ndarray
    lines: int

    @property
    def on_line(self) -> np.ndarray:
        return self.passage < self.lines


def walk(lines: int, ties: int, *, step_m: float = 1.0, length_m: float = LENGTH_M) -> Walk:
    """Lines `SPACING_M` apart from easting 0, walked up and down; tie lines evenly over them.

    Steps that divide the spacings put a reading on each crossing.
    """
    along = np.arange(0.0, length_m + step_m / 2, step_m)
    width = np.arange(-OVERSHOOT_M, SPACING_M * (lines - 1) + OVERSHOOT_M + step_m / 2, step_m)
    parts, hours = [], 0.0
    for i in range(lines):
        place = along if i % 2 == 0 else along[::-1]
        parts.append((np.full(place.size, i), np.full(place.size, SPACING_M * i), place))
    at = np.round(np.linspace(0, length_m, ties + 2)[1:-1] / SPACING_M) * SPACING_M
    for j, north in enumerate(at):
        place = width if j % 2 == 0 else width[::-1]
        parts.append((np.full(place.size, lines + j), place, np.full(place.size, north)))
    times = []
    for number, _, _ in parts:
        times.append(hours + step_m * np.arange(number.size) / SPEED_M_H)
        hours = times[-1][-1] + 60.0 / 3600.0
    passage, east, north = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Walk(passage, np.concatenate(times), east, north, lines)


def planted_level(
    walked: Walk, rng: np.random.Generator, *, constant_nT: float, drift_nT_h: float
) -> np.ndarray:
    """A constant and a drift for each passage, about the middle of its time."""
    level = np.zeros(walked.passage.size)
    for number in np.unique(walked.passage):
        rows = walked.passage == number
        away = walked.hours[rows] - walked.hours[rows].mean()
        level[rows] = rng.normal(0, constant_nT) + rng.normal(0, drift_nT_h) * away
    return level


def crossings_of(walked: Walk) -> Crossings:
    """Crossings of the lines, found once for each walk."""
    if id(walked) not in _found:
        found = find_crossings(walked.passage, walked.easting, walked.northing, max_gap_m=6.0)
        _found[id(walked)] = (walked, found)
    return _found[id(walked)][1]


def crossing_ties(
    walked: Walk, value: np.ndarray, *, noise_nT: float, position_sd_m: float = 0.0
) -> LineTies:
    """Crossings of the lines as walked, with their sd."""
    found = crossings_of(walked)
    first, second = (np.floor(part).astype(int) for part in (found.first, found.second))
    step = np.hypot(np.gradient(walked.easting), np.gradient(walked.northing))
    slope = np.abs(np.gradient(value)) / np.maximum(step, 0.3)
    pair = np.ones((len(found), 2))
    sd = crossing_sd(
        noise_nT=noise_nT * pair,
        diurnal_sd_nT=0.0 * pair,
        position_sd_m=position_sd_m * pair,
        slope_nT_m=np.stack([slope[first], slope[second]], axis=1),
        angle_deg=found.angle_deg,
    )
    return LineTies(
        walked.passage[first],
        at_positions(found.first, walked.hours),
        walked.passage[second],
        at_positions(found.second, walked.hours),
        at_positions(found.first, value) - at_positions(found.second, value),
        sd,
    )


def dyke(walked: Walk, *, centre_m: float, strike_deg: float, peak_nT: float = 30.0) -> np.ndarray:
    """A symmetric dyke 15 m below the sensor, 10 m wide, through the middle of the lines."""
    turn = np.radians(strike_deg)
    north = walked.northing - LENGTH_M / 2
    distance = (walked.easting - centre_m) * np.cos(turn) - north * np.sin(turn)
    shape = {"depth_m": 15.0, "half_width_m": 5.0, "index_angle_deg": 0.0}
    unit = float(index_dyke_anomaly([0.0], amplitude_nT=1.0, **shape)[0])
    return index_dyke_anomaly(distance, amplitude_nT=peak_nT / unit, **shape)


def kept(
    walked: Walk, found: np.ndarray, truth: np.ndarray, *, centre_m: float
) -> tuple[float, float]:
    """Share of peak and area that is left of a dyke, above the mean of the lines beyond 100 m.

    Peak: mean over the places along the lines of the value on the line where the truth is largest.
    Area: the sum over the lines within 100 m, mean over the places.
    """
    rows = walked.on_line
    place = np.round(walked.northing).astype(int)
    table = np.full((2, walked.lines, place.max() + 1), np.nan)
    for layer, value in enumerate((found, truth)):
        table[layer, walked.passage[rows], place[rows]] = value[rows]
    near = np.abs(SPACING_M * np.arange(walked.lines) - centre_m) <= 100.0
    table -= table[:, ~near].mean(axis=(1, 2))[:, None, None]
    top = np.argmax(table[1], axis=0)
    peak = [np.mean(layer[top, np.arange(top.size)]) for layer in table]
    area = [np.mean(layer[near].sum(axis=0)) for layer in table]
    return peak[0] / peak[1], area[0] / area[1]


PRIOR = LevelPrior(3.0, drift_nT=2.0)
