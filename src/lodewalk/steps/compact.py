"""Compact: a compact body under each spot, and under each place that a person named."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.inversion.compact_window import (
    AtPlace,
    CompactReadings,
    compact_curve,
    direction_at_place,
    fit_at_place,
)
from lodewalk.methods.inversion.remanence import MagnetisationDirection
from lodewalk.methods.inversion.results import Estimate
from lodewalk.records import Document, Record
from lodewalk.records.interpreted import CompactBodies, CompactCurves
from lodewalk.steps.across import UNKNOWN_HEIGHT, Walked, sensor_sd, walked
from lodewalk.steps.bodies import below_ground, estimate_columns
from lodewalk.steps.context import Context
from lodewalk.steps.picks import REFUSED
from lodewalk.steps.rows import table
from lodewalk.steps.site_field import ambient_on_grid, grid_turn

Floats = NDArray[np.float64]
#: Half sides of the windows that are tried, in line spacings: three lines at the least.
REACHES = (1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
#: Parts of a reading's error that its line shares.
SHARED = ("sd_diurnal_nT", "sd_heading_nT", "sd_level_nT")


@dataclass(frozen=True)
class Asked:
    """A place under which a compact body is looked for."""

    name: str
    source: str
    easting_m: float
    northing_m: float
    problem: str = ""


@dataclass(frozen=True)
class Part:
    """What is needed to tell the body under one place."""

    readings: CompactReadings
    place: tuple[float, float]
    reaches_m: tuple[float, ...]
    ambient_nT: Floats


@dataclass(frozen=True)
class Told:
    """The body under one place, and the direction of its magnetisation."""

    found: AtPlace
    direction: MagnetisationDirection


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the compact bodies, their curves, and what each window said."""
    lines = walked(inputs, settings)
    asked, idle = _asked(inputs, lines, context.decisions)
    looked = [one for one in asked if not one.problem]
    rows: list[dict[str, Any]] = [
        {"body": one.name, "source": one.source, "easting_m": one.easting_m,
         "northing_m": one.northing_m, "direction": "", "reach_m": 0.0, "readings": 0,
         "problem": one.problem}
        for one in asked if one.problem
    ]  # fmt: skip
    curves, tried = [CompactCurves.empty().frame], {}
    if looked:
        site = Site(lines, ambient_on_grid(inputs, settings["survey.crs"]),
                    grid_turn(inputs, settings["survey.crs"]))  # fmt: skip
        parts = [site.part(one) for one in looked]
        for one, part, told in zip(looked, parts, context.map(tell, parts), strict=True):
            context.check_cancelled()
            rows.append(site.row(one, part, told))
            if rows[-1]["problem"] is None:
                curves.append(site.curve(one, part, told))
            tried[one.name] = [
                {"reach_m": round(reach, 3), "problem": why or None}
                for reach, why in told.found.tried
            ]
    return {
        "compact_bodies": _table(rows, [one.name for one in asked]),
        "compact_curves": CompactCurves(pl.concat(curves)),
        "compact_notes": Document({"windows": tried, "idle_decisions": idle}),
    }


def _table(rows: list[dict[str, Any]], names: list[str]) -> CompactBodies:
    """Return the bodies as their table, in the order in which they were asked for."""
    rows = sorted(rows, key=lambda row: names.index(row["body"]))
    return CompactBodies(
        pl.DataFrame(
            {
                column.name: pl.Series([row.get(column.name) for row in rows], dtype=column.dtype)
                for column in CompactBodies.SCHEMA
            }
        )
    )


def _asked(
    inputs: Mapping[str, Record], lines: Walked, decisions: tuple[Mapping[str, Any], ...]
) -> tuple[list[Asked], list[dict[str, Any]]]:
    """Return the spots and the places that a person named, and decisions that meet no reading."""
    picks = table(inputs, "picks").frame
    refused = set(picks.filter(pl.col("problem") == REFUSED)["lineament"].drop_nulls())
    spots = table(inputs, "lineaments").frame.filter(pl.col("kind") == "spot")
    found = [
        Asked(row["lineament"], "trace", row["easting_m"], row["northing_m"],
              REFUSED if row["lineament"] in refused else "")
        for row in spots.iter_rows(named=True)
    ]  # fmt: skip
    row_of = {name: row for row, name in enumerate(lines.ids)}
    idle = []
    for decision in decisions:
        if decision["kind"] != "pick" or not decision["value"].get("compact"):
            continue
        name, reading = decision["value"]["name"], decision["target"]["readings"][0]
        row = row_of.get(reading, -1)
        if row < 0 or not np.isfinite(lines.places[row]).all():
            idle.append({"kind": "pick", "name": name, "reading_id": reading})
            continue
        east, north = lines.places[row]
        found.append(Asked(name, "decision", float(east), float(north)))
    return found, idle


def tell(part: Part) -> Told:
    """Return the body under one place, and the direction of its magnetisation."""
    found = fit_at_place(
        part.readings, part.place, reaches_m=part.reaches_m, ambient_nT=part.ambient_nT
    )
    direction = direction_at_place(found, part.readings, ambient_nT=part.ambient_nT)
    return Told(found, direction)


