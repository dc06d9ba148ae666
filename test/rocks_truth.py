"""The interpretation of a demo survey beside its truth: which intervals hold the true dyke.

The truth is `truth/dyke_crossings.csv`: where the middle of each dyke's top lies under each line,
how far below ground, and half its width.
"""

import json
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from lodewalk.services.demo_job import _write
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import run
from lodewalk.survey.store import read_product

NINETY = 1.645
#: A body farther off every dyke than this is of another source [m]. It is far beyond any error that
#: is told, so that a gross miss counts as one and not as no dyke.
GATE_M = 30.0
#: Kinds that a dyke may be told as: both are strips, and only their width parts them.
STRIPS = ("thin sheet", "dyke")
#: How far beyond its last crossing a dyke is looked for: as far as the next line, where a body
#: that is traced too far is a miss [m].
BEYOND_M = 30.0
COLUMNS = ("scope", "dyke", "body", "kind", "quantity", "truth", "value", "low", "high", "sd")


@dataclass(frozen=True)
class Dyke:
    """One dyke: its crossings, with places along and across its strike [m]."""

    name: str
    strike_deg: float
    half_width_m: float
    along_m: np.ndarray
    across_m: float
    depth_m: np.ndarray
    dip_deg: float

    def at(self, east, north):
        """Return the offset to the right of a place from the dyke, and the true depth there."""
        along, across = turned(east, north, self.strike_deg)
        depth = np.interp(along, self.along_m, self.depth_m)
        inside = self.along_m[0] - BEYOND_M <= along <= self.along_m[-1] + BEYOND_M
        return across - self.across_m, float(depth), inside


def turned(east, north, strike):
    """Return places along a strike and to its right."""
    turn = np.radians(strike)
    along = east * np.sin(turn) + north * np.cos(turn)
    return along, east * np.cos(turn) - north * np.sin(turn)


def dykes_of(path):
    """Return the dykes of a file of crossings."""
    found = []
    for (name,), rows in pl.read_csv(path).group_by("body", maintain_order=True):
        strike = rows["strike_deg"][0]
        along, across = turned(rows["easting_m"].to_numpy(), rows["northing_m"].to_numpy(), strike)
        order = np.argsort(along)
        depth = rows["depth_below_ground_m"].to_numpy()[order]
        half = rows["half_width_m"][0]
        middle, dip = float(np.median(across)), rows["dip_deg"][0]
        found.append(Dyke(name, strike, half, along[order], middle, depth, dip))
    return found


def matched(dykes, row):
    """Return the dyke that a body lies on with its offset and true depth, or None."""
    near = []
    for dyke in dykes:
        offset, depth, inside = dyke.at(row["easting_m"], row["northing_m"])
        if inside and abs(offset) <= max(GATE_M, depth, dyke.half_width_m):
            near.append((abs(offset), dyke, offset, depth))
    return min(near, key=lambda item: item[0])[1:] if near else None


def survey_rows(directory, *, seed):
    """Return what one demo survey tells of its dykes, one row an interval.

    `scope` is pick, joint, answer, or none: a body on no dyke; `quantity` depth, position, index
    angle, strike (of picks) or width, the last only where it is told as resolved. The depth of a
    joint fit is that below the mean ground of its profiles.
    """
    _write(directory, seed)
    run(open_folder(directory), to="depth", workers=1)
    return told_rows(directory)


def told_rows(directory):
    """Return what a demo survey whose products are made tells of its dykes; see `survey_rows`."""
    folder = open_folder(directory)
    bodies = read_product(folder, "bodies").frame.filter(pl.col("depth_m").is_not_null())
    depths = read_product(folder, "depths").frame
    answers = depths.filter((pl.col("method") == "answer") & pl.col("depth_m").is_not_null())
    truth = directory / "truth"
    ambient = ambient_of(truth / "bodies.json")
    return rows_of(dykes_of(truth / "dyke_crossings.csv"), bodies, answers, ambient)


def ambient_of(path):
    """Return inclination and declination from grid north of the truth's field [deg]."""
    north, east, down = json.loads(path.read_text())["ambient_north_east_down_nT"]
    return np.degrees([np.arctan2(down, np.hypot(north, east)), np.arctan2(east, north)])


