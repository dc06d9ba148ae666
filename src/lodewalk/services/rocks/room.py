"""The interpretation as it stands, for looking at: all picks, lineaments and one pick's section."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import polars as pl

from lodewalk.errors import InputError
from lodewalk.services.rocks.depth import PickDepth, depths_of
from lodewalk.services.rocks.fit import (
    Body,
    CompactBody,
    idle_compact,
    nothing_picked,
    told_bodies,
    without_body,
)
from lodewalk.services.rocks.idle import idle_picks
from lodewalk.services.rocks.kinds import Kind, kind_told
from lodewalk.services.rocks.rows import filled, frame_of, notes_of, plain
from lodewalk.services.rocks.trace import Fault, Lineament
from lodewalk.services.sensor_heights import height_words, walked_with
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path
from lodewalk.validation import FloatArray

if TYPE_CHECKING:
    from lodewalk.steps.fits import Fitted, Pick

#: Products that the whole view needs, with the step that makes each.
NEEDED = (
    ("grids", "grid"), ("lineaments", "trace"), ("picks", "picks"), ("bodies", "fits"),
    ("dips", "dips"), ("compact_bodies", "compact"), ("depths", "depth"),
)  # fmt: skip
CAUTION = "Depths are below ground, intervals 90 %. No drilling decision without licensed practice."
NINETY = 1.6449
#: Columns of a fitted curve that a section shows.
CURVES = ("model_nT", "low_nT", "high_nT", "regional_nT")


@dataclass(frozen=True)
class Rose:
    """Length of lineaments by direction of strike; `mean_deg` is null without a lineament."""

    edges_deg: list[float]
    length_m: list[float]
    mean_deg: float | None
    sd_deg: float | None
    number: int


@dataclass(frozen=True)
class RocksView:
    """What has been interpreted, as it stands; nothing is run.

    `missing` names the steps whose products aren't there; `problem` says why there is no pick,
    `idle` which decisions meet nothing. `strike_sds_deg` holds the error of the strike at each
    pick that has one.
    """

    missing: list[str]
    lineaments: list[Lineament]
    faults: list[Fault]
    picks: list[PickDepth]
    bodies: list[Body]
    compact: list[CompactBody]
    reasons: dict[str, str]
    rose: Rose | None
    strike_sds_deg: dict[str, float]
    problem: str | None
    idle: list[str]
    caution: str


def rocks_view(folder: Folder) -> RocksView:
    """Return the interpretation as it stands; empty lists where it hasn't been made."""
    there = {name for name, _ in NEEDED if product_path(folder, name).exists()}
    missing = [step for name, step in NEEDED if name not in there]
    traced = {"lineaments", "picks"} <= there
    fitted = {"bodies", "dips", "picks"} <= there
    notes = notes_of(folder, "trace_notes") if traced else {}
    rows = told_bodies(folder).iter_rows(named=True) if fitted else ()
    compact = frame_of(folder, "compact_bodies").iter_rows(named=True) if not missing else ()
    return RocksView(
        missing,
        _lineaments(folder) if traced else [],
        _faults(folder) if traced else [],
        depths_of(folder) if {"picks", "depths"} <= there else [],
        [filled(Body, row) for row in rows],
        [filled(CompactBody, row) for row in compact],
        {one.pick: one.reason for one in without_body(folder)} if fitted else {},
        filled(Rose, notes["rose"]) if notes.get("rose") else None,
        _strike_sds(folder) if traced else {},
        nothing_picked(folder) if traced else None,
        [*(idle_picks(folder) if traced else []), *(idle_compact(folder) if not missing else [])],
        CAUTION,
    )


def _strike_sds(folder: Folder) -> dict[str, float]:
    """Return the standard deviation of the strike at each pick where it is known [deg]."""
    rows = frame_of(folder, "picks").select("pick", "strike_sd_deg").drop_nulls()
    return {name: sd for name, sd in rows.iter_rows() if plain(sd) is not None}


