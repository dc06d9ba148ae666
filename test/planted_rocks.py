"""Records of an interpretation made from known bodies: two dykes and a compact source.

Each dyke's anomaly comes from the closed form of a bottomless dyke; picks, fits and depths are
written down beside it with stated errors, so that figures, layers and the report have a truth.
"""

from typing import NamedTuple

import numpy as np
import polars as pl

from lodewalk.handover.rocks_content import RockRecords
from lodewalk.methods.bodies.dyke import index_dyke_anomaly
from lodewalk.records.document import Document
from lodewalk.records.interpreted import (
    Bodies,
    Curves,
    Depths,
    Dips,
    Faults,
    LineamentPoints,
    Lineaments,
    Picks,
    ProfileReadings,
)

CRS = "EPSG:31982"
WEST, SOUTH = 560_000.0, 7_245_000.0
SENSOR_M, GROUND_M = 2.0, 880.0
LINES = tuple(f"L{number:02d}" for number in range(1, 8))


class Dyke(NamedTuple):
    """A dyke; `east` is its easting on the first line."""

    name: str
    kind: str
    east: float
    depth: float
    half: float
    strike: float
    dip: float
    index: float
    amplitude: float


DYKES = (
    Dyke("R1", "dyke", 150.0, 14.0, 8.5, 128.0, 76.0, -40.0, 60.0),
    Dyke("R2", "thin sheet", 420.0, 7.0, 2.5, 134.0, 97.0, 25.0, 90.0),
)
SPACING_M, STEP_M, NOISE_NT = 25.0, 1.5, 0.6


def table(kind, rows):
    """Return rows as a table; a column that a row lacks is null."""
    schema = {column.name: column.dtype for column in kind.SCHEMA if not column.optional}
    extra = {c.name: c.dtype for c in kind.SCHEMA if c.optional and rows and c.name in rows[0]}
    schema |= extra
    return kind(pl.DataFrame([{name: row.get(name) for name in schema} for row in rows], schema))


def estimate(name, unit, value, sd):
    """Return the columns of an estimate with its 90 % interval."""
    names = (f"{name}_{unit}", f"{name}_sd_{unit}", f"{name}_low_{unit}", f"{name}_high_{unit}")
    return dict(zip(names, (value, sd, value - 1.645 * sd, value + 1.645 * sd), strict=True))


def unit_vectors(strike):
    """Return east and north of the strike and of the direction to its right."""
    turn = np.radians(strike)
    return np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])


def rise_at(distance):
    """Return the height of the sensor above the profile's reference [m]: a gentle slope."""
    return 0.02 * distance + 0.6 * np.sin(distance / 20)


def planted_rocks(*, magnetisation="", seed=3):
    """Return the records; with a `magnetisation` in words dips are told under it."""
    rng = np.random.default_rng(seed)
    rows = {name: [] for name in ("lines", "points", "picks", "profiles", "curves", "depths",
                                  "bodies")}  # fmt: skip
    for dyke in DYKES:
        _one_dyke(dyke, rows, rng, magnetisation)
    rows["lines"].append(
        {"lineament": "S1", "kind": "spot", "easting_m": WEST + 300, "northing_m": SOUTH + 100,
         "length_m": 0.0, "evidence": 0.97, "strength": 2.0, "lines": 2}
    )  # fmt: skip
    rows["points"].append(
        {"lineament": "S1", "number": 1, "easting_m": WEST + 300, "northing_m": SOUTH + 100,
         "strength": 2.0}
    )  # fmt: skip
    fault = {"first": "R1", "second": "R2", "easting_m": WEST + 200, "northing_m": SOUTH + 60,
             "offset_m": 31.0, "sd_m": 4.0, "gap_m": 12.0}  # fmt: skip
    return RockRecords(
        crs=CRS,
        lineaments=table(Lineaments, rows["lines"]),
        points=table(LineamentPoints, rows["points"]),
        faults=table(Faults, [fault]),
        picks=table(Picks, rows["picks"]),
        profiles=table(ProfileReadings, rows["profiles"]),
        curves=table(Curves, rows["curves"]),
        depths=table(Depths, rows["depths"]),
        bodies=table(Bodies, rows["bodies"]),
        dips=table(Dips, rows["bodies"]),
        transform_notes=Document({"problem": None}),
        trace_notes=Document({"problem": None}),
        fit_notes=Document({"problem": None}),
    )


