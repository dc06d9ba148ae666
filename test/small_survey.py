"""A small survey with known truth, made without lodewalk's own formulas.

The main field comes from an independent IGRF library, the anomaly from the closed form of a
vertical dipole, the diurnal variation from a parabola. Invented place and numbers.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import ppigrf
from pyproj import Transformer

CRS = "EPSG:31982"
WEST, SOUTH = 560_000.0, 7_245_000.0
START = datetime(2026, 3, 10, 14, 0, tzinfo=UTC)
BASE_BEFORE_S = 900
HEIGHT = 800.0


@dataclass(frozen=True)
class Truth:
    """What the survey is made of, reading by reading."""

    base: Path
    rover: Path
    time: np.ndarray
    easting: np.ndarray
    northing: np.ndarray
    line: np.ndarray
    diurnal: np.ndarray
    anomaly: np.ndarray


def diurnal(seconds):
    """Return a smooth variation with time since the start [nT]."""
    hours = np.asarray(seconds) / 3600
    return 12 * hours - 3 * hours**2


def bump(easting, northing):
    """Return a harmonic bump as of a vertical dipole 20 m below the sensor [nT]."""
    away = (easting - WEST - 50) ** 2 + (northing - SOUTH - 60) ** 2
    return 120 * 20**3 * (2 * 400 - away) / (2 * (away + 400) ** 2.5)


def walk(lines, step_m=2.0, length_m=120.0, spacing_m=20.0):
    """Return line number, easting and northing of each reading, up one line and down the next."""
    along = np.arange(0, length_m + step_m / 2, step_m)
    number = np.repeat(np.arange(lines), along.size)
    northing = np.concatenate([along if n % 2 == 0 else along[::-1] for n in range(lines)])
    return number, WEST + spacing_m * number, SOUTH + northing


def main_field(easting, northing):
    """Return the reference field by the independent library at the middle of 2026-03-10 [nT]."""
    longitude, latitude = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(
        easting, northing
    )
    parts = ppigrf.igrf(longitude, latitude, HEIGHT / 1000, datetime(2026, 3, 10, 14, 30))
    return np.sqrt(sum(part[0] ** 2 for part in parts)), longitude, latitude


def write_small_survey(folder: Path, *, lines=6, seed=1, noise=0.05) -> Truth:
    """Write a base and a rover file and return the truth."""
    rng = np.random.default_rng(seed)
    number, easting, northing = walk(lines)
    time = 2.0 * np.arange(easting.size)
    main, longitude, latitude = main_field(easting, northing)
    anomaly = bump(easting, northing)
    raw = main + anomaly + diurnal(time) + rng.normal(0, noise, time.size)
    rover = folder / "rover.csv"
    rows = [
        f"{stamp(t)},{lat:.8f},{lon:.8f},{HEIGHT:.1f},L{n + 1},{value:.3f}"
        for t, lat, lon, n, value in zip(time, latitude, longitude, number, raw, strict=True)
    ]
    header = "time_utc,latitude,longitude,height_m,line,total_field_nT"
    rover.write_text("\n".join([header, *rows]) + "\n")
    base = folder / "base.csv"
    base_time = np.arange(-BASE_BEFORE_S, time[-1] + 900, 10.0)
    base_rows = [f"{stamp(t)},{22_950 + diurnal(t):.3f}" for t in base_time]
    base.write_text("\n".join(["time_utc,total_field_nT", *base_rows]) + "\n")
    return Truth(base, rover, time, easting, northing, number, diurnal(time), anomaly)


def stamp(seconds):
    """Return the time of a reading as ISO 8601."""
    moment = START + timedelta(seconds=float(seconds))
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