def _refused(folder: Folder) -> list[str]:
    return list(notes_of(folder, "pick_notes").get("refused_lineaments") or [])


def _lineaments(folder: Folder) -> list[Lineament]:
    """Return the lineaments, those that a person refused among them."""
    marked = frame_of(folder, "lineaments").with_columns(
        refused=pl.col("lineament").is_in(_refused(folder))
    )
    return [filled(Lineament, row) for row in marked.iter_rows(named=True)]


def _faults(folder: Folder) -> list[Fault]:
    """Return the faults between lineaments that aren't refused."""
    refused = _refused(folder)
    kept = [~pl.col(end).is_in(refused) for end in ("first", "second")]
    return [filled(Fault, row) for row in frame_of(folder, "faults").filter(*kept).to_dicts()]


@dataclass(frozen=True)
class Section:
    """A profile across a body, and the body in the ground below it, on one axis of distance.

    Distances [m] are across the strike from the pick, towards `azimuth_deg`. `bar_nT` is 1.645
    times a reading's own sd, `residual` is reading less curve over its total sd. `ground_m` and
    `sensor_m` are depths below the ground at the body, at each reading; null where not known.
    `at_m` is the body's place, which is in nine of ten within `at_90_m`. `sensor` says which height
    of the sensor was taken off the depths, and whether it is set or assumed.
    """

    pick: str
    line: str | None
    azimuth_deg: float
    strike_sd_deg: float | None
    reading_id: list[str]
    distance_m: list[float]
    anomaly_nT: list[float]
    bar_nT: list[float]
    residual: list[float | None]
    model_nT: list[float]
    low_nT: list[float]
    high_nT: list[float]
    regional_nT: list[float | None]
    ground_m: list[float]
    sensor_m: list[float]
    at_m: float | None
    at_90_m: float | None
    sensor: str | None
    body: Body | None
    kinds: list[Kind]
    problem: str | None


def section(folder: Folder, pick: str) -> Section:
    """Return the section of a pick as it stands.

    Raises
    ------
    InputError
        For a pick that isn't there.
    """
    row = _pick(folder, pick)
    return with_sensor(folder, _stored(folder, row), row["sensor_height_m"])


def with_sensor(folder: Folder, found: Section, height_m: float | None) -> Section:
    """Return a section that says which height of the sensor was taken off its depths."""
    readings = product_path(folder, "readings")
    if plain(height_m) is None or not readings.exists():
        return found
    names = walked_with(readings, line=found.line)
    return replace(found, sensor=height_words(folder.settings, names, cast(float, height_m)))


def _pick(folder: Folder, pick: str) -> dict[str, Any]:
    """Return the row of a pick."""
    made = product_path(folder, "picks").exists()
    rows = frame_of(folder, "picks").filter(pl.col("pick") == pick) if made else pl.DataFrame()
    if not rows.height:
        raise InputError("There is no pick of this name.", value=pick)
    return rows.row(0, named=True)


def _stored(folder: Folder, row: Mapping[str, Any]) -> Section:
    """Return the section of a pick by the products."""
    pick = row["pick"]
    readings = frame_of(folder, "profiles").filter(pl.col("pick") == pick)
    if not product_path(folder, "dips").exists():
        return _section(row, readings, pl.DataFrame(), None, {}, [], "No body was fitted yet.")
    own = told_bodies(folder).filter(pl.col("pick") == pick)
    body = own.row(0, named=True) if own.height else None
    curve = frame_of(folder, "curves").filter(pl.col("pick") == pick)
    note = notes_of(folder, "fit_notes")["picks"].get(pick, {})
    above = (row["sensor_height_m"] or 0.0) if body is not None else 0.0
    problem = row["problem"] or note.get("problem")
    return _section(row, readings, curve, body, note.get("noise", {}), _kinds(note, above), problem)


