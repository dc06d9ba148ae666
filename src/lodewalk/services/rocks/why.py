"""Why a body or a depth is what it is, down to the readings it rests on."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from lodewalk.errors import LodewalkError
from lodewalk.methods.inversion.influence import depth_influence
from lodewalk.services.rocks.depth import MethodDepth, depths_of
from lodewalk.services.rocks.rows import (
    evidence,
    frame_of,
    interval,
    notes_of,
    number,
    plain,
)
from lodewalk.services.rocks.why_compact import compact_readings, compact_row, compact_words
from lodewalk.services.rocks.why_interval import answer_interval, dip_lines, place_error
from lodewalk.steps.bodies import SENSOR_SD_M
from lodewalk.steps.fits import profile_of
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path

#: Readings that are told one by one.
MOST_TOLD = 5


@dataclass(frozen=True)
class RestsOn:
    """One reading of a profile, and how far its error moves the depth.

    That error is its own, `sd_nT`, and what the error of its place makes, `place_nT`.
    """

    reading_id: str
    file: str
    line_in_file: int
    distance_m: float
    anomaly_nT: float
    sd_nT: float
    place_nT: float | None
    moves_depth_m: float | None


@dataclass(frozen=True)
class WhyBody:
    """What a pick's, or a lineament's, body and depth rest on."""

    name: str
    lineament: str | None
    line: str | None
    kind: str | None
    depth_m: float | None
    depth_low_m: float | None
    depth_high_m: float | None
    methods: list[MethodDepth]
    picks: list[str]
    readings: list[RestsOn]
    sentences: list[str]


def names_body(folder: Folder, name: str) -> bool:
    """Tell whether a name is that of a pick or of a lineament with picks."""
    if compact_row(folder, name) is not None:
        return True
    if not product_path(folder, "picks").exists():
        return False
    picks = frame_of(folder, "picks")
    return bool(((picks["pick"] == name) | (picks["lineament"] == name).fill_null(False)).any())


def why_body(folder: Folder, name: str) -> WhyBody:
    """Explain a pick's body and depth, or those of a lineament, down to the readings.

    Parameters
    ----------
    folder : Folder
        The survey.
    name : str
        Name of a pick or of a lineament.

    Returns
    -------
    WhyBody
        Sentences for a person, and every reading.
    """
    compact = compact_row(folder, name)
    picks = frame_of(folder, "picks").filter(
        (pl.col("pick") == name) | (pl.col("lineament") == name)
    )
    if compact is not None and not picks.height:
        return _why_compact(folder, compact)
    own = picks.filter(pl.col("pick") == name)
    pick = own.row(0, named=True) if own.height else None
    body = _body(folder, name)
    lineament = (pick or picks.row(0, named=True))["lineament"]
    depth, methods = _depth(folder, name, body)
    fitted = set(frame_of(folder, "bodies")["pick"].drop_nulls())
    names = [one for one in picks["pick"].to_list() if pick is not None or one in fitted]
    readings = _rests_on(folder, names, pick, body)
    lines = [
        *_where(folder, name, pick, lineament, names),
        *_what(body, depth, methods),
        *_interval(folder, pick, body),
        *dip_lines(folder, name),
        *_told(pick, readings, names),
        *(compact_words(compact) if compact is not None else []),
    ]
    return WhyBody(
        name,
        lineament,
        None if pick is None else pick["line"],
        None if body is None else body["kind"],
        *depth,
        methods,
        names,
        readings,
        lines,
    )


def _why_compact(folder: Folder, row: dict[str, Any]) -> WhyBody:
    """Explain a compact body at a place that a person named."""
    depth = [plain(row[f"centre_depth_{end}"]) for end in ("m", "low_m", "high_m")]
    readings = [
        RestsOn(
            one["reading_id"], one["file"], one["line_in_file"],
            float(np.hypot(one["easting_m"] - row["easting_m"],
                           one["northing_m"] - row["northing_m"])),
            one["anomaly_nT"], one["sd_nT"], None, None,
        )
        for one in compact_readings(folder, row["body"]).iter_rows(named=True)
    ]  # fmt: skip
    said = "A person decided it; see lodewalk decide DIR list."
    return WhyBody(
        row["body"], None, None, None if row["problem"] else "compact", depth[0], depth[1],
        depth[2], [], [], readings, [*compact_words(row), said],
    )  # fmt: skip


def _body(folder: Folder, name: str) -> dict[str, Any] | None:
    """Return the body of this name, if there is one."""
    if not product_path(folder, "bodies").exists():
        return None
    found = frame_of(folder, "bodies").filter(pl.col("body") == name)
    return found.row(0, named=True) if found.height else None


def _depth(
    folder: Folder, name: str, body: dict[str, Any] | None
) -> tuple[tuple[float | None, float | None, float | None], list[MethodDepth]]:
    """Return the depth with its interval, the calibrated answer before the fit's, and methods."""
    if product_path(folder, "depths").exists():
        for row in depths_of(folder):
            if row.pick == name and row.depth_m is not None:
                return (row.depth_m, row.depth_low_m, row.depth_high_m), row.methods
    if body is None:
        return (None, None, None), []
    low, high = plain(body["depth_low_m"]), plain(body["depth_high_m"])
    return (plain(body["depth_m"]), low, high), []


