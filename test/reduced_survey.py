"""Small surveys with everything planted that the error budget has a part for, run to the grid.

Lines 20 m apart over compact bodies, two tie lines; red noise as daily variation; positions that
wander for minutes; clocks set by hand; an operator whose heading shows; a level of each line in
some surveys. The main field comes from an independent library, the bodies from `gridded_survey`;
nothing here is made by lodewalk. Invented.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from gridded_survey import field
from lodewalk.formats.netcdf import read_grids
from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from planted_survey import red_noise
from small_survey import CRS, HEIGHT, SOUTH, START, WEST, main_field

SPACING, LENGTH, STEP = 20.0, 200.0, 1.2
BEFORE_S, BASE_NOISE_NT = 1800, 0.05
#: Time over which a receiver's error wanders, and its scatter from fix to fix [s, m].
WANDER_S, SCATTER_M = 120.0, 0.05
TIMES = 1.645


@dataclass(frozen=True)
class Plan:
    """What is planted in one survey; lengths in metres, fields in nT, times in seconds."""

    seed: int
    lines: int
    bodies: np.ndarray
    noise: float
    storm: float
    exponent: float
    base_interval: int
    position: float
    stated: float
    clock: float
    heading: tuple[float, float]
    level: float

    @property
    def quiet(self) -> bool:
        return self.storm < 5.0


@dataclass(frozen=True)
class Truths:
    """Errors and stated errors of one survey, at readings and at nodes, and which are which."""

    plan: Plan
    error: np.ndarray
    sd: np.ndarray
    steep: np.ndarray
    node_error: np.ndarray
    node_sd: np.ndarray
    near: np.ndarray
    between: np.ndarray
    node_steep: np.ndarray


def drawn(seed: int) -> Plan:
    """Draw a survey: quiet and stormy, smooth and rough ground, good and poor receivers."""
    rng = np.random.default_rng([seed, 77])
    lines = int(rng.integers(7, 11))
    count = int(rng.integers(5, 60))
    bodies = np.stack(
        [
            rng.uniform(-60, lines * SPACING + 40, count),
            rng.uniform(-60, LENGTH + 60, count),
            SPACING * np.exp(rng.uniform(np.log(0.5), np.log(3.0), count)),
            rng.normal(0, rng.uniform(5, 50), count),
            np.full(count, np.radians(rng.uniform(-90, 90))),
        ]
    )
    noise, storm, position = np.exp(rng.uniform(np.log([0.1, 1.0, 0.1]), np.log([1.0, 20.0, 2.0])))
    return Plan(
        seed=seed,
        lines=lines,
        bodies=bodies,
        noise=float(noise),
        storm=float(storm),
        exponent=float(rng.uniform(1.5, 3.0)),
        base_interval=int(rng.choice([5, 60])),
        position=float(position),
        stated=float(position * np.exp(rng.normal(0, 0.4))),
        clock=float(rng.normal(0, 1.0)),
        heading=(float(rng.normal(0, 1.0)), float(rng.uniform(0, 360))),
        level=float(noise * rng.uniform(0.3, 1.0)) if rng.random() < 0.3 else 0.0,
    )


def walked(plan: Plan) -> tuple[np.ndarray, ...]:
    """Return line, easting, northing [m], azimuth [degrees] and time [s], a reading a second."""
    along = np.arange(0, LENGTH + STEP / 2, STEP)
    across = np.arange(-10, SPACING * (plan.lines - 1) + 10, STEP)
    parts = []
    for number in range(plan.lines):
        up = number % 2 == 0
        parts.append((np.full(along.size, SPACING * number), along if up else along[::-1],
                      0.0 if up else 180.0))  # fmt: skip
    for k, north in enumerate((70.0, 130.0)):
        there = k % 2 == 0
        parts.append((across if there else across[::-1], np.full(across.size, north),
                      90.0 if there else 270.0))  # fmt: skip
    line = np.concatenate([np.full(part[0].size, n) for n, part in enumerate(parts)])
    east, north = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
    azimuth = np.concatenate([np.full(part[0].size, part[2]) for part in parts])
    return line, east, north, azimuth, np.arange(line.size) + 60.0 * line


def wandering(rng: np.random.Generator, time: np.ndarray, size: float) -> np.ndarray:
    """Return an error whose correlation falls off over two minutes, with a little scatter [m]."""
    fixes = np.arange(0, time[-1] + 60, 10.0)
    keep = np.exp(-10.0 / WANDER_S)
    error = [rng.normal()]
    for _ in fixes[1:]:
        error.append(keep * error[-1] + np.sqrt(1 - keep**2) * rng.normal())
    return size * np.interp(time, fixes, error) + rng.normal(0, SCATTER_M, time.size)


def write(folder: Path, plan: Plan) -> tuple[np.ndarray, np.ndarray]:
    """Write rover and base; return the recorded easting and northing of each reading."""
    rng = np.random.default_rng([plan.seed, 78])
    line, east, north, azimuth, time = walked(plan)
    recorded = [axis + wandering(rng, time, plan.position) for axis in (east, north)]
    seconds = int(2 * BEFORE_S + time[-1] + 1)
    change = red_noise(rng, seconds, exponent=plan.exponent, sd=plan.storm)
    place = (axis + start for axis, start in zip((east, north), (WEST, SOUTH), strict=True))
    main, _, _ = main_field(*place)
    _, longitude, latitude = main_field(WEST + recorded[0], SOUTH + recorded[1])
    level = rng.normal(0, 1, line.max() + 1)[line] * plan.level
    heading = plan.heading[0] * np.cos(np.radians(azimuth - plan.heading[1]))
    value = main + field(plan.bodies, east, north) + level + heading
    value += change[BEFORE_S + time.astype(int)] + rng.normal(0, plan.noise, line.size)
    _write(folder / "rover.csv", BEFORE_S + time, {
        "latitude": latitude, "longitude": longitude,
        "height_m": np.full(line.size, HEIGHT), "line": line + 1, "total_field_nT": value,
    })  # fmt: skip
    at = np.arange(0, seconds, plan.base_interval)
    # The base's clock is off: it stamps a moment later than it reads.
    base = 22_950.0 + change[at] + rng.normal(0, BASE_NOISE_NT, at.size)
    _write(folder / "base.csv", at + plan.clock, {"total_field_nT": base})
    return recorded[0], recorded[1]


def _write(path: Path, seconds: np.ndarray, columns: dict[str, np.ndarray]) -> None:
    start = np.datetime64(START.replace(tzinfo=None), "ms")
    stamps = (start + np.rint(seconds * 1000).astype(int)).astype("datetime64[ms]")
    time = pl.Series(stamps.astype("datetime64[us]")).dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ")
    frame = pl.DataFrame({"time_utc": time, **columns})
    frame.with_columns(pl.col("total_field_nT").round(3)).write_csv(path)


def reduced(folder: Path, seed: int, plan: Plan | None = None) -> Truths:
    """Run one survey from raw files to the grid and compare with what was planted.

    One constant, the median error of the readings, is taken off for the survey: its level rests
    on the datum.
    """
    plan = plan or drawn(seed)
    east, north = write(folder, plan)
    new_survey(folder / "survey", name="Planted", crs=CRS)
    survey = open_folder(folder / "survey")
    add_files(survey, [folder / "base.csv"], role="base", instrument="B")
    add_files(survey, [folder / "rover.csv"], role="rover", instrument="R")
    settings = folder / "survey" / "survey.toml"
    settings.write_text(
        f"{settings.read_text()}\n[instruments.R]\nposition_sd_m = {plan.stated:.3f}\n"
    )
    survey = open_folder(folder / "survey")
    run(survey, to="grid")
    table = pl.read_parquet(survey.products / "readings.parquet")
    kept = table["kept"].to_numpy()
    off = (table["anomaly_nT"].to_numpy() - field(plan.bodies, east, north))[kept]
    level = float(np.median(off))
    slope = gradient(plan, east, north)[kept]
    nodes = _at_nodes(plan, survey.products / "grids.nc", level)
    return Truths(
        plan, off - level, table["sd_nT"].to_numpy()[kept], slope >= np.quantile(slope, 0.9), *nodes
    )


def gradient(plan: Plan, east: np.ndarray, north: np.ndarray, step: float = 0.5) -> np.ndarray:
    """Return the size of the true horizontal gradient [nT/m]."""
    parts = [
        field(plan.bodies, east + e, north + n) - field(plan.bodies, east - e, north - n)
        for e, n in ((step, 0.0), (0.0, step))
    ]
    return np.hypot(*parts) / (2 * step)


def _at_nodes(plan: Plan, path: Path, level: float) -> tuple[np.ndarray, ...]:
    """Return error, sd and places of the nodes within the lines.

    Near: within an eighth of the spacing of a line; between: within as much of the middle.
    """
    grid, error = read_grids(path)
    east, north = np.meshgrid(grid.eastings - WEST, grid.northings - SOUTH)
    inside = (east >= 5) & (east <= (plan.lines - 1) * SPACING - 5)
    inside &= (north >= 5) & (north <= LENGTH - 5) & np.isfinite(grid.values)
    east, north = east[inside], north[inside]
    away = np.abs(east / SPACING - np.rint(east / SPACING))
    slope = gradient(plan, east, north)
    return (
        grid.values[inside] - field(plan.bodies, east, north) - level,
        error.values[inside],
        away <= 0.126,
        away >= 0.374,
        slope >= np.quantile(slope, 0.9),
    )
