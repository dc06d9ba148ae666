"""What to walk again: lines and spans, in the order of the shortest walk."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_geographic
from lodewalk.adapters.walking_route import shortest_walk
from lodewalk.records import Record
from lodewalk.records.recorded import Route
from lodewalk.steps.rows import table
from lodewalk.steps.verdicts import DOUBT, Passage, ReadingMarks, same, to_walk_again

Floats = NDArray[np.float64]
#: Losses closer together than this are walked in one go [m].
JOIN_M = 40.0
#: A span is walked this much beyond both its ends, so that it joins the good readings [m].
LEAD_M = 10.0
#: Pace where the survey itself doesn't tell one [m/s].
PACE_M_S = 1.0


@dataclass(frozen=True)
class Span:
    """A line, or a part of it, to walk again."""

    line: str
    why: str
    whole: bool
    first: tuple[float, float]
    last: tuple[float, float]

    @property
    def length_m(self) -> float:
        """Length from end to end [m]."""
        return float(np.hypot(self.last[0] - self.first[0], self.last[1] - self.first[1]))


def rewalk(
    inputs: Mapping[str, Record],
    walked: list[Passage],
    verdicts: list[dict[str, Any]],
    marks: ReadingMarks,
    holes: list[dict[str, Any]],
    *,
    crs: str,
    least_m: float,
) -> tuple[dict[str, Any], Route]:
    """Return the list of what to walk again with its length and time, and its route."""
    spans = spans_to_walk(inputs, walked, verdicts, marks, least_m=least_m)
    spans += _holes_to_walk(holes, spans, verdicts)
    if not spans:
        return {"length_m": 0.0, "between_m": 0.0, "minutes": 0, "gpx": None, "spans": []}, (
            Route.empty()
        )
    first, last = (np.array([getattr(span, end) for span in spans]) for end in ("first", "last"))
    route = shortest_walk(first, last)
    ordered = [
        _turned(spans[number]) if back else spans[number]
        for number, back in zip(route.order, route.reversed, strict=True)
    ]
    pace = _pace(walked)
    values = {
        "length_m": round(route.lines_m, 1),
        "between_m": round(route.between_m, 1),
        "minutes": int(np.ceil((route.lines_m + route.between_m) / pace / 60)),
        "gpx": "products/rewalk.gpx",
        "spans": [
            {
                "line": span.line,
                "whole": span.whole,
                "length_m": round(span.length_m, 1),
                "why": span.why,
                **{
                    f"{end}_{axis}_m": round(float(place[number]), 2)
                    for end, place in (("first", span.first), ("last", span.last))
                    for number, axis in enumerate(("easting", "northing"))
                },
            }
            for span in ordered
        ],
    }
    return values, _route(ordered, crs)


def spans_to_walk(
    inputs: Mapping[str, Record],
    walked: list[Passage],
    verdicts: list[dict[str, Any]],
    marks: ReadingMarks,
    *,
    least_m: float,
) -> list[Span]:
    """Return whole lines to walk again, and the lost parts of those in doubt."""
    positions = table(inputs, "rover_positions")
    east, north = positions.floats("easting_m"), positions.floats("northing_m")
    seconds = table(inputs, "rover_times").seconds("time_utc")
    again = to_walk_again(walked, verdicts)
    lost = marks.lost
    spans: list[Span] = []
    for passage, verdict in zip(walked, verdicts, strict=True):
        rows = passage.rows[np.argsort(seconds[passage.rows], kind="stable")]
        placed = np.isfinite(east[rows])
        if placed.sum() < 2:
            continue
        place = np.column_stack([east[rows], north[rows]])
        why = "; ".join(verdict["reasons"])
        if any(passage is other for other in again):
            ends = place[placed][0], place[placed][-1]
            spans.append(_span(passage, why, *ends, whole=True))
        elif verdict["verdict"] == DOUBT:
            others = [p for p in walked if p is not passage and same(passage, p)]
            if not any(not lost[p.rows].any() for p in others):
                parts = _lost_parts(place, placed, lost[rows], least_m)
                spans += [_span(passage, why, *ends, whole=False) for ends in parts]
    return spans


def _holes_to_walk(
    holes: list[dict[str, Any]], spans: list[Span], verdicts: list[dict[str, Any]]
) -> list[Span]:
    """Return the holes of lines in doubt that aren't in a span to walk already."""
    doubted = {v["line"]: "; ".join(v["reasons"]) for v in verdicts if v["verdict"] == DOUBT}
    found = []
    for hole in holes:
        ends = [(hole[f"{end}_easting_m"], hole[f"{end}_northing_m"]) for end in ("first", "last")]
        if hole["line"] in doubted and not any(_within(ends, span) for span in spans):
            found.append(Span(hole["line"], doubted[hole["line"]], False, ends[0], ends[1]))
    return found