def _where(
    folder: Folder,
    name: str,
    pick: dict[str, Any] | None,
    lineament: str | None,
    names: list[str],
) -> list[str]:
    """Say where the pick stands and what put it there."""
    lines = []
    if pick is None:
        lines.append(f"{name} is a lineament with {len(names)} picks: {', '.join(names)}.")
    else:
        lines.append(
            f"Pick {name} lies on line {pick['line']} at easting {number(pick['easting_m'])} m, "
            f"northing {number(pick['northing_m'])} m; its profile runs along "
            f"{number(pick['azimuth_deg'], 0)} degrees, across the strike."
        )
    if lineament is None:
        lines.append("A person decided it; see lodewalk decide DIR list.")
        return lines
    rows = frame_of(folder, "lineaments").filter(pl.col("lineament") == lineament)
    lines += [
        f"Lineament {lineament}, a {row['kind']} {number(row['length_m'], 0)} m long on "
        f"{row['lines'] or 0} lines, was traced from the map; that it is more than noise has the "
        f"probability {evidence(row['evidence'])}."
        for row in rows.iter_rows(named=True)
    ]
    return [*lines, *_grid(folder)]


def _grid(folder: Folder) -> list[str]:
    """Say what the map is made of."""
    try:
        notes = notes_of(folder, "grid_notes")
    except LodewalkError:
        return []
    return [
        f"The map is a grid of {notes['spacing_m']:g} m by {notes['method']} of "
        f"{notes['readings']} readings; the body is fitted to readings, not to the map."
    ]


def _what(
    body: dict[str, Any] | None,
    depth: tuple[float | None, float | None, float | None],
    methods: list[MethodDepth],
) -> list[str]:
    """Say the depth, the kind, and what each method says."""
    lines = []
    if depth[0] is not None:
        by = ", the calibrated answer over the methods below" if methods else ""
        lines.append(f"Depth of the top below ground {interval(*depth)} m (90 % interval){by}.")
    if body is not None:
        sure = "" if body["decidable"] else ", which doesn't decide it"
        lines.append(
            f"Fitted as {body['kind']}, probability {number(body['probability'], 2)}{sure}; misfit "
            f"{number(body['misfit'], 2)} (1 is all noise) over {body['profiles']} "
            f"{'profile' if body['profiles'] == 1 else 'profiles'}."
        )
    for one in methods:
        said = interval(one.depth_m, one.depth_low_m, one.depth_high_m)
        valid = "" if one.valid else " (doesn't hold here)"
        lines.append(f"  {one.method}{valid}: {said} m. {one.reason}".rstrip())
    return lines


def _interval(
    folder: Folder, pick: dict[str, Any] | None, body: dict[str, Any] | None
) -> list[str]:
    """Say what the interval holds."""
    if pick is None:
        return [body["not_resolved"]] if body and body["not_resolved"] else []
    note = notes_of(folder, "fit_notes")["picks"].get(pick["pick"], {})
    reason = pick["problem"] or note.get("problem")
    if reason:
        return [f"No body here: {reason}"]
    if body is None or not note:
        return []
    noise, kinds = note["noise"], note["probability"]
    own = frame_of(folder, "profiles").filter(pl.col("pick") == pick["pick"])
    others = ", ".join(f"{kind} {p:.2f}" for kind, p in kinds.items() if p >= 0.01)
    sensor_sd = SENSOR_SD_M if pick["sensor_sd_m"] is None else pick["sensor_sd_m"]
    return [
        *answer_interval(folder, pick["pick"], sensor_sd),
        *place_error(own, noise),
        "The interval of the fit holds the readings' own noise (times "
        f"{number(noise['scale'], 2)}), "
        f"{number(noise['correlated_nT'], 2)} nT that neighbours within "
        f"{number(noise['length_m'])} m share, the kind ({others}), and {sensor_sd:g} m of the "
        "sensor's height.",
        *([body["not_resolved"]] if body["not_resolved"] else []),
        *_known(folder, pick["pick"]),
    ]