@dataclass(frozen=True)
class Site:
    """The walked readings, the ambient field on the grid [nT], and the convergence [deg]."""

    lines: Walked
    ambient_nT: Floats
    turn_deg: float

    def part(self, one: Asked) -> Part:
        """Return what is needed to tell the body under one place."""
        between = self.lines.line_spacing_m
        reaches = tuple(between * reach for reach in REACHES)
        away = abs(self.lines.places - (one.easting_m, one.northing_m)).max(axis=1)
        rows = np.flatnonzero(self.lines.used & (away <= reaches[-1]))
        return Part(self._readings(rows), (one.easting_m, one.northing_m), reaches, self.ambient_nT)

    def _readings(self, rows: NDArray[np.int64]) -> CompactReadings:
        """Return readings with their errors; their heights are smoothed over the lines."""
        lines = self.lines
        heights = lines.heights_at(rows) if rows.size else np.zeros(0)
        shared = [np.nan_to_num(lines.readings.floats(name)[rows]) for name in SHARED]
        return CompactReadings(
            lines.places[rows, 0],
            lines.places[rows, 1],
            heights if np.isfinite(heights).all() else np.zeros(rows.size),
            lines.readings.floats("anomaly_nT")[rows],
            lines.sd[rows],
            lines.passage[rows],
            np.sqrt(np.sum(np.square(shared), axis=0)),
            lines.place_sd[rows],
        )

    def row(self, one: Asked, part: Part, told: Told) -> dict[str, Any]:
        """Return what is told of a body as a row."""
        found, fit = told.found, told.found.fit
        row: dict[str, Any] = {
            "body": one.name, "source": one.source, "easting_m": one.easting_m,
            "northing_m": one.northing_m, "reach_m": found.reach_m,
            "readings": int(found.rows.size), "direction": "", "problem": fit.problem or None,
        }  # fmt: skip
        if fit.problem:
            return row
        own = fit.estimates
        east, north = own["easting_m"], own["northing_m"]
        told_below = self._below(
            part, found.rows, own["depth_m"], (east.value, north.value), fit.middle[2]
        )
        if told_below is None:
            return row | {"problem": UNKNOWN_HEIGHT}
        depth, height = told_below
        share = self._share(part, found)
        return row | {
            "easting_m": east.value,
            "northing_m": north.value,
            "position_sd_m": max(east.sd, north.sd),
            **estimate_columns("centre_depth", "m", depth),
            "centre_height_m": height,
            **estimate_columns("moment", "A_m2", own["moment_A_m2"]),
            **self._direction(told.direction),
            "anomaly_share": share,
            "misfit": fit.misfit,
        }

    def _below(
        self,
        part: Part,
        rows: NDArray[np.int64],
        depth: Estimate,
        place: tuple[float, float],
        level_m: float,
    ) -> tuple[Estimate, float | None] | None:
        """Return the depth below the ground over the centre, and the centre's height [m].

        None where the height of the sensor above the ground isn't known.
        """
        lines, own = self.lines, part.readings
        near = int(np.argmin(np.hypot(own.easting_m - place[0], own.northing_m - place[1])))
        every = self._inside(part)[rows]
        above = lines.readings.floats("height_above_ground_m")[every]
        sd = sensor_sd(lines, every)
        if sd is None or not np.isfinite(above).any():
            return None
        sensor = float(np.nanmedian(above)) - (own.height_m[near] - level_m)
        known = bool(own.height_m.any())
        return below_ground(depth, sensor, sd_m=sd), level_m - depth.value if known else None

    def _inside(self, part: Part) -> NDArray[np.int64]:
        """Return the rows of the readings in the widest window of a place."""
        away = abs(self.lines.places - part.place).max(axis=1)
        return np.flatnonzero(self.lines.used & (away <= part.reaches_m[-1]))

    def _share(self, part: Part, found: AtPlace) -> float:
        """Return the body's largest anomaly as a share of the field."""
        model, trend = self._curve(part, found)
        return float(abs(model - trend).max() / np.linalg.norm(self.ambient_nT))

    def _curve(self, part: Part, found: AtPlace) -> tuple[Floats, Floats]:
        """Return model and trend at the readings of the window."""
        own = part.readings
        places = (own.easting_m[found.rows], own.northing_m[found.rows], own.height_m[found.rows])
        return compact_curve(found.fit, *places, ambient_nT=self.ambient_nT)

    def _direction(self, found: MagnetisationDirection) -> dict[str, Any]:
        """Return the direction of the magnetisation in columns, or why there is none."""
        if found.problem:
            return {"direction": found.problem}
        return {
            "inclination_deg": found.inclination_deg,
            "declination_deg": (found.declination_deg + self.turn_deg + 180.0) % 360.0 - 180.0,
            "cone_deg": found.cone_deg,
            "off_field_deg": found.off_field_deg,
            "remanent": found.remanent,
            "direction": direction_words(found),
        }

    def curve(self, one: Asked, part: Part, told: Told) -> pl.DataFrame:
        """Return the readings of the window with what the body makes there."""
        rows, own = told.found.rows, part.readings
        every = self._inside(part)
        model, trend = self._curve(part, told.found)
        return pl.DataFrame(
            {
                "body": pl.Series([one.name] * rows.size, dtype=pl.String),
                "reading_id": pl.Series([self.lines.ids[k] for k in every[rows]], dtype=pl.String),
                "easting_m": own.easting_m[rows],
                "northing_m": own.northing_m[rows],
                "anomaly_nT": own.anomaly_nT[rows],
                "sd_nT": own.sd_nT[rows],
                "model_nT": model,
                "regional_nT": trend,
            }
        )


def direction_words(found: MagnetisationDirection) -> str:
    """Return what a direction says of remanence."""
    off = f"{found.off_field_deg:.0f} degrees off the present field"
    if found.remanent:
        return (
            f"Magnetised {off}, outside the cone: it holds remanence, unless it is so magnetic "
            "that its shape turns the magnetisation."
        )
    return f"Magnetised {off}, inside the cone: induction alone explains it."
