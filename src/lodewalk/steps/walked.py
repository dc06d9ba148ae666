"""Walked: coverage of the lines, distance off them, speed, and a constant shift off the plan."""

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.shift_candidates import shift_candidates
from lodewalk.methods.checks.walked.coverage import Coverage, line_coverage, passage_coverage
from lodewalk.methods.checks.walked.off_track import off_track, place_on_lines, walking_speed
from lodewalk.methods.checks.walked.shift import (
    SMALLEST_SHIFT_M,
    ConstantShift,
    ShiftCandidate,
    constant_shift,
    shift_from_plan,
)
from lodewalk.methods.corrections.track import position_at
from lodewalk.records import Document, Record
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList
from lodewalk.steps.planned import Plan, planned
from lodewalk.steps.rows import document, in_time_order, passage_of_readings, table
from lodewalk.steps.tracks import tracks_of
from lodewalk.steps.walked_places import Places, places_of, tell_beside, tell_names, tell_off_plan

Floats = NDArray[np.float64]
Rows = list[dict[str, Any]]
Numbers = NDArray[np.int64]
#: Nobody walks a line faster than this with a magnetometer (common practice) [m/s].
FAST_M_S = 2.5
#: Most readings that are compared with plan or track.
MOST = 600
#: Share of readings on planned lines from which a walk plainly lies on its plan.
ON_PLAN_SHARE = 0.7
#: Readings, of those compared, that a line must have to count for its direction, and the sine of
#: the angle (30 degrees) from which another line lies across it.
ACROSS_READINGS, ACROSS_SINE = 5, 0.5
UNTOLD = ("none", "not identifiable")


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return how each line was covered, and what is odd about where it was walked."""
    del context
    found = FindingList("walked")
    plan = planned(table(inputs, "plan_recorded"), settings["survey.crs"])
    if plan.lines:
        places = places_of(inputs, plan, settings["lines"])
        rows, holes = _by_plan(inputs, settings, plan, places)
    else:
        rows, holes = _by_passage(inputs, settings)
    _tell_coverage(found, rows, settings["tolerances"]["covered_share"], planned=bool(plan.lines))
    if plan.lines:
        tell_names(found, places)
        tell_off_plan(found, inputs, places, settings)
        tell_beside(found, inputs, places, plan, settings["lines"])
    _tell_speed(found, inputs)
    _tell_shifts(found, inputs, settings, plan.lines)
    record = Document({"lines": rows, "not_walked": holes})
    return {"walked": record, "walked_findings": found.table()}


def _places(inputs: Mapping[str, Record]) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return position of each rover reading, and whether it serves."""
    positions = table(inputs, "rover_positions")
    kept = table(inputs, "rover_checks").booleans("kept")
    kept = kept & np.isfinite(table(inputs, "rover_diurnal").floats("diurnal_nT"))
    return positions.floats("easting_m"), positions.floats("northing_m"), kept


def _by_plan(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], plan: Plan, places: Places
) -> tuple[Rows, Rows]:
    """Return the coverage of each planned line that was begun, and what of it wasn't walked."""
    east, north, kept = _places(inputs)
    own, vertices = places.own, list(plan.lines.values())
    again, hosts = _on_repeats(inputs, plan)
    every = np.concatenate([np.arange(own.size), again])
    covered = partial(
        line_coverage,
        vertices,
        east[every],
        north[every],
        line=np.concatenate([own, hosts]),
        off_line_m=settings["lines"]["off_line_m"],
        max_gap_m=settings["tolerances"]["gap_m"],
    )
    coverage, walked = covered(kept=kept[every]), covered(kept=np.isfinite(east[every]))
    off = off_track(place_on_lines(east, north, own, vertices).off_line_m, own, count=len(vertices))
    begun = set(np.unique(own[own >= 0]).tolist())
    rows = [
        _row(name, coverage, number, float(off.high_m[number]))
        for number, name in enumerate(plan.lines)
        if number in begun
    ]
    length = {  # of all pieces that one name stands for
        number: sum(float(walked.length_m[n]) for n, other in places.label.items() if other == name)
        for number, name in places.label.items()
    }
    return rows, _holes(walked, places.label, length)