def _one_dyke(dyke, rows, rng, magnetisation):
    """Add the rows of one dyke: its lineament, a pick a line, and the joint fit."""
    name, strike = dyke.name, dyke.strike
    along, _ = unit_vectors(strike)
    places = []
    for nth, line in enumerate(LINES):
        north = SOUTH + SPACING_M * nth
        # the dyke crosses each line of northing `north` at its own easting
        place = (WEST + dyke.east + (north - SOUTH) * along[0] / along[1], north)
        places.append(place)
        _one_pick(dyke, line, place, rows, rng, magnetisation)
    length = float(np.hypot(*(np.array(places[-1]) - places[0])))
    middle = dict(zip(("easting_m", "northing_m"), places[len(places) // 2], strict=True))
    rows["lines"].append(
        {"lineament": name, "kind": "ridge", **middle, "strike_deg": strike, "strike_sd_deg": 1.5,
         "length_m": length, "evidence": 0.999, "strength": 9.0, "lines": len(LINES),
         "alike": 0.95}
    )  # fmt: skip
    rows["points"] += [
        {"lineament": name, "number": nth, "easting_m": x, "northing_m": y, "strength": 9.0}
        for nth, (x, y) in enumerate(places, 1)
    ]
    joint = _body(dyke, 0.02, magnetisation) | middle
    rows["bodies"].append(joint | {"body": name, "pick": None, "profiles": len(LINES)})


def _body(dyke, share, magnetisation):
    """Return the columns of a body whose depth has a standard deviation of this share."""
    name, kind, _, depth, half, strike, dip, index, amplitude = dyke
    thick = kind == "dyke"
    told = {"dip_words": ""}
    if magnetisation:
        told |= estimate("dip", "deg", dip, 6.0)
        told |= {"dip_range_low_deg": dip - 40.0, "dip_range_high_deg": dip + 40.0}
    return {
        "lineament": name, "kind": kind, "probability": 0.98 if thick else 0.7,
        "decidable": thick, "position_sd_m": 0.3, "strike_deg": strike,
        **estimate("depth", "m", depth, share * depth), "top_height_m": GROUND_M - depth,
        **(estimate("width", "m", 2 * half, 2.0) if thick else
           {"width_m": None, "width_high_m": 1.6 * depth}),
        "width_resolved": thick, **estimate("index_angle", "deg", index, 3.0),
        **estimate("strength", "nT_m", 2 * half * amplitude, 40.0), **told,
        "magnetisation": magnetisation, "misfit": 1.02, "profiles": 1,
        "not_resolved": "" if thick else "The width: any width up to the upper end fits as well.",
    }  # fmt: skip


def _one_pick(dyke, line, place, rows, rng, magnetisation):
    """Add the rows of one pick: profile, curve, body and depths."""
    name, depth = dyke.name, dyke.depth
    pick, where = f"{name}-{line}", dict(zip(("easting_m", "northing_m"), place, strict=True))
    window = 5 * (depth + SENSOR_M)
    distance = np.arange(-window, window + 0.1, STEP_M)
    body = index_dyke_anomaly(
        distance, depth_m=depth + SENSOR_M, half_width_m=dyke.half,
        amplitude_nT=dyke.amplitude, index_angle_deg=dyke.index,
    )  # fmt: skip
    regional = 12.0 + 0.05 * distance
    model, noise = body + regional, rng.normal(0, NOISE_NT, distance.size)
    rows["picks"].append(
        {"pick": pick, "source": "trace", "lineament": name, "line": line, "passage": 0, **where,
         "azimuth_deg": (dyke.strike + 90) % 360, "half_window_m": window,
         "sensor_height_m": SENSOR_M, "ground_m": GROUND_M, "readings": distance.size}
    )  # fmt: skip
    for nth, at in enumerate(distance):
        rows["profiles"].append(
            {"pick": pick, "reading_id": f"{pick}:{nth}", "distance_m": at,
             "rise_m": float(rise_at(at)), "anomaly_nT": model[nth] + noise[nth],
             "sd_nT": NOISE_NT}
        )  # fmt: skip
        rows["curves"].append(
            {"pick": pick, "body": pick, "distance_m": at, "model_nT": model[nth],
             "low_nT": model[nth] - 0.8, "high_nT": model[nth] + 0.8, "regional_nT": regional[nth]}
        )  # fmt: skip
    share = 0.05 + 0.01 * LINES.index(line)
    rows["bodies"].append(_body(dyke, share, magnetisation) | where | {"body": pick, "pick": pick})
    _depths(pick, where, depth, share, rows)


def _depths(pick, where, depth, share, rows):
    """Add the depth of each method at a pick: half slope 20 % too shallow, and one not valid."""
    common = {"pick": pick, **where}
    for method, factor, valid in (
        ("answer", 1.0, True), ("fit", 1.0, True), ("half slope", 0.8, True),
        ("Euler", 1.3, True), ("tilt depth", 2.5, False),
    ):  # fmt: skip
        value = factor * depth
        rows["depths"].append(
            common
            | {"method": method, **estimate("depth", "m", value, share * value),
               "top_height_m": GROUND_M - value, "valid": valid,
               "reason": "" if valid else "The tilt never passes 45 degrees."}
        )  # fmt: skip
    rows["depths"].append(
        common | {"method": "spectral", "valid": False, "reason": "The profile is too short."}
    )
