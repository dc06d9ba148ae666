"""Surveys with one buried body, as raw rover and base files through the real run.

The simulator is that of `detection_survey`; the main field comes from an independent library.
The fixed detector is applied to the anomalies of the kept readings. Invented.
"""

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np
import polars as pl
import ppigrf
from pyproj import Proj

from detection_survey import (
    Case,
    Ground,
    anomaly,
    drawn_target,
    noise_of,
    prepared,
    within_tolerance,
)
from lodewalk.methods.bodies.target import Body
from lodewalk.methods.planning.detection import layout_detection
from lodewalk.methods.planning.line_layout import Readings, parallel_lines
from lodewalk.methods.planning.matched_filter import make_detector, scan_survey
from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from planted_survey import red_noise
from small_survey import CRS, HEIGHT, SOUTH, START, WEST, main_field

BEFORE_S, BASE_INTERVAL_S, BASE_NOISE_NT = 1800, 10, 0.05
PLACES = 32


def at_site(case: Case) -> Case:
    """Return the case with the field of the small survey's place, from grid north."""
    _, longitude, latitude = main_field(WEST, SOUTH)
    parts = ppigrf.igrf(longitude, latitude, HEIGHT / 1000, datetime(2026, 3, 10, 14, 30))
    east, north, up = (float(part.item()) for part in parts)
    convergence = Proj(CRS).get_factors(longitude, latitude).meridian_convergence
    return replace(
        case,
        field_nT=float(np.sqrt(east**2 + north**2 + up**2)),
        inclination_deg=float(np.degrees(np.arctan2(-up, np.hypot(east, north)))),
        declination_deg=float(np.degrees(np.arctan2(east, north))) - convergence,
    )


#: Small surveys near the place of `small_survey`; a base there takes off the daily variation.
WALKED = tuple(
    at_site(replace(case, size_m=(280.0, 240.0), tie_spacing_m=120.0, diurnal=(0.3, 600.0)))
    for case in (
        Case("sphere", Body("sphere", 12.0, radius_m=6.0), (0.005, 0.05)),
        Case("dyke", Body("dyke", 10.0, 5.0, 150.0, 150.0, strike_deg=15.0), (0.001, 0.006),
             azimuth_deg=105.0, spacing_m=28.0, strike_sd_deg=6.0),
        Case("prism", Body("prism", 9.0, 15.0, 30.0, 30.0, strike_deg=60.0), (0.0006, 0.006),
             azimuth_deg=0.0),
        Case("pipe", Body("pipe", 12.0, depth_extent_m=150.0, radius_m=10.0), (0.002, 0.01),
             azimuth_deg=0.0, spacing_m=28.0),
        Case("folded bed", Body("folded bed", 10.0, 4.0, 100.0, 60.0, strike_deg=80.0),
             (0.001, 0.01), azimuth_deg=170.0, strike_sd_deg=6.0),
    )
)  # fmt: skip


@dataclass(frozen=True)
class Walked:
    """One survey: what was predicted, and whether the target was found in the run's anomalies."""

    name: str
    predicted: float
    found: bool
    score: float
    threshold: float
    kept: float


def write(folder: Path, case: Case, readings: Readings, value: np.ndarray, seed: int) -> None:
    """Write the rover and base files; the daily variation is in both."""
    rng = np.random.default_rng([seed, 42])
    seconds = int(2 * BEFORE_S + readings.time_s[-1] + 2)
    change = red_noise(rng, seconds, exponent=2.5, sd=8.0)
    main, longitude, latitude = main_field(WEST + readings.easting_m, SOUTH + readings.northing_m)
    at = BEFORE_S + readings.time_s
    rover = {
        "latitude": latitude,
        "longitude": longitude,
        "height_m": np.full(at.size, HEIGHT),
        "line": readings.line + 1,
        "total_field_nT": main + value + np.interp(at, np.arange(seconds), change),
    }
    _write(folder / "rover.csv", at, rover)
    times = np.arange(0, seconds, BASE_INTERVAL_S)
    base = 22_950.0 + change[times] + rng.normal(0.0, BASE_NOISE_NT, times.size)
    _write(folder / "base.csv", times, {"total_field_nT": base})


def _write(path: Path, seconds: np.ndarray, columns: dict[str, np.ndarray]) -> None:
    start = np.datetime64(START.replace(tzinfo=None), "ms")
    stamps = start + np.rint(seconds * 1000).astype(int)
    time = pl.Series(stamps.astype("datetime64[us]")).dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ")
    frame = pl.DataFrame({"time_utc": time, **columns})
    frame.with_columns(pl.col("total_field_nT").round(3)).write_csv(path)


def reduced(folder: Path) -> pl.DataFrame:
    """Bring the raw files to readings."""
    new_survey(folder / "survey", name="Walked", crs=CRS)
    survey = open_folder(folder / "survey")
    add_files(survey, [folder / "base.csv"], role="base")
    add_files(survey, [folder / "rover.csv"], role="rover")
    settings = folder / "survey" / "survey.toml"
    settings.write_text(f"{settings.read_text()}\n[instruments.rover]\nposition_sd_m = 0.001\n")
    survey = open_folder(folder / "survey")
    run(survey, to="readings")
    return pl.read_parquet(survey.products / "readings.parquet")


def walked(folder: Path, case: Case, seed: int) -> Walked:
    """Predict, simulate, run and detect one survey."""
    at = prepared(case, draws=128)
    predicted = layout_detection(
        case.area, case.layout, prepared=at, noise=case.noise, places=PLACES
    )
    rng = np.random.default_rng([seed, 43])
    plan = parallel_lines(case.area, case.layout)
    ground = Ground(case, plan.easting_m, plan.northing_m)
    place, body, contrast = drawn_target(case, rng)
    value = noise_of(case, plan, ground, rng)
    value += anomaly(case, body, contrast, plan.easting_m - place[0], plan.northing_m - place[1])
    write(folder, case, plan, value, seed)
    table = reduced(folder)
    kept = table.filter(pl.col("kept") & pl.col("line").is_not_null())
    time = kept["time_utc"].dt.timestamp("ms").to_numpy() / 1000.0
    readings = Readings(
        kept["easting_m"].to_numpy() - WEST,
        kept["northing_m"].to_numpy() - SOUTH,
        kept["line"].rle_id().to_numpy().astype(np.int64),
        time - time[0],
    )
    detector = make_detector(
        readings, case.area, prepared=at, noise=case.noise, spacing_m=case.spacing_m
    )
    scan = scan_survey(detector, kept["anomaly_nT"].to_numpy())
    near = within_tolerance(detector, scan.place_m, place)
    score = float(scan.score[near].max())
    found = bool(score > predicted.threshold)
    return Walked(
        case.name, predicted.probability, found, score, predicted.threshold, len(kept) / len(table)
    )


def number_found(probabilities) -> np.ndarray:
    """Return the probability of each number found, the surveys being independent."""
    chance = np.ones(1)
    for one in probabilities:
        chance = np.convolve(chance, [1 - one, one])
    return chance


def band(probabilities, inside: float = 0.99) -> tuple[int, int]:
    """Return the fewest and the most found in a share of all sets of surveys."""
    below = np.cumsum(number_found(probabilities))
    tail = 0.5 * (1 - inside)
    return int(np.searchsorted(below, tail)), int(np.searchsorted(below, 1 - tail))