def _within(ends: list[tuple[float, float]], span: Span) -> bool:
    """Tell whether the middle of a hole lies beside a span of its line."""
    middle = np.mean(ends, axis=0)
    reach = [float(np.hypot(*(middle - end))) for end in (span.first, span.last)]
    return sum(reach) <= span.length_m + JOIN_M


def _span(passage: Passage, why: str, first: Floats, last: Floats, *, whole: bool) -> Span:
    """Return one span of a passage."""
    ends = (float(first[0]), float(first[1])), (float(last[0]), float(last[1]))
    return Span(str(passage.row["line"]), why, whole, *ends)


def _lost_parts(
    place: Floats, placed: NDArray[np.bool_], lost: NDArray[np.bool_], least_m: float
) -> list[tuple[Floats, Floats]]:
    """Return both ends of each stretch that isn't served, with a lead at either side."""
    known = np.flatnonzero(placed)
    along = _along(place, known)
    bad = np.flatnonzero(lost)
    if not bad.size:
        return []
    cuts = np.flatnonzero(np.diff(along[bad]) > JOIN_M) + 1
    parts = []
    for group in np.split(bad, cuts):
        # The good readings beside the losses bound the hole.
        before, after = max(group[0] - 1, 0), min(group[-1] + 1, len(along) - 1)
        low, high = along[before] - LEAD_M, along[after] + LEAD_M
        if along[after] - along[before] >= least_m:
            ends = [_at(place[known], along[known], distance) for distance in (low, high)]
            parts.append((ends[0], ends[1]))
    return parts


def _along(place: Floats, known: NDArray[np.int64]) -> Floats:
    """Return the distance walked at each reading; in between where it has no position."""
    steps = np.hypot(*np.diff(place[known], axis=0).T)
    distance = np.concatenate(([0.0], np.cumsum(steps)))
    return np.interp(np.arange(len(place)), known, distance)


def _at(place: Floats, along: Floats, distance: float) -> Floats:
    """Return the place at a distance along a walk, within its ends."""
    return np.array([np.interp(distance, along, place[:, axis]) for axis in (0, 1)])


def _turned(span: Span) -> Span:
    """Return a span walked the other way."""
    return Span(span.line, span.why, span.whole, span.last, span.first)


def _pace(walked: list[Passage]) -> float:
    """Return the usual pace of the survey [m/s]."""
    paces = [
        passage.row["length_m"] / lasted
        for passage in walked
        if passage.row["length_m"]
        and (lasted := (passage.row["end_utc"] - passage.row["start_utc"]).total_seconds()) > 0
    ]
    return float(np.median(paces)) if paces else PACE_M_S


def _route(spans: list[Span], crs: str) -> Route:
    """Return the spans as routes for a handheld, numbered in order of walking."""
    places = np.array([end for span in spans for end in (span.first, span.last)])
    longitude, latitude = to_geographic(places[:, 0], places[:, 1], crs=crs)
    names = [f"{number:02d} {span.line}" for number, span in enumerate(spans, 1)]
    return Route(
        pl.DataFrame(
            {
                "line_in_file": np.arange(1, len(places) + 1),
                "line": [name for name in names for _ in range(2)],
                "latitude_deg": latitude,
                "longitude_deg": longitude,
            }
        )
    )