def _known(folder: Folder, pick: str) -> list[str]:
    """Say which facts from boreholes and outcrops the fit was held to, or contradicted."""
    return [
        f"Known from elsewhere: {fact['text']}"
        for fact in notes_of(folder, "fit_notes").get("facts", [])
        if pick in fact["used_at"] or pick in fact["contradicted_at"]
    ]


def _rests_on(
    folder: Folder,
    names: list[str],
    pick: dict[str, Any] | None,
    body: dict[str, Any] | None,
) -> list[RestsOn]:
    """Return the readings of the profiles, in order of pick and distance."""
    profiles = frame_of(folder, "profiles").filter(pl.col("pick").is_in(names))
    files = frame_of(folder, "readings").select("reading_id", "file", "line_in_file")
    joined = profiles.join(files, on="reading_id", how="left", maintain_order="left")
    moves = np.full(joined.height, np.nan)
    if pick is not None and body is not None:
        moves = _moves(profiles, pick, body)
    columns = ("reading_id", "file", "line_in_file", "distance_m", "anomaly_nT", "sd_nT")
    places = joined["place_nT"].to_list() if "place_nT" in joined.columns else []
    return [
        RestsOn(**row, place_nT=plain(place), moves_depth_m=plain(float(moved)))
        for row, place, moved in zip(
            joined.select(columns).iter_rows(named=True),
            places or [None] * joined.height,
            moves,
            strict=True,
        )
    ]


def _moves(profiles: pl.DataFrame, pick: dict[str, Any], body: dict[str, Any]) -> Any:
    """Return how far the error of each reading and of its place moves the depth [m]."""
    profile = profile_of(profiles)
    if profile.place_nT.size:
        whole = np.hypot(profile.sd_nT, np.nan_to_num(profile.place_nT))
        profile = replace(profile, sd_nT=whole)
    turn = np.radians(pick["azimuth_deg"])
    east, north = (body[axis] - pick[axis] for axis in ("easting_m", "northing_m"))
    place = float(east * np.sin(turn) + north * np.cos(turn))
    rise = float(np.interp(place, profile.distance_m, profile.rise_m))
    shape = {
        "position_m": place,
        "depth_m": body["depth_m"] + (pick["sensor_height_m"] or 0.0) - rise,
        "half_width_m": (body["width_m"] or 1.0) / 2.0,
        "thickness_m": 1.0,
    }
    try:
        return depth_influence(
            profile, body["kind"], shape=shape, index_angle_deg=body["index_angle_deg"]
        )
    except LodewalkError:
        return np.full(profile.distance_m.size, np.nan)


def _told(pick: dict[str, Any] | None, readings: list[RestsOn], names: list[str]) -> list[str]:
    """Say which readings it rests on, the most telling ones one by one."""
    if not readings:
        return []
    where = f"of {len(names)} profiles"
    if pick is not None:
        ends = readings[0].distance_m, readings[-1].distance_m
        where = f"of line {pick['line']}, {ends[0]:.0f} to {ends[1]:.0f} m across the strike"
    lines = [f"It rests on {len(readings)} readings {where}."]
    telling = sorted(
        (row for row in readings if row.moves_depth_m is not None),
        key=lambda row: -abs(row.moves_depth_m or 0.0),
    )
    if telling:
        lines.append("One sd of a reading and of its place moves the depth most at:")
    lines += [
        f"  {row.reading_id} ({row.file}, line {row.line_in_file}), {row.distance_m:.1f} m across, "
        f"{row.anomaly_nT:.1f} nT ± {np.hypot(row.sd_nT, row.place_nT or 0.0):.1f}: "
        f"{row.moves_depth_m or 0.0:+.2f} m"
        for row in telling[:MOST_TOLD]
    ]
    return [*lines, "lodewalk why DIR READING follows each back to its raw line."]
