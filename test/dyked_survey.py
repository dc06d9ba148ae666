"""A survey over a planted dyke that strikes obliquely to the lines, and tables as traced from it.

The dyke's curve is the difference of two angles and a logarithm, written here anew; the main field
comes from an independent library, as in `small_survey`. Invented place and numbers.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from lodewalk.records.interpreted import LineamentPoints, Lineaments
from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.survey.folder import open_folder
from small_survey import CRS, HEIGHT, SOUTH, WEST, main_field, stamp

#: Lines of 240 m run north, 20 m apart; the sensor is 2 m above ground.
SPACING, LENGTH, STEP, SENSOR = 20.0, 240.0, 1.5, 2.0
STRIKE = 110.0


@dataclass(frozen=True)
class Dyke:
    """A dyke through the middle of the lines: depths below the sensor, strike from grid north."""

    depth: float = 10.0
    half_width: float = 6.0
    amplitude: float = 120.0
    index_deg: float = 35.0
    strike: float = STRIKE
    middle: tuple[float, float] = (WEST + 50.0, SOUTH + 120.0)

    def across(self, east, north):
        """Distance to the right of the strike."""
        turn = np.radians(self.strike)
        return (east - self.middle[0]) * np.cos(turn) - (north - self.middle[1]) * np.sin(turn)

    def curve(self, x):
        """Angle that the top subtends, and the logarithm of the distances to its edges."""
        left, right = x + self.half_width, x - self.half_width
        angle = np.arctan2(left, self.depth) - np.arctan2(right, self.depth)
        ratio = 0.5 * np.log((right**2 + self.depth**2) / (left**2 + self.depth**2))
        turn = np.radians(self.index_deg)
        return self.amplitude * (angle * np.cos(turn) - ratio * np.sin(turn))

    def crossing(self, line):
        """Where its middle crosses a line, by the line's number from 0."""
        east = WEST + SPACING * line
        run = np.tan(np.radians(90.0 - self.strike))
        return east, self.middle[1] + (east - self.middle[0]) * run


def places(lines):
    """Return line, easting and northing of each reading, up one line and down the next."""
    along = np.arange(0.0, LENGTH + STEP / 2, STEP)
    number = np.repeat(np.arange(lines), along.size)
    north = np.concatenate([along if n % 2 == 0 else along[::-1] for n in range(lines)])
    return number, WEST + SPACING * number, SOUTH + north


def write_dyked_survey(folder, dyke, *, lines=6, noise=0.3, seed=4):
    """Write a base and a rover file."""
    rng = np.random.default_rng(seed)
    number, east, north = places(lines)
    main, longitude, latitude = main_field(east, north)
    field = main + dyke.curve(dyke.across(east, north)) + rng.normal(0.0, noise, east.size)
    seconds = 1.5 * np.arange(east.size)
    rows = [
        f"{stamp(t)},{lat:.8f},{lon:.8f},{HEIGHT:.1f},L{n + 1},{value:.3f}"
        for t, lat, lon, n, value in zip(seconds, latitude, longitude, number, field, strict=True)
    ]
    header = "time_utc,latitude,longitude,height_m,line,total_field_nT"
    (folder / "rover.csv").write_text("\n".join([header, *rows]) + "\n")
    base = [f"{stamp(t)},22950.000" for t in np.arange(-600.0, seconds[-1] + 600.0, 10.0)]
    (folder / "base.csv").write_text("\n".join(["time_utc,total_field_nT", *base]) + "\n")


def make_dyked_survey(folder, dyke=None, **more):
    """Write the files and make a survey folder of them."""
    write_dyked_survey(folder, dyke or Dyke(), **more)
    new_survey(folder / "survey", name="Dyked", crs=CRS)
    settings = folder / "survey" / "survey.toml"
    # Positions are exact.
    settings.write_text(f"{settings.read_text()}\n[instruments.rover]\nposition_sd_m = 0.01\n")
    survey = open_folder(folder / "survey")
    add_files(survey, [folder / "base.csv"], role="base")
    add_files(survey, [folder / "rover.csv"], role="rover")
    return survey


def traced(dyke, *, lines=6, off=0.0):
    """Return the tables of one lineament over the dyke, `off` metres beside its middle."""
    turn = np.radians(dyke.strike)
    ends = [dyke.crossing(-0.4), dyke.crossing(lines - 0.6)]
    ends = [(e + off * np.cos(turn), n - off * np.sin(turn)) for e, n in ends]
    share = np.linspace(0.0, 1.0, 8)
    east, north = (ends[0][k] + share * (ends[1][k] - ends[0][k]) for k in (0, 1))
    table = pl.DataFrame(
        {
            "lineament": ["R1"], "kind": ["ridge"],
            "group": pl.Series([None], dtype=pl.String),
            "easting_m": [east.mean()], "northing_m": [north.mean()],
            "strike_deg": [dyke.strike], "strike_sd_deg": [1.0],
            "length_m": [float(np.hypot(np.ptp(east), np.ptp(north)))],
            "evidence": [0.999], "strength": [5.0], "lines": [lines], "alike": [0.99],
        }
    )  # fmt: skip
    points = pl.DataFrame(
        {
            "lineament": ["R1"] * share.size, "number": np.arange(1, share.size + 1),
            "easting_m": east, "northing_m": north, "strength": np.full(share.size, 5.0),
        }
    )  # fmt: skip
    return Lineaments(table), LineamentPoints(points)
