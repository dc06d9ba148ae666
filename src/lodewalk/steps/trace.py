"""Trace: ridges, edges and spots of the grid, their offsets, and the rose of their strikes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.lineaments.culture import near_culture
from lodewalk.methods.lineaments.evidence import SUREST
from lodewalk.methods.lineaments.faults import Offset, find_offsets, groups
from lodewalk.methods.lineaments.kinds import kind_of
from lodewalk.methods.lineaments.markers import LEAST_ALIKE, Marker, follow_marker
from lodewalk.methods.lineaments.rose import rose_of
from lodewalk.methods.lineaments.spots import Spot, find_spots
from lodewalk.methods.lineaments.strike import Strike, strike_of
from lodewalk.methods.lineaments.trace import LEAST_LENGTH, Ridge, trace_ridges
from lodewalk.records import Document, Grid, GridSet, Record
from lodewalk.records.interpreted import Faults, LineamentPoints, Lineaments
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.grid import NAME
from lodewalk.steps.gridded import Used, used_readings
from lodewalk.steps.rows import passage_of_readings, table

Floats = NDArray[np.float64]
#: How near to a fence, and to another compact source at the surface, a ridge is no rock [line
#: spacings].
FENCE_REACH, SOURCE_REACH = 1.0, 0.6
#: A lineament rests on at least this many survey lines.
LEAST_LINES = 2
STEEL = "fences, wires and compact sources that the step culture told"
#: Letter of each kind of lineament.
LETTERS = {"ridge": "R", "edge": "E", "spot": "S"}


@dataclass(frozen=True)
class Traced:
    """Lineaments with what is told of each, in order of certainty."""

    ridges: list[Ridge] = field(default_factory=list)
    kinds: list[str] = field(default_factory=list)
    strikes: list[Strike] = field(default_factory=list)
    markers: list[tuple[int, float]] = field(default_factory=list)
    spots: list[Spot] = field(default_factory=list)
    offsets: list[Offset] = field(default_factory=list)
    left_out: list[dict[str, Any]] = field(default_factory=list)

    @property
    def names(self) -> list[str]:
        """Name of each ridge and edge, then of each spot."""
        count = dict.fromkeys(LETTERS, 0)
        names = []
        for kind in [*self.kinds, *["spot"] * len(self.spots)]:
            count[kind] += 1
            names.append(f"{LETTERS[kind]}{count[kind]}")
        return names


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the lineaments, their corners, the offsets and what they were judged by."""
    del context
    own = settings["trace"]
    used = used_readings(table(inputs, "readings"), passage_of_readings(inputs))
    notes: dict[str, Any] = {
        "least_evidence": own["least_evidence"],
        "least_length_m": own["least_length_m"],
        "line_spacing_m": None,
        "kinds_from": None,
        "rose": None,
        "left_out": [],
        "problem": None,
    }
    try:
        traced = _traced(inputs, used, own, notes)
    except InputError as error:
        notes["problem"] = str(error)
        traced = Traced()
    notes["left_out"] = traced.left_out
    notes["rose"] = rose_note(
        np.array([strike.strike_deg for strike in traced.strikes]),
        np.array([ridge.length_m for ridge in traced.ridges]),
    )
    return {
        "lineaments": _lineaments(traced),
        "lineament_points": _points(traced),
        "faults": _faults(traced),
        "trace_notes": Document(notes),
    }


def _traced(
    inputs: Mapping[str, Record], used: Used, own: Mapping[str, Any], notes: dict[str, Any]
) -> Traced:
    """Return the lineaments of the grid."""
    grid = cast("GridSet", inputs["grids"]).named(NAME)
    if grid is None:
        raise InputError(
            "There is no grid of the anomaly to trace.",
            remedy="The notes of the grid say why; readings on two lines or more make one.",
        )
    between = used.line_spacing_m
    notes["line_spacing_m"] = round(between, 3)
    notes["least_length_m"] = own["least_length_m"] or round(LEAST_LENGTH * between, 3)
    culture = _culture(inputs, grid, between)
    error = cast("GridSet", inputs["grids"]).named(f"{NAME}_standard_error")
    ridges = trace_ridges(
        np.where(culture, np.nan, grid.values),
        **_place(grid),
        line_spacing_m=between,
        sd=None if error is None else error.values,
        least_length_m=own["least_length_m"],
        least_evidence=own["least_evidence"],
    )
    ridges, markers, left_out = _on_lines(inputs, used, ridges)
    if culture.any():
        share = round(float(culture.mean()), 4)
        left_out.append({"what": "ground near steel", "share": share, "why": STEEL})
    kinds = _kinds(inputs, ridges, between, notes)
    spots = _spots(inputs, ridges, culture, between, own["least_evidence"])
    strikes = [strike_of(ridge, line_spacing_m=between) for ridge in ridges]
    offsets = find_offsets(ridges, line_spacing_m=between)
    return Traced(ridges, kinds, strikes, markers, spots, offsets, left_out)