def _on_repeats(inputs: Mapping[str, Record], plan: Plan) -> tuple[Numbers, Numbers]:
    """Return the readings of repeat lines, and the planned line that each goes over as well."""
    place = {name: number for number, name in enumerate(plan.lines)}
    host = {name: place[on] for name, (on, _) in plan.repeats.items()}
    names = table(inputs, "rover_lines").strings("line")
    number: Numbers = np.array([host.get(name or "", -1) for name in names], dtype=np.int64)
    rows = np.flatnonzero(number >= 0)
    return rows, number[rows]


def _by_passage(inputs: Mapping[str, Record], settings: Mapping[str, Any]) -> tuple[Rows, Rows]:
    """Return the coverage of each passage of a line, where there is no plan, and its holes."""
    east, north, kept = _places(inputs)
    covered = partial(
        passage_coverage,
        east,
        north,
        passage=passage_of_readings(inputs),
        max_gap_m=settings["tolerances"]["gap_m"],
    )
    coverage, walked = covered(kept=kept), covered(kept=np.isfinite(east))
    names = [str(name) for name in table(inputs, "lines").strings("line")]
    rows = [_row(names[n], coverage, n, np.nan) for n in range(coverage.length_m.size)]
    return rows, _holes(walked, dict(enumerate(names)), dict(enumerate(walked.length_m.tolist())))


def _holes(walked: Coverage, names: Mapping[int, str], whole: Mapping[int, float]) -> Rows:
    """Return the spans of lines that nobody walked, with their share of the whole line [m]."""
    spans = walked.uncovered
    return [
        {
            "line": names[number],
            "share": round(float(spans.length_m[at] / whole[number]), 4),
            **{
                f"{end}_{axis}_m": round(float(getattr(spans, f"{side}_{axis}_m")[at]), 2)
                for end, side in (("first", "start"), ("last", "end"))
                for axis in ("easting", "northing")
            },
        }
        for at, number in enumerate(spans.line.tolist())
        if number in names
    ]


def _row(name: str, coverage: Coverage, number: int, off_m: float) -> dict[str, Any]:
    """Return one line for print."""
    share = float(coverage.share[number])
    own = coverage.uncovered.line == number
    longest = float(coverage.uncovered.length_m[own].max(initial=0.0))
    return {
        "line": name,
        "length_m": round(float(coverage.length_m[number]), 1),
        "covered_share": round(share, 4) if np.isfinite(share) else 0.0,
        "longest_gap_m": round(longest, 1),
        "off_line_m": round(off_m, 2) if np.isfinite(off_m) else None,
    }


def _tell_coverage(
    found: FindingList, rows: list[dict[str, Any]], least: float, *, planned: bool
) -> None:
    """Tell how much of the lines is covered."""
    length = sum(row["length_m"] for row in rows)
    if not length:
        return
    covered = sum(row["length_m"] * row["covered_share"] for row in rows)
    short = [row["line"] for row in rows if row["covered_share"] < least]
    what = "planned lines begun so far" if planned else "lines walked"
    more = f"; under {least:.0%}: {', '.join(short)}" if short else ""
    found.add(
        "coverage",
        f"{covered / length:.1%} of the {length / 1000:.2f} km of {what} is covered{more}. "
        "What lies between lines is not covered.",
    )


def _tell_speed(found: FindingList, inputs: Mapping[str, Record]) -> None:
    """Tell passages that were walked too fast to be walked."""
    east, north, _ = _places(inputs)
    lines = table(inputs, "lines")
    speed = walking_speed(
        table(inputs, "rover_times").seconds("time_utc"),
        east,
        north,
        passage_of_readings(inputs),
        count=len(lines),
    )
    for row, fastest in zip(lines.frame.iter_rows(named=True), speed.fastest_m_s, strict=True):
        if fastest > FAST_M_S:
            found.add(
                "speed",
                f"{row['instrument']}: up to {fastest:.1f} m/s on line {row['line']}, faster than "
                "a walk: positions or times are off, or it was driven.",
                severity="doubt",
                instrument=row["instrument"],
                start_s=row["start_utc"].timestamp(),
                end_s=row["end_utc"].timestamp(),
            )


