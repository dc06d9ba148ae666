"""A planned survey, walked in the demo's invented ground with a dyke drawn anew, and run.

The dyke is drawn from what the crew believed before going: susceptibility, depth and strike
within their ranges, its middle anywhere in the area. Boulders, fence and the deep block are the
demo's own.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl

from lodewalk.adapters.projection import to_geographic
from lodewalk.records.planning import PlannedLines
from lodewalk.services.add import add_files
from lodewalk.services.demo.field import World
from lodewalk.services.demo.scenario import Rock, Scenario
from lodewalk.services.run import run
from lodewalk.survey.folder import Folder, open_folder
from planted_survey import red_noise

PACE_M_S, BETWEEN_S, BEFORE_S = 1.1, 60, 1800
BASE_INTERVAL_S, BASE_NOISE_NT, STORM_NT = 5, 0.05, 8.0
NOISE_NT, POSITION_M = 0.3, 0.3
START = np.datetime64("2026-03-10T12:00:00", "ms")


@dataclass(frozen=True)
class Believed:
    """What the crew believed: nine cases of ten lie within the factor of the depth and between
    the two susceptibilities.
    """

    depth_m: float
    depth_factor: float
    susceptibility: tuple[float, float]
    strike_deg: float
    strike_sd_deg: float
    width_m: float
    length_m: float
    depth_extent_m: float
    dip_deg: float = 90.0


def drawn_dyke(believed: Believed, area: tuple[float, float], rng: np.random.Generator) -> Rock:
    """Draw a dyke; `area` is the extent along and across the demo's lines [m]."""
    low, high = np.log(believed.susceptibility)
    return Rock(
        "drawn", "dyke",
        float(rng.uniform(0, area[0])), float(rng.uniform(0, area[1])),
        float(believed.depth_m * np.exp(rng.normal() * np.log(believed.depth_factor) / 1.645)),
        float(rng.normal(believed.strike_deg, believed.strike_sd_deg)),
        believed.dip_deg, believed.width_m, believed.length_m, believed.depth_extent_m,
        float(np.exp((low + high) / 2 + rng.normal() * (high - low) / 2 / 1.645)),
    )  # fmt: skip


def world_with(dyke: Rock, *, seed: int) -> World:
    """Return the demo's ground with this dyke in place of its own."""
    usual = Scenario()
    deep = tuple(rock for rock in usual.rocks if rock.kind == "deep block")
    return World(replace(usual, rocks=(dyke, *deep)), seed)


def walk_plan(folder: Folder, planned: PlannedLines, world: World, *, seed: int) -> Folder:
    """Write base and rovers as walked on the plan, add them, run to the readings."""
    rng = np.random.default_rng([seed, 91])
    walks = dict(planned.frame.group_by("day", "rover", maintain_order=True))
    last = {}
    for (day, rover), part in walks.items():
        path = folder.path / f"rover-{day}-{rover}.csv"
        last[day] = max(last.get(day, 0), _walk(path, part, world, rng, day, seed))
        add_files(folder, [path], role="rover", instrument=f"R{rover}")
    for day, seconds in last.items():
        path = folder.path / f"base-{day}.csv"
        at = np.arange(0, seconds + BEFORE_S, BASE_INTERVAL_S)
        value = world.base_total_field + _change(seed, day)[at]
        value += rng.normal(0, BASE_NOISE_NT, at.size)
        _write(path, day, at, {"total_field_nT": value})
        add_files(folder, [path], role="base", instrument="B1")
    again = open_folder(folder.path)
    run(again, to="readings")
    return again


def _change(seed: int, day: int) -> np.ndarray:
    """Return the change of the field with time on one day, a value a second."""
    rng = np.random.default_rng([seed, 92, day])
    return red_noise(rng, 12 * 3600, exponent=2.0, sd=STORM_NT)


def _walk(path: Path, part: pl.DataFrame, world: World, rng, day: int, seed: int) -> int:
    """Write one rover's day; return its last second."""
    east, north, line, seconds, start = [], [], [], [], BEFORE_S
    for row in part.iter_rows(named=True):
        ends = np.array([[row["easting_1_m"], row["northing_1_m"]],
                         [row["easting_2_m"], row["northing_2_m"]]])  # fmt: skip
        one, two = ends[::-1] if row["reversed"] else ends
        count = int(np.hypot(*(two - one)) / PACE_M_S)
        share = np.arange(count + 1) * PACE_M_S / np.hypot(*(two - one))
        east.append(one[0] + share * (two - one)[0])
        north.append(one[1] + share * (two - one)[1])
        line += [row["line"]] * (count + 1)
        seconds.append(start + np.arange(count + 1))
        start += count + 1 + BETWEEN_S
    place = [np.concatenate(axis) for axis in (east, north)]
    time = np.concatenate(seconds)
    ground = world.place.ground(*world.place.from_grid(*place))
    steady = world.field_at(*place, ground + world.scenario.sensor_height_m)
    value = steady.reference_nT + steady.anomaly_nT + _change(seed, day)[time]
    value += rng.normal(0, NOISE_NT, time.size)
    received = [axis + rng.normal(0, POSITION_M, axis.size) for axis in place]
    longitude, latitude = to_geographic(*received, crs=world.scenario.crs)
    _write(path, day, time, {
        "latitude": latitude, "longitude": longitude, "height_m": ground, "line": line,
        "total_field_nT": value,
    })  # fmt: skip
    return int(time[-1])


def _write(path: Path, day: int, seconds: np.ndarray, columns: dict) -> None:
    stamps = START + np.timedelta64(day - 1, "D") + (1000 * seconds).astype("timedelta64[ms]")
    time = pl.Series(stamps.astype("datetime64[us]")).dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ")
    frame = pl.DataFrame({"time_utc": time, **columns})
    frame.with_columns(pl.col("total_field_nT").round(3)).write_csv(path)
