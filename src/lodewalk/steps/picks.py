"""Picks: where a lineament crosses a line, the profile of readings across its strike."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.inversion.line_gradient import LineGradient
from lodewalk.methods.inversion.picking import crossings, pick_profile
from lodewalk.methods.lineaments.local_strike import local_strikes
from lodewalk.methods.lineaments.strike import Strike
from lodewalk.records import Document, Record, Table
from lodewalk.records.interpreted import Picks, ProfileReadings
from lodewalk.steps.across import Walked, pick_row, walked
from lodewalk.steps.context import Context
from lodewalk.steps.rows import table
from lodewalk.steps.trace import rose_note

Floats = NDArray[np.float64]
#: Least distance of two crossings with one line [line spacings].
APART = 0.5
#: Error of a strike that a person states, one standard deviation (common practice) [deg].
STATED_SD_DEG = 3.0
REFUSED = "It was refused by a decision."
#: Names of picks that a person added.
OWN_NAME = re.compile(r"P[1-9]\d*")


@dataclass(frozen=True)
class Place:
    """A place to look at on a passage, before its profile is cut.

    Where its strike isn't known, that is taken as across the line and has no `strike_sd_deg`.
    """

    name: str
    source: str
    lineament: str | None
    passage: int
    along_m: float
    place: tuple[float, float]
    strike_deg: float
    strike_sd_deg: float | None


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the picks with their profiles, and decisions that meet nothing."""
    lines = walked(inputs, settings)
    names = table(inputs, "lines").strings("line")
    found, idle = _decided(lines, context.decisions)
    found += _traced(lines, table(inputs, "lineaments"), table(inputs, "lineament_points"), names)
    refused, whole, more = _refused(lines, found, context.decisions)
    believed = [place for place in found if place.name not in refused]
    rows, profiles = [], []
    for done, place in enumerate(found, 1):
        context.check_cancelled()
        row, profile = _picked(place, believed, lines, names, settings["fits.window"])
        if place.name in refused:
            row |= {"problem": REFUSED, "readings": 0}
            profile = profile.clear()
        rows.append(row)
        profiles.append(profile)
        context.progress(done, len(found))
    notes = {
        "picks": len(rows),
        "with_profile": sum(row["problem"] is None for row in rows),
        "refused": sorted(refused),
        "refused_lineaments": sorted(whole),
        "rose": _rose(table(inputs, "lineaments"), whole),
        "idle_decisions": [
            {
                "kind": item["kind"],
                "name": item["value"].get("name", ""),
                "reading_id": item["target"]["readings"][0],
            }
            for item in (*idle, *more)
        ],
    }
    return {
        "picks": picks_table(rows),
        "profiles": ProfileReadings(
            pl.concat([ProfileReadings.empty().frame, *profiles], how="diagonal")
        ),
        "pick_notes": Document(notes),
    }


def picks_table(rows: list[dict[str, Any]]) -> Picks:
    """Return the picks as their table."""
    columns = {
        column.name: pl.Series([row[column.name] for row in rows], dtype=column.dtype)
        for column in Picks.SCHEMA
    }
    return Picks(pl.DataFrame(columns))


def _picked(
    place: Place, every: list[Place], lines: Walked, names: list[str | None], window: float
) -> tuple[dict[str, Any], pl.DataFrame]:
    """Return a pick and its profile."""
    line = lines.line(place.passage)
    assert line is not None
    others = np.array(
        [o.along_m for o in every if o.passage == place.passage and o.name != place.name]
    )
    profile = pick_profile(
        line, place.place, strike_deg=place.strike_deg, window=window, neighbours_m=others
    )
    about = {
        "pick": place.name,
        "source": place.source,
        "lineament": place.lineament,
        "line": names[place.passage],
        "passage": place.passage,
    }
    rows = lines.rows(place.passage)
    strike = place.strike_deg, place.strike_sd_deg
    return pick_row(about, profile, lines, rows, place=place.place, strike=strike)


def _traced(
    lines: Walked, lineaments: Table, points: Table, names: list[str | None]
) -> Iterator[Place]:
    """Yield the crossings of the lineaments with the lines, lineament by lineament."""
    corners = np.stack([points.floats("easting_m"), points.floats("northing_m")], axis=1)
    owner = np.array(points.strings("lineament"), dtype=object)
    for row in lineaments.frame.iter_rows(named=True):
        own = corners[owner == row["lineament"]]
        found = _at_spot(lines, row) if row["strike_deg"] is None else _across(lines, row, own)
        taken: dict[str, int] = {}
        for passage, place, strike in found:
            line = lines.line(passage)
            assert line is not None
            name = f"{row['lineament']}-{names[passage]}"
            taken[name] = taken.get(name, 0) + 1
            number = f"-{taken[name]}" if taken[name] > 1 else ""
            yield Place(
                name + number, "trace", row["lineament"], passage, line.along(*place), place,
                *strike,
            )  # fmt: skip