def _place(grid: Grid) -> dict[str, float]:
    """Return where a grid's nodes lie."""
    return {"west_m": grid.west_m, "south_m": grid.south_m, "spacing_m": grid.spacing_m}


def _transform(inputs: Mapping[str, Record], name: str) -> Grid | None:
    """Return a transform of the grid, None where there is none."""
    record = inputs.get("transform_grids")
    return record.named(name) if isinstance(record, GridSet) else None


def _culture(inputs: Mapping[str, Record], grid: Grid, between: float) -> NDArray[np.bool_]:
    """Tell which nodes lie near steel."""
    events = table(inputs, "rover_culture")
    feature = events.frame["feature"].to_numpy()
    near = np.zeros(grid.values.shape, dtype=bool)
    for own, reach in ((feature >= 0, FENCE_REACH), (feature < 0, SOURCE_REACH)):
        near |= near_culture(
            events.floats("easting_m")[own],
            events.floats("northing_m")[own],
            feature[own],
            **_place(grid),
            shape=(grid.values.shape[0], grid.values.shape[1]),
            reach_m=reach * between,
        )
    return near


def _on_lines(
    inputs: Mapping[str, Record], used: Used, ridges: Sequence[Ridge]
) -> tuple[list[Ridge], list[tuple[int, float]], list[dict[str, Any]]]:
    """Return the ridges that rest on several lines, what lines say of them, and the others."""
    lines = table(inputs, "lines")
    ties, names = lines.frame["tie"].to_numpy(), lines.strings("line")
    passage = np.where((used.passage >= 0) & ~ties[used.passage], used.passage, -1)
    kept, markers, left_out = [], [], []
    for ridge in ridges:
        found: Marker = follow_marker(
            ridge, used.easting_m, used.northing_m, used.anomaly_nT, passage,
            line_spacing_m=used.line_spacing_m,
        )  # fmt: skip
        number = len({names[own] for own in found.passage})
        why = _doubt(number, found.alike)
        if why is None:
            kept.append(ridge)
            markers.append((number, found.alike))
        else:
            left_out.append(_left_out(ridge, why))
    return kept, markers, left_out


def _doubt(lines: int, alike: float) -> str | None:
    """Return why a ridge is no lineament, None where it is one."""
    if lines < LEAST_LINES:
        return f"crossed by {lines} survey line(s): it may be the level of a line"
    if alike < LEAST_ALIKE:
        return f"its anomaly changes from line to line (correlation {alike:.2f}): no one body"
    return None


def _left_out(ridge: Ridge, why: str) -> dict[str, Any]:
    """Return where a ridge was left out, and why."""
    return {
        "what": "ridge",
        "easting_m": round(float(ridge.easting_m.mean()), 1),
        "northing_m": round(float(ridge.northing_m.mean()), 1),
        "length_m": round(ridge.length_m, 1),
        "why": why,
    }


def _kinds(
    inputs: Mapping[str, Record], ridges: Sequence[Ridge], between: float, notes: dict[str, Any]
) -> list[str]:
    """Return the kind of each ridge, by the field reduced to the pole where there is one."""
    reduced = _transform(inputs, "reduced_to_pole")
    if reduced is None:
        return ["ridge"] * len(ridges)
    notes["kinds_from"] = reduced.name
    return [
        kind_of(ridge, reduced.values, **_place(reduced), line_spacing_m=between)
        for ridge in ridges
    ]


def _spots(
    inputs: Mapping[str, Record],
    ridges: Sequence[Ridge],
    culture: NDArray[np.bool_],
    between: float,
    least_evidence: float,
) -> list[Spot]:
    """Return the compact sources away from all ridges and from steel."""
    gradient = _transform(inputs, "total_gradient")
    if gradient is None:
        return []
    ways = [np.column_stack([ridge.easting_m, ridge.northing_m]) for ridge in ridges]
    values = gradient.values
    if values.shape == culture.shape:
        values = np.where(culture, np.nan, values)
    return find_spots(
        values,
        **_place(gradient),
        line_spacing_m=between,
        away_from=np.concatenate(ways) if ways else None,
        least_evidence=least_evidence,
    )