def index_angle(dyke, inclination, declination):
    """Return the index angle of an induced dyke, ``2 I' - dip - 90``, I' in the section [deg].

    ``tan I' = tan I / cos b``, b from magnetic north to the profile.
    """
    tilt, turn = np.radians(inclination), np.radians(dyke.strike_deg + 90.0 - declination)
    section = np.degrees(np.arctan2(np.sin(tilt), np.cos(tilt) * np.cos(turn)))
    return (2.0 * section - dyke.dip_deg - 90.0 + 180.0) % 360.0 - 180.0


def mean_depths(dykes, bodies):
    """Return the true depth below the mean ground of each lineament's fitted profiles [m]."""
    own = {}
    for row in bodies.filter(pl.col("pick").is_not_null()).iter_rows(named=True):
        found = matched(dykes, row)
        if found:
            own.setdefault((row["lineament"], found[0].name), []).append(found[2])
    return {key: float(np.mean(depths)) for key, depths in own.items()}


def rows_of(dykes, bodies, answers, ambient=None):
    """Return the intervals of bodies and answers beside the truth.

    Index angles only under a given field, of bodies that aren't told as a single edge.
    """
    rows, means = [], mean_depths(dykes, bodies)
    for row in bodies.iter_rows(named=True):
        scope, found = ("joint" if row["pick"] is None else "pick"), matched(dykes, row)
        if found is None:
            rows.append(("none", "", row["body"], row["kind"], "depth", None, row["depth_m"],
                         row["depth_low_m"], row["depth_high_m"], row["depth_sd_m"]))  # fmt: skip
            continue
        dyke, offset, depth = found
        depth = means.get((row["lineament"], dyke.name), depth) if scope == "joint" else depth
        head = scope, dyke.name, row["body"], row["kind"]
        if ambient is not None and row["kind"] != "contact":
            true = index_angle(dyke, *ambient)
            told = _told(row, "index_angle", "deg")
            turn = 360.0 * round((true - told[0]) / 360.0)
            rows.append((*head, "index angle", true, *(t + turn for t in told[:3]), told[3]))
        rows.append((*head, "depth", depth, *_told(row, "depth")))
        reach = NINETY * row["position_sd_m"]
        rows.append((*head, "position", 0.0, offset, offset - reach, offset + reach,
                     row["position_sd_m"]))  # fmt: skip
        if scope == "pick" and row.get("strike_sd_deg") is not None:
            rows.append((*head, "strike", *_strike(dyke, row)))
        if row.get("decidable"):
            right = float(row["kind"] in STRIPS)
            rows.append((*head, "kind", 1.0, right, right, right, 0.0))
        if row["width_resolved"] and row["width_m"] is not None:
            rows.append((*head, "width", 2 * dyke.half_width_m, *_told(row, "width")))
    for row in answers.iter_rows(named=True):
        found = matched(dykes, row)
        if found:
            rows.append(("answer", found[0].name, row["pick"], "", "depth", found[2],
                         *_told(row, "depth")))  # fmt: skip
    schema = dict.fromkeys(COLUMNS[:5], pl.String) | dict.fromkeys(COLUMNS[5:], pl.Float64)
    return pl.DataFrame(rows, schema=schema, orient="row").with_columns(
        inside=(pl.col("low") <= pl.col("truth")) & (pl.col("truth") <= pl.col("high")),
        error=pl.col("value") - pl.col("truth"),
    )


def _strike(dyke, row):
    """Return the true strike, that of a pick on the same side, its ends and its sd [deg]."""
    off = (row["strike_deg"] - dyke.strike_deg + 90.0) % 180.0 - 90.0
    told, reach = dyke.strike_deg + off, NINETY * row["strike_sd_deg"]
    return dyke.strike_deg, told, told - reach, told + reach, row["strike_sd_deg"]


def _told(row, name, unit="m"):
    """Return value, ends and standard deviation of an estimate."""
    return tuple(row[f"{name}{part}_{unit}"] for part in ("", "_low", "_high", "_sd"))


def trial(seed):
    """Return the rows of one survey in a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory() as scratch:
        return survey_rows(Path(scratch) / "demo", seed=seed).with_columns(
            seed=pl.lit(seed, dtype=pl.Int64)
        )