def _across(
    lines: Walked, row: Mapping[str, Any], corners: Floats
) -> Iterator[tuple[int, tuple[float, float], Strike]]:
    """Yield passage, place and strike of each crossing of a lineament with a line."""
    between = lines.line_spacing_m
    numbers, places = [], []
    for number in lines.passages:
        if lines.line(number) is None:
            continue
        track = lines.places[lines.rows(number)]
        for crossing in crossings(corners, track, apart_m=APART * between):
            numbers.append(number)
            places.append((crossing.easting_m, crossing.northing_m))
    strikes = local_strikes(corners, places, line_spacing_m=between, towards_deg=row["strike_deg"])
    yield from zip(numbers, places, strikes, strict=True)


def _at_spot(
    lines: Walked, row: Mapping[str, Any]
) -> Iterator[tuple[int, tuple[float, float], tuple[float, None]]]:
    """Yield the passage nearest to a spot, its place on it, and a strike across the line."""
    away = np.hypot(*(lines.places - (row["easting_m"], row["northing_m"])).T)
    away[~lines.used] = np.inf
    nearest = int(np.argmin(away))
    if away[nearest] > lines.line_spacing_m:
        return
    number = int(lines.passage[nearest])
    line = lines.line(number)
    if line is not None:
        east, north = (float(axis) for axis in lines.places[nearest])
        yield number, (east, north), (across_line(line), None)


def across_line(line: LineGradient) -> float:
    """Return the strike of a body straight across a line, 0 to 180 [deg]."""
    return (line.azimuth_deg - 90.0) % 180.0


def _decided(
    lines: Walked, decisions: tuple[Mapping[str, Any], ...]
) -> tuple[list[Place], list[Mapping[str, Any]]]:
    """Return the picks that a person added, and decisions on readings that can't be used."""
    row_of = {name: row for row, name in enumerate(lines.ids)}
    found, idle = [], []
    for decision in decisions:
        if decision["kind"] != "pick" or decision["value"].get("compact"):
            continue
        row = row_of.get(decision["target"]["readings"][0], -1)
        line = lines.line(int(lines.passage[row])) if row >= 0 and lines.used[row] else None
        if line is None:
            idle.append(decision)
            continue
        place = float(lines.places[row, 0]), float(lines.places[row, 1])
        name, strike = decision["value"]["name"], decision["value"]["strike_deg"]
        told = (across_line(line), None) if strike is None else (strike, STATED_SD_DEG)
        number = int(lines.passage[row])
        found.append(Place(name, "decision", None, number, line.along(*place), place, *told))
    return found, idle


def _refused(
    lines: Walked, found: list[Place], decisions: tuple[Mapping[str, Any], ...]
) -> tuple[set[str], set[str], list[Mapping[str, Any]]]:
    """Return refused picks, lineaments refused as a whole, and decisions to refuse that meet none.

    A decision names a reading: what it refuses is a pick on that reading's line, no farther than
    half a line spacing, or its whole lineament; see `_meant`.
    """
    row_of = {name: row for row, name in enumerate(lines.ids)}
    names: set[str] = set()
    whole: set[str] = set()
    idle = []
    for decision in decisions:
        if decision["kind"] != "refuse":
            continue
        row = row_of.get(decision["target"]["readings"][0], -1)
        near = [
            (float(np.hypot(*(lines.places[row] - place.place))), place)
            for place in found
            if row >= 0 and place.passage == lines.passage[row]
        ]
        near = [item for item in near if item[0] <= APART * lines.line_spacing_m]
        meant = _meant(near, decision["value"])
        if meant is None:
            idle.append(decision)
        elif decision["value"]["what"] == "lineament":
            whole.add(str(meant.lineament))
            names |= {place.name for place in found if place.lineament == meant.lineament}
        else:
            names.add(meant.name)
    return names, whole, idle


def _rose(lineaments: Table, refused: set[str]) -> dict[str, Any]:
    """Return the rose of the lineaments with a strike that nobody refused."""
    own = lineaments.frame.filter(
        pl.col("kind") != "spot", ~pl.col("lineament").is_in(sorted(refused))
    )
    return rose_note(own["strike_deg"].to_numpy(), own["length_m"].to_numpy())


def _meant(near: list[tuple[float, Place]], value: Mapping[str, Any]) -> Place | None:
    """Return which of the places near a reading, with their distances [m], a refusal means.

    The one that has the name it was refused by comes first. Where none has it any more, a new
    trace may have given another: then it is the nearest of the same kind. The name of a pick that
    a person added is given once, so that no other is meant by it.
    """
    whole = value["what"] == "lineament"
    name = value.get("name", "")
    kind = [item for item in near if not whole or item[1].lineament]
    named = [
        item for item in kind if name and name == (item[1].lineament if whole else item[1].name)
    ]
    if name and not named:
        kind = [item for item in kind if item[1].lineament and not OWN_NAME.fullmatch(name)]
    return min(named or kind, key=lambda item: item[0])[1] if named or kind else None