def rose_note(strike_deg: Floats, length_m: Floats) -> dict[str, Any]:
    """Return the rose of lineaments for print."""
    rose = rose_of(strike_deg, length_m)
    known = bool(np.isfinite(rose.mean_deg))
    return {
        "edges_deg": rose.edges_deg.tolist(),
        "length_m": np.round(rose.length_m, 3).tolist(),
        "mean_deg": round(rose.mean_deg, 3) if known else None,
        "sd_deg": round(rose.sd_deg, 3) if known else None,
        "resultant": round(rose.resultant, 4),
        "number": rose.number,
    }


def _lineaments(traced: Traced) -> Lineaments:
    """Return the table of lineaments."""
    names, count = traced.names, len(traced.ridges)
    spots = len(traced.spots)
    own = groups(count, traced.offsets)
    group = [None if first is None else names[first] for first in own]
    ridges, nothing = traced.ridges, np.full(spots, np.nan)
    middle = [len(ridge.easting_m) // 2 for ridge in ridges]
    return Lineaments(
        pl.DataFrame(
            {
                "lineament": pl.Series(names, dtype=pl.String),
                "kind": pl.Series([*traced.kinds, *["spot"] * spots], dtype=pl.String),
                "group": pl.Series([*group, *[None] * spots], dtype=pl.String),
                "easting_m": _column(
                    [float(r.easting_m[k]) for r, k in zip(ridges, middle, strict=True)],
                    [spot.easting_m for spot in traced.spots],
                ),
                "northing_m": _column(
                    [float(r.northing_m[k]) for r, k in zip(ridges, middle, strict=True)],
                    [spot.northing_m for spot in traced.spots],
                ),
                "strike_deg": _column([s.strike_deg for s in traced.strikes], nothing),
                "strike_sd_deg": _column([s.sd_deg for s in traced.strikes], nothing),
                "length_m": _column([r.length_m for r in ridges], np.zeros(spots)),
                "evidence": _column(
                    [min(r.evidence, SUREST) for r in ridges],
                    [min(spot.evidence, SUREST) for spot in traced.spots],
                ),
                "strength": _column(
                    [float(np.median(r.strength)) for r in ridges],
                    [spot.strength for spot in traced.spots],
                ),
                "lines": pl.Series(
                    [*[lines for lines, _ in traced.markers], *[None] * spots], dtype=pl.Int64
                ),
                "alike": _column([alike for _, alike in traced.markers], nothing),
            }
        )
    )


def _column(ridges: Sequence[float], spots: Sequence[float] | Floats) -> pl.Series:
    """Return a column of numbers, ridges first."""
    return float_column(np.concatenate([np.asarray(ridges, float), np.asarray(spots, float)]))


def _points(traced: Traced) -> LineamentPoints:
    """Return the corners of all lineaments."""
    ways = [
        *[(r.easting_m, r.northing_m, r.strength) for r in traced.ridges],
        *[tuple(np.array([v]) for v in (s.easting_m, s.northing_m, s.strength))
          for s in traced.spots],
    ]  # fmt: skip
    names = [name for name, way in zip(traced.names, ways, strict=True) for _ in range(len(way[0]))]
    numbers = [number + 1 for way in ways for number in range(len(way[0]))]
    columns = [np.concatenate([np.zeros(0), *[way[k] for way in ways]]) for k in range(3)]
    return LineamentPoints(
        pl.DataFrame(
            {
                "lineament": pl.Series(names, dtype=pl.String),
                "number": pl.Series(numbers, dtype=pl.Int64),
                "easting_m": float_column(columns[0]),
                "northing_m": float_column(columns[1]),
                "strength": float_column(columns[2]),
            }
        )
    )


def _faults(traced: Traced) -> Faults:
    """Return the table of offsets."""
    names, offsets = traced.names, traced.offsets
    columns = {
        name: float_column(np.array([getattr(offset, name) for offset in offsets], dtype=float))
        for name in ("easting_m", "northing_m", "offset_m", "sd_m", "gap_m")
    }
    pieces = {
        end: pl.Series([names[getattr(offset, end)] for offset in offsets], dtype=pl.String)
        for end in ("first", "second")
    }
    return Faults(pl.DataFrame({**pieces, **columns}))
