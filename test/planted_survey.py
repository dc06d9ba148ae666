"""Surveys with planted sensor noise and a planted diurnal field of red noise, at exact positions.

For trials of the stated error: many of them go through the real steps. Lines, anomaly and main
field are those of `small_survey`, none of them made by lodewalk.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl

from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.run import run
from lodewalk.survey.folder import Folder, open_folder
from small_survey import CRS, HEIGHT, START, bump, main_field, walk

BEFORE_S, BASE_NOISE_NT = 1800, 0.05


@dataclass(frozen=True)
class Places:
    """Where the readings are taken, one a second, and the steady field there."""

    line: np.ndarray
    longitude_deg: np.ndarray
    latitude_deg: np.ndarray
    main_nT: np.ndarray
    anomaly_nT: np.ndarray


@dataclass(frozen=True)
class Planted:
    """What is planted in one survey."""

    exponent: float
    field_sd_nT: float
    noise_nT: float


@dataclass(frozen=True)
class Outcome:
    """True error and stated error of the kept readings of one survey [nT]."""

    error: np.ndarray
    sd: np.ndarray
    sd_diurnal: np.ndarray

    @property
    def coverage(self) -> float:
        """Share of the true errors inside the stated 90 % interval."""
        return float(np.mean(np.abs(self.error) <= 1.645 * self.sd))


@cache
def places(lines: int = 8, length_m: float = 600.0, step_m: float = 1.2) -> Places:
    """Walk the lines; the main field comes from the independent library."""
    line, easting, northing = walk(lines, step_m=step_m, length_m=length_m)
    main, longitude, latitude = main_field(easting, northing)
    return Places(line + 1, longitude, latitude, main, bump(easting, northing))


def drawn(seed: int) -> Planted:
    """Draw a survey: from rough to smooth change, from calm to stormy, from quiet to noisy."""
    rng = np.random.default_rng([seed, 1])
    exponent = rng.uniform(1.5, 3.0)
    field_sd, noise = np.exp(rng.uniform(np.log([1.0, 0.03]), np.log([20.0, 0.5])))
    return Planted(exponent, float(field_sd), float(noise))


def red_noise(rng: np.random.Generator, seconds: int, *, exponent: float, sd: float) -> np.ndarray:
    """Return noise each second whose power falls as frequency to the power -`exponent`."""
    frequency = np.fft.rfftfreq(4 * seconds)
    size = np.zeros(frequency.size)
    size[1:] = frequency[1:] ** (-exponent / 2)
    phases = rng.normal(size=frequency.size) + 1j * rng.normal(size=frequency.size)
    field = np.fft.irfft(size * phases, 4 * seconds)[:seconds]
    return sd * (field - field.mean()) / field.std()


def write_survey(
    folder: Path, at: Places, planted: Planted, *, seed: int, base_interval_s: int = 60
) -> None:
    """Write `rover.csv`, a reading a second, and `base.csv`, from half an hour before to after."""
    rng = np.random.default_rng([seed, 2])
    seconds = 2 * BEFORE_S + at.line.size
    change = red_noise(rng, seconds, exponent=planted.exponent, sd=planted.field_sd_nT)
    noise = rng.normal(0.0, planted.noise_nT, at.line.size)
    rover = {
        "latitude": at.latitude_deg,
        "longitude": at.longitude_deg,
        "height_m": np.full(at.line.size, HEIGHT),
        "line": at.line,
        "total_field_nT": at.main_nT + at.anomaly_nT + change[BEFORE_S:-BEFORE_S] + noise,
    }
    _write(folder / "rover.csv", BEFORE_S + np.arange(at.line.size), rover)
    minutes = np.arange(0, seconds, base_interval_s)
    base = 22_950.0 + change[minutes] + rng.normal(0.0, BASE_NOISE_NT, minutes.size)
    _write(folder / "base.csv", minutes, {"total_field_nT": base})


def _write(path: Path, seconds: np.ndarray, columns: dict[str, np.ndarray]) -> None:
    start = np.datetime64(START.replace(tzinfo=None), "s")
    time = pl.Series((start + seconds).astype("datetime64[us]")).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    frame = pl.DataFrame({"time_utc": time, **columns})
    frame.with_columns(pl.col("total_field_nT").round(3)).write_csv(path)


def make_survey(folder: Path) -> Folder:
    """Make a survey folder of the two files."""
    new_survey(folder / "survey", name="Planted", crs=CRS)
    survey = open_folder(folder / "survey")
    add_files(survey, [folder / "base.csv"], role="base")
    add_files(survey, [folder / "rover.csv"], role="rover")
    return survey


def outcome(folder: Path, seed: int) -> Outcome:
    """Bring one survey from raw files to anomalies and compare with what was planted.

    One constant, the median error, is taken off for the survey: its level rests on the datum.
    """
    write_survey(folder, places(), drawn(seed), seed=seed)
    survey = make_survey(folder)
    # Positions are exact.
    settings = folder / "survey" / "survey.toml"
    settings.write_text(f"{settings.read_text()}\n[instruments.rover]\nposition_sd_m = 0.001\n")
    survey = open_folder(folder / "survey")
    run(survey, to="readings")
    readings = pl.read_parquet(survey.products / "readings.parquet")
    kept = readings["kept"].to_numpy()
    error = (readings["anomaly_nT"].to_numpy() - places().anomaly_nT)[kept]
    sd, sd_diurnal = (readings[name].to_numpy()[kept] for name in ("sd_nT", "sd_diurnal_nT"))
    return Outcome(error - np.median(error), sd, sd_diurnal)
