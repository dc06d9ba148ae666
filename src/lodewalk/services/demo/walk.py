"""Where each walker truly is, second by second: lines there and back, turns, stops, stands."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lodewalk.services.demo.noise import stream, wandering
from lodewalk.services.demo.scenario import FieldDay, Scenario, Walk
from lodewalk.validation import FloatArray

Spot = tuple[float, float]
WANDER_SMOOTHING = 7
#: Name of the stand with an item switched on.
ITEM = "item"


@dataclass(frozen=True)
class Leg:
    """One straight piece of a walk, or a stand of `stand_s`."""

    line: str
    start: Spot
    end: Spot
    recorded: bool = True
    stand_s: float = 0.0

    @property
    def length_m(self) -> float:
        """Length [m]."""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))


@dataclass(frozen=True)
class Walked:
    """A walk second by second: Unix time, place, line, direction, and what was going on."""

    time_s: FloatArray
    along_m: FloatArray
    across_m: FloatArray
    azimuth_deg: FloatArray
    line: NDArray[np.str_]
    moving: NDArray[np.bool_]
    recorded: NDArray[np.bool_]

    def at(self, rows: NDArray[np.int64]) -> "Walked":
        """Return some of the seconds."""
        return Walked(**{name: part[rows] for name, part in vars(self).items()})


def walk(scenario: Scenario, day: FieldDay, plan: Walk, *, seed: int) -> Walked:
    """Walk the lines of one rover on one day."""
    rng = stream(seed, "walk", day.date, plan.rover)
    legs = list(_legs(scenario, plan))
    parts = [_stepped(scenario, leg, rng) for leg in legs]
    counts = [len(part[0]) for part in parts]
    along, across, moving = (np.concatenate([part[i] for part in parts]) for i in range(3))
    return Walked(
        time_s=day.midnight_s + plan.start_s + np.arange(len(along), dtype=np.float64),
        along_m=along,
        across_m=across,
        azimuth_deg=np.repeat([_azimuth(scenario, leg) for leg in legs], counts),
        line=np.repeat(np.array([leg.line for leg in legs]), counts),
        moving=moving > 0,
        recorded=np.repeat([leg.recorded for leg in legs], counts),
    )


def _legs(scenario: Scenario, plan: Walk) -> Iterator[Leg]:
    """Yield check station, way to the lines, lines with their turns, and the way back."""
    station = (
        scenario.base_along_m + scenario.check_station_offset_m,
        scenario.base_across_m,
    )
    yield Leg("check", station, station, stand_s=scenario.check_station_s)
    here: Spot = station
    for name in plan.lines:
        start, end = scenario.line_ends(name)
        if _distance(here, end) < _distance(here, start):
            start, end = end, start
        before = _beyond(end, start, scenario.overshoot_m)
        after = _beyond(start, end, scenario.overshoot_m)
        near = _distance(here, before) <= scenario.longest_recorded_walk_m
        yield Leg("", here, before, recorded=near)
        yield Leg("", before, start)
        yield Leg(name, start, end)
        yield Leg("", end, after)
        here = after
    yield Leg("", here, station, recorded=False)
    yield Leg("check", station, station, stand_s=scenario.check_station_s)
    if plan.item:
        yield Leg(ITEM, station, station, stand_s=scenario.item_s)


def _distance(one: Spot, other: Spot) -> float:
    """Return the distance of two spots [m]."""
    return float(np.hypot(one[0] - other[0], one[1] - other[1]))


def _beyond(start: Spot, end: Spot, more_m: float) -> Spot:
    """Return the spot so far past the end of a line."""
    share = 1.0 + more_m / _distance(start, end)
    return (start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1]))


def _azimuth(scenario: Scenario, leg: Leg) -> float:
    """Return the direction of a leg, clockwise from grid north [deg]."""
    turn = np.arctan2(leg.end[1] - leg.start[1], leg.end[0] - leg.start[0])
    return float((np.degrees(turn) + scenario.line_azimuth_deg) % 360.0)


def _stepped(scenario: Scenario, leg: Leg, rng: np.random.Generator) -> tuple[FloatArray, ...]:
    """Return place along, place across and the step made for each second of a leg."""
    way = _paced(scenario, leg, rng)
    share = way / leg.length_m if leg.length_m else way
    side = np.zeros(len(way))
    if leg.line and not leg.stand_s:
        side = wandering(rng, len(way), sd=scenario.wander_m, time_s=scenario.wander_time_s)
        side = np.convolve(side, np.ones(WANDER_SMOOTHING) / WANDER_SMOOTHING, mode="same")
        side *= np.sin(np.pi * share) ** 0.3  # on the line at both ends
    ahead = (leg.end[0] - leg.start[0], leg.end[1] - leg.start[1])
    aside = side / (leg.length_m or 1.0)
    return (
        leg.start[0] + share * ahead[0] - aside * ahead[1],
        leg.start[1] + share * ahead[1] + aside * ahead[0],
        np.diff(way, prepend=0.0),
    )


def _paced(scenario: Scenario, leg: Leg, rng: np.random.Generator) -> FloatArray:
    """Return the way made by each second, from uneven speed and stops."""
    if leg.stand_s:
        return np.zeros(int(leg.stand_s))
    enough = int(2.0 * leg.length_m / scenario.speed_m_s) + 30
    change = wandering(rng, enough, sd=scenario.speed_share_sd, time_s=scenario.speed_time_s)
    speed = scenario.speed_m_s * np.maximum(1.0 + change, 0.5)
    if leg.line:
        stops = rng.poisson(scenario.stops_per_line * leg.length_m / scenario.line_length_m)
        for at in rng.uniform(0.1, 0.9, stops) * leg.length_m / scenario.speed_m_s:
            pause = int(rng.uniform(*scenario.stop_s))
            speed = np.insert(speed, int(at), np.zeros(pause))
    way = np.cumsum(speed)
    return np.minimum(way[: int(np.searchsorted(way, leg.length_m)) + 1], leg.length_m)
