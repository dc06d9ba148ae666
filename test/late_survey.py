"""Walked surveys whose field comes late or whose sensor hangs aside, as raw files, with the truth.

Ground, walk and lag are those of the tests of the method (`test_lag.py`), with a base, a file of
the rover, and where wanted a track of its own; none of it by lodewalk's formulas.
"""

import runpy
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from pyproj import Transformer

from small_survey import CRS, SOUTH, WEST, diurnal, stamp

LAG = runpy.run_path(str(Path(__file__).parent / "methods/corrections/test_lag.py"))
TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
MAIN_NT = 22_900.0


def rule(**own: Any) -> Any:
    """Return a small walk with good positions and a lag of half a second, changed as wanted."""
    usual = {"lines": 12, "ties": 2, "length_m": 300.0, "position_sd_m": 0.1, "azimuth_deg": 0.0}
    return replace(LAG["Survey"](), **(usual | own))


@dataclass(frozen=True)
class Late:
    """What was planted: times, places recorded and true, line of each reading; and its field."""

    time_s: np.ndarray
    east: np.ndarray
    north: np.ndarray
    true_east: np.ndarray
    true_north: np.ndarray
    line: np.ndarray
    field_nT: np.ndarray


def planted(seed: int, rules: Any) -> Late:
    """Return a survey as walked."""
    parts, (east, north), line = LAG["survey"](seed, rules)
    return Late(
        parts["time_s"],
        parts["track_easting"] + WEST,
        parts["track_northing"] + SOUTH,
        east + WEST,
        north + SOUTH,
        line,
        parts["field_nT"] + MAIN_NT + diurnal(parts["time_s"]),
    )


def one_way(late: Late) -> Late:
    """Return the lines that were walked in one direction only."""
    kept = (late.line % 2 == 0) & (late.line >= 0)
    return Late(*(getattr(late, name)[kept] for name in Late.__dataclass_fields__))


def base_rows(late: Late) -> list[str]:
    """Return the file of the base."""
    times = np.arange(late.time_s[0] - 900, late.time_s[-1] + 900, 10.0)
    rows = [f"{stamp(t)},{MAIN_NT + 50 + diurnal(t):.3f}" for t in times]
    return ["time_utc,total_field_nT", *rows]


def rover_rows(
    late: Late, *, ahead_s: float = 0.0, fixes: bool = True, marks: bool = True
) -> list[str]:
    """Return the file of the rover, with fixes of its own and marks of lines or without.

    Its clock is `ahead_s` of UTC.
    """
    rows = [
        f"{stamp(t + ahead_s)},{f'{e:.3f},{n:.3f},' if fixes else ''}"
        f"{f'L{line + 1}' if marks and line >= 0 else ''},{value:.3f}"
        for t, e, n, line, value in zip(
            late.time_s, late.east, late.north, late.line, late.field_nT, strict=True
        )
    ]
    return [f"time_utc,{'easting,northing,' if fixes else ''}line,total_field_nT", *rows]


def track_text(late: Late) -> str:
    """Return the track of a handheld as GPX."""
    longitude, latitude = TO_DEGREES.transform(late.east, late.north)
    points = "\n".join(
        f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}"><ele>800</ele><time>{stamp(t)}</time></trkpt>'
        for lat, lon, t in zip(latitude, longitude, late.time_s, strict=True)
    )
    head = '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
    return f'<?xml version="1.0"?>\n{head}<trk><trkseg>\n{points}\n</trkseg></trk></gpx>'


def write_late(folder: Path, late: Late) -> tuple[Path, Path]:
    """Write base and rover, and return their files."""
    for name, rows in (("base.csv", base_rows(late)), ("rover.csv", rover_rows(late))):
        (folder / name).write_text("\n".join(rows) + "\n")
    return folder / "base.csv", folder / "rover.csv"