def _tell_shifts(
    found: FindingList,
    inputs: Mapping[str, Record],
    settings: Mapping[str, Any],
    plan: Mapping[str, Floats],
) -> None:
    """Test rovers against the plan and their handhelds for a constant shift; propose only."""
    east, north, _ = _places(inputs)
    seconds = table(inputs, "rover_times").seconds("time_utc")
    crs = settings["survey.crs"]
    source = np.array(table(inputs, "rover_positions").strings("source"), dtype=object)
    lines = np.array(table(inputs, "rover_lines").strings("line"), dtype=object)
    tracks = tracks_of(
        table(inputs, "track_recorded"),
        table(inputs, "track_times").seconds("time_utc"),
        document(inputs, "track_files"),
        crs=crs,
        max_speed_m_s=settings["position"]["max_speed_m_s"],
    )
    for name, every in in_time_order(document(inputs, "rover_files"), seconds):
        rows = every[np.isfinite(east[every])]
        rows = rows[:: max(1, rows.size // MOST)]
        if rows.size < 20:
            continue
        walk = east[rows], north[rows]
        if plan and not _on_plan(walk, lines[rows], plan):
            _tell_shift(found, name, _against_plan(crs, walk, plan), "the planned lines")
        if name in tracks and (source[rows] == "recorded").all():
            there = position_at(seconds[rows], **tracks[name], max_gap_s=30.0)
            shift = _against_track(crs, walk, (there.easting_m, there.northing_m))
            _tell_shift(found, name, shift, "the handheld's track")


def _on_plan(
    walk: tuple[Floats, Floats], lines: NDArray[np.object_], plan: Mapping[str, Floats]
) -> bool:
    """Tell whether a walk plainly lies on its planned lines, so that no shift needs a search.

    Lines of one direction don't tell of a shift along them, so lines across them have to agree.
    """
    place = {name: number for number, name in enumerate(plan)}
    own: Numbers = np.array([place.get(name or "", -1) for name in lines], dtype=np.int64)
    if np.mean(own >= 0) < ON_PLAN_SHARE:
        return False
    off = place_on_lines(*walk, own, list(plan.values())).off_line_m
    ways = []
    for number in np.unique(own[own >= 0]):
        if not abs(np.median(off[own == number])) < SMALLEST_SHIFT_M:  # NaN where out of reach
            return False
        if np.sum(own == number) >= ACROSS_READINGS:
            line = list(plan.values())[number]
            ways.append(np.arctan2(*(line[-1] - line[0])))
    return bool(ways and np.abs(np.sin(np.subtract.outer(ways, ways))).max() > ACROSS_SINE)


def _against_plan(
    crs: str, walk: tuple[Floats, Floats], plan: Mapping[str, Floats]
) -> ConstantShift:
    """Test a walk against the plan; the list of mistakes is made only where there is a shift."""
    vertices = list(plan.values())
    plain = shift_from_plan(*walk, vertices)
    if plain.name in UNTOLD:
        return plain
    return shift_from_plan(
        *walk,
        vertices,
        walk_wrong=_mistakes(crs, np.vstack(vertices)),
        plan_wrong=_mistakes(crs, np.column_stack(walk)),
    )


def _against_track(
    crs: str, walk: tuple[Floats, Floats], track: tuple[Floats, Floats]
) -> ConstantShift:
    """Test a rover's own fixes against its handheld's track."""
    plain = constant_shift(*walk, *track)
    if plain.name in UNTOLD:
        return plain
    return constant_shift(
        *walk,
        *track,
        first_wrong=_mistakes(crs, np.column_stack(track)),
        second_wrong=_mistakes(crs, np.column_stack(walk)),
    )


def _mistakes(crs: str, places: Floats) -> tuple[ShiftCandidate, ...]:
    """Return the mistakes that may have been made at some right places."""
    known = places[np.isfinite(places).all(axis=1)]
    if not known.size:
        return ()
    middle = np.median(known, axis=0)
    return shift_candidates(crs, easting_m=float(middle[0]), northing_m=float(middle[1]))


def _tell_shift(found: FindingList, name: str, shift: ConstantShift, against: str) -> None:
    """Tell a constant shift with the mistake that would explain it."""
    if shift.name in UNTOLD:
        return
    away = float(np.hypot(shift.easting_m, shift.northing_m))
    sd = float(np.hypot(shift.sd_easting_m, shift.sd_northing_m))
    named = ", or ".join(item.name for item in shift.likely)
    cause = (
        "as no usual mistake would"
        if shift.name == "unnamed"
        else f"as by: {named} (probability {shift.named_probability:.0%})"
    )
    found.add(
        "position shift",
        f"{name}: lies {away:.0f} m (sd {sd:.0f} m) off {against}, {shift.easting_m:+.0f} m east "
        f"and {shift.northing_m:+.0f} m north, {cause}. Nothing was moved; put the reference "
        "system of the file right, if so.",
        severity="doubt",
        instrument=name,
    )