def _kinds(note: Mapping[str, Any], above: float) -> list[Kind]:
    """Return the kinds that were tried, the most probable first, depths below ground."""
    depths = note.get("depth_below_sensor_m", {})
    shares = sorted(note.get("probability", {}).items(), key=lambda one: -one[1])
    found = []
    for kind, share in shares:
        told = depths.get(kind, [None] * 4)
        value, _, low, high = (None if one is None else one - above for one in told)
        found.append(kind_told(kind, share, value, low, high))
    return found


def section_asked(pick: "Pick", rows: pl.DataFrame, fitted: "Fitted", body: Mapping[str, Any],
                  kinds: list[Kind]) -> Section:  # fmt: skip
    """Return the section of a fit that was asked for."""
    from lodewalk.steps.fits import curve_rows

    noise = {"scale": fitted.noise.scale, "correlated_nT": fitted.noise.correlated_nT}
    curve = curve_rows(pick, fitted.found.fits[0])
    return _section(dict(pick.row), rows, curve, body, noise, kinds, None)


def _section(
    pick: Mapping[str, Any],
    readings: pl.DataFrame,
    curve: pl.DataFrame,
    body: Mapping[str, Any] | None,
    noise: Mapping[str, float],
    kinds: list[Kind],
    problem: str | None,
) -> Section:
    """Return readings, curve and body on one axis of distance."""
    own = readings.sort("distance_m")
    away, rise, anomaly = (own[name].to_numpy() for name in ("distance_m", "rise_m", "anomaly_nT"))
    drawn = {} if body is None else _drawn(curve, away)
    model = np.array(drawn.get("model_nT", [np.nan] * away.size), dtype=float)
    at = None if body is None else _across(body, pick)
    ground = (np.interp(at or 0.0, away, rise) if away.size else 0.0) - rise
    return Section(
        pick=pick["pick"],
        line=pick["line"],
        azimuth_deg=pick["azimuth_deg"],
        strike_sd_deg=plain(pick.get("strike_sd_deg")),
        reading_id=[one or "" for one in own["reading_id"].to_list()],
        distance_m=away.tolist(),
        anomaly_nT=anomaly.tolist(),
        bar_nT=(NINETY * own["sd_nT"].to_numpy()).tolist(),
        residual=[plain(float(one)) for one in (anomaly - model) / _total_sd(own, noise)],
        **{name: drawn.get(name, []) for name in CURVES},
        ground_m=ground.tolist(),
        sensor_m=(ground - (pick["sensor_height_m"] or 0.0)).tolist(),
        at_m=at,
        at_90_m=None if body is None else NINETY * body["position_sd_m"],
        sensor=None,
        body=None if body is None else filled(Body, body),
        kinds=kinds,
        problem=problem,
    )


def _drawn(curve: pl.DataFrame, away: FloatArray) -> dict[str, list[Any]]:
    """Return the columns of a curve at the readings' distances; none of a curve without points."""
    if not curve.height:
        return {}
    rows = curve.sort("distance_m")
    place = rows["distance_m"].to_numpy()
    return {
        name: [
            plain(float(one))
            for one in np.interp(away, place, rows[name].fill_null(np.nan).to_numpy())
        ]
        for name in CURVES
    }


def _total_sd(own: pl.DataFrame, noise: Mapping[str, float]) -> FloatArray:
    """Return the error of each reading as the fit weighed it [nT]."""
    sd = noise.get("scale", 1.0) * own["sd_nT"].to_numpy()
    place = own["place_nT"].fill_null(0.0).fill_nan(0.0).to_numpy() if "place_nT" in own else 0.0
    total: FloatArray = np.sqrt(sd**2 + place**2 + noise.get("correlated_nT", 0.0) ** 2)
    return total


def _across(body: Mapping[str, Any], pick: Mapping[str, Any]) -> float:
    """Return the place of a body across the strike from its pick [m]."""
    turn = np.radians(pick["azimuth_deg"])
    east = body["easting_m"] - pick["easting_m"]
    north = body["northing_m"] - pick["northing_m"]
    return float(east * np.sin(turn) + north * np.cos(turn))
