"""`lodewalk trace`, `lodewalk fit` and `lodewalk depth`: from the map to the rocks."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lodewalk.cli.output import AsJson, Survey, columns, emit, progress
from lodewalk.services.opening import open_survey

if TYPE_CHECKING:
    from lodewalk.services.rocks.along import AlongResult
    from lodewalk.services.rocks.between import BetweenResult
    from lodewalk.services.rocks.compact import CompactResult
    from lodewalk.services.rocks.depth import DepthResult, PickDepth
    from lodewalk.services.rocks.fit import Body, FitResult
    from lodewalk.services.rocks.trace import TraceResult

CAUTION = "Depths are below ground, intervals 90 %. No drilling decision without licensed practice."
BRACKETS = "In brackets: depths by methods whose own conditions don't hold there."
#: Ways to name a place for a fit of its own, and their options.
LINE, MAP, PLACE = "a piece of a line", "two points of the map", "a place"
WAYS = {
    LINE: ("--line", "--from", "--to"),
    MAP: ("--from-point", "--to-point"),
    PLACE: ("--east", "--north", "--reach"),
}
#: What the words and signs of each table mean.
TRACE_LEGEND = (
    "evidence: probability that it is more than noise; lines: survey lines that cross it.",
    "strike: from grid north, ± half its 90 % interval; a spot has none. Offsets: ± 90 %.",
)
FIT_LEGEND = (
    'prob.: of the kind among those tried, "?" where it is not decided; "under": upper end of the '
    "90 % interval alone; misfit: rms of what is left in errors of the readings, 1 is all noise.",
    "index angle: in degrees, mixes dip and direction of magnetisation; dip: in degrees to the "
    "right of the strike, facing along it as written (0 to 360 from grid north).",
    "under remanence: dips that remanence up to fits.koenigsberger allows; no dip is told where "
    "fits.magnetisation is unknown or all dips are allowed.",
)
DEPTH_LEGEND = (
    f"top: height above the ellipsoid, with the error of the receivers' heights besides, metres by "
    f"handheld; index: structural index. {BRACKETS}",
    "apart: how far the methods that hold lie apart, in standard deviations of the answer; over 2 "
    "they disagree by more than its interval tells: look at the section. A dash: one holds.",
    "The calibrated depth is told from the readings alone; facts from elsewhere stand in the fit.",
)
#: Numbers in a sentence: two reasons that differ in these alone tell the same.
_FIGURES = re.compile(r"[\d.]+")


def trace(directory: Survey, as_json: AsJson = False) -> None:
    """Trace ridges, edges and spots of the map, and the faults that offset them."""
    from lodewalk.services.rocks.trace import trace as trace_service

    with progress() as reporter:
        result = trace_service(open_survey(directory), reporter=reporter)
    emit(result, as_json=as_json, lines=_traced(result))


def _traced(result: "TraceResult") -> Iterator[str]:
    """Yield the lineaments, the surest first."""
    from lodewalk.services.rocks.rows import evidence

    if not result.lineaments:
        yield f"Nothing was traced{f': {result.problem}' if result.problem else '.'}"
        return
    rows = [["name", "kind", "strike [deg]", "length [m]", "evidence", "lines", "east", "north"]]
    for row in result.lineaments:
        sd = f" ± {1.645 * row.strike_sd_deg:.1f}" if row.strike_sd_deg is not None else ""
        strike = "-" if row.strike_deg is None else f"{row.strike_deg:.{1 if sd else 0}f}{sd}"
        place = f"{row.easting_m:.0f}", f"{row.northing_m:.0f}"
        counts = f"{row.length_m:.0f}", evidence(row.evidence), f"{row.lines or '-'}"
        kind = f"{row.kind}, refused" if row.refused else row.kind
        rows.append([row.lineament, kind, strike, *counts, *place])
    yield from columns(rows)
    yield from TRACE_LEGEND
    for fault in result.faults:
        side = "right" if fault.offset_m > 0 else "left"
        yield (
            f"{fault.first} and {fault.second} are offset by {abs(fault.offset_m):.0f} "
            f"± {1.645 * fault.sd_m:.0f} m to the {side} at {fault.easting_m:.0f} E "
            f"{fault.northing_m:.0f} N."
        )


def fit(
    directory: Survey,
    line: Annotated[
        str | None, typer.Option(help="Fit to a piece of this line only, and keep nothing.")
    ] = None,
    from_m: Annotated[
        float | None, typer.Option("--from", help="Where the piece begins along the line [m].")
    ] = None,
    to_m: Annotated[float | None, typer.Option("--to", help="Where it ends [m].")] = None,
    kind: Annotated[
        str | None,
        typer.Option(help="thin sheet, dyke, contact, step or cylinder; left out, by evidence."),
    ] = None,
    strike: Annotated[
        float | None,
        typer.Option(help="Azimuth of the strike [degrees]; across the line when left out."),
    ] = None,
    figure: Annotated[
        Path | None,
        typer.Option(metavar="FILE.png", help="Draw the section of a line or of two points."),
    ] = None,
    from_point: Annotated[
        str | None,
        typer.Option(metavar="E,N", help="Fit to the grid between two points, and keep nothing."),
    ] = None,
    to_point: Annotated[
        str | None, typer.Option(metavar="E,N", help="The other point: easting, northing [m].")
    ] = None,
    east: Annotated[
        float | None, typer.Option(help="Fit a compact body at this easting, and keep nothing.")
    ] = None,
    north: Annotated[float | None, typer.Option(help="Its northing [m].")] = None,
    reach: Annotated[
        float | None,
        typer.Option(help="Half the side of its square [m]; three depths are about right."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Fit a body at each pick, or one to a piece of a line, of the map, or around a place."""
    _check_ways({
        "--line": line, "--from": from_m, "--to": to_m, "--from-point": from_point,
        "--to-point": to_point, "--east": east, "--north": north, "--reach": reach,
        "--kind": kind, "--strike": strike, "--figure": figure,
    })  # fmt: skip
    if from_point is not None and to_point is not None:
        ends = _point(from_point), _point(to_point)
        _across_grid(directory, ends, kind, strike, figure, as_json=as_json)
        return
    if east is not None and north is not None and reach is not None:
        _spot(directory, (east, north, reach), as_json=as_json)
        return
    if line is not None and from_m is not None and to_m is not None:
        _piece(directory, line, (from_m, to_m), kind, strike, figure, as_json=as_json)
        return
    from lodewalk.services.rocks.fit import fit as fit_service

    with progress() as reporter:
        result = fit_service(open_survey(directory), reporter=reporter)
    emit(result, as_json=as_json, lines=_fitted(result))


def _check_ways(options: Mapping[str, object]) -> None:
    """Raise for options of two ways to name a place, or half of one."""
    given = [name for name, value in options.items() if value is not None]
    asked = [way for way, names in WAYS.items() if set(given) & set(names)]
    if len(asked) > 1:
        raise typer.BadParameter(
            f"Choose {' or '.join(asked)}: {', '.join(given)} don't go together."
        )
    if not asked:
        if given:
            raise typer.BadParameter(
                f"{given[0]} goes with {LINE} (--line, --from and --to together) or {MAP}."
            )
        return
    names = WAYS[asked[0]]
    lacking = " and ".join(name for name in names if name not in given)
    if lacking:
        told = f"{', '.join(names[:-1])} and {names[-1]}"
        raise typer.BadParameter(
            f"{asked[0].capitalize()} needs {told} together; {lacking} is lacking."
        )
    if asked[0] == PLACE and set(given) - set(names):
        left = ", ".join(name for name in given if name not in names)
        raise typer.BadParameter(f"{left} is for long bodies and doesn't go with {PLACE}.")


def _piece(
    directory: Path,
    line: str,
    ends: tuple[float, float],
    kind: str | None,
    strike: float | None,
    figure: Path | None,
    *,
    as_json: bool,
) -> None:
    """Fit a body to a piece of a line and tell it."""
    from lodewalk.services.rocks.along import fit_along

    with progress() as reporter:
        found = fit_along(
            open_survey(directory),
            line=line,
            from_m=ends[0],
            to_m=ends[1],
            kind=kind,
            strike_deg=strike,
            figure=figure,
            reporter=reporter,
        )
    emit(found, as_json=as_json, lines=_along(found))


def _point(text: str) -> tuple[float, float]:
    """Return easting and northing of a point as given."""
    parts = text.split(",")
    try:
        east, north = (float(part) for part in parts)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is no point: give easting and northing in metres with a comma between, such "
            "as 712300,7245120."
        ) from None
    return east, north


def _across_grid(
    directory: Path,
    ends: tuple[tuple[float, float], tuple[float, float]],
    kind: str | None,
    strike: float | None,
    figure: Path | None,
    *,
    as_json: bool,
) -> None:
    """Fit a body to the grid between two points and tell it."""
    from lodewalk.services.rocks.between import fit_between

    with progress() as reporter:
        found = fit_between(
            open_survey(directory),
            start=ends[0],
            end=ends[1],
            kind=kind,
            strike_deg=strike,
            figure=figure,
            reporter=reporter,
        )
    emit(found, as_json=as_json, lines=_between(found))


def _between(found: "BetweenResult") -> Iterator[str]:
    """Yield what was fitted to the grid between two points."""
    yield (
        f"{found.from_easting_m:.1f} E {found.from_northing_m:.1f} N to {found.to_easting_m:.1f} E "
        f"{found.to_northing_m:.1f} N: {found.nodes} places of the grid, {found.spacing_m:.1f} m "
        f"apart, across a strike of {found.strike_deg:.0f} degrees."
    )
    yield f"{found.rests_on} It is {found.grid_sd_nT:.2g} nT here, one standard deviation."
    yield from _one_body(found)


def _spot(directory: Path, where: tuple[float, float, float], *, as_json: bool) -> None:
    """Fit a compact body at a place and tell it."""
    from lodewalk.services.rocks.compact import fit_spot

    with progress() as reporter:
        found = fit_spot(
            open_survey(directory),
            easting_m=where[0],
            northing_m=where[1],
            reach_m=where[2],
            reporter=reporter,
        )
    emit(found, as_json=as_json, lines=_compact(found))


def _compact(found: "CompactResult") -> Iterator[str]:
    """Yield what was told of a compact body."""
    parts = [
        (name, f"{told.value:.{digits}f} ({told.low:.{digits}f} to {told.high:.{digits}f}) {unit}")
        for name, told, digits, unit in (
            ("easting", found.easting_m, 1, "m"),
            ("northing", found.northing_m, 1, "m"),
            ("depth", found.depth_m, 1, "m, of its centre below ground"),
            ("moment", found.moment_A_m2, 0, "A m²"),
        )
    ]
    direction = found.direction_problem
    if found.inclination_deg is not None and found.declination_deg is not None:
        direction = (
            f"inclination {found.inclination_deg:.0f}, declination {found.declination_deg:.0f} "
            f"degrees from true north, in a cone of ± {found.cone_deg:.0f} degrees; "
            f"{found.off_field_deg:.0f} degrees off the field"
        )
    yield from columns([*map(list, parts), ["direction", direction]])
    yield CAUTION


def _fitted(result: "FitResult") -> Iterator[str]:
    """Yield the bodies, and the picks without one."""
    from lodewalk.services.rocks.rows import number

    if result.bodies:
        head = ["body", "kind", "prob.", "strike", "depth [m]", "width [m]", "index angle"]
        rows = [[*head, "dip", "under remanence", "misfit"]]
        rows += [
            [
                row.body,
                row.kind + ("" if row.decidable else " ?"),
                f"{row.probability:.2f}",
                number(row.strike_deg, 0),
                *_numbers(row),
                _remanence(row),
                f"{row.misfit:.1f}",
            ]
            for row in result.bodies
        ]
        yield from columns(rows)
        yield from FIT_LEGEND
    yield from (f"Known: {text}" for text in result.known)
    for one in result.without:
        yield f"{one.pick}: {one.reason}"
    yield from _compact_bodies(result)
    yield from result.idle
    told = result.bodies or any(row.problem is None for row in result.compact)
    yield CAUTION if told else _none("No body was fitted", result.problem)


def _compact_bodies(result: "FitResult") -> Iterator[str]:
    """Yield the compact bodies, and why places have none."""
    from lodewalk.services.rocks.rows import interval

    told = [row for row in result.compact if row.problem is None]
    if told:
        rows = [["compact body", "depth of centre [m]", "moment [A m²]", "direction", "misfit"]]
        for row in told:
            depth = interval(row.centre_depth_m, row.centre_depth_low_m, row.centre_depth_high_m)
            moment = interval(row.moment_A_m2, row.moment_low_A_m2, row.moment_high_A_m2, digits=0)
            way = "not told"
            if row.inclination_deg is not None:
                way = (f"I {row.inclination_deg:.0f}, D {row.declination_deg:.0f} "
                       f"± {row.cone_deg:.0f} degrees")  # fmt: skip
            rows.append([row.body, depth, moment, way, f"{row.misfit or 0.0:.1f}"])
        yield from columns(rows)
        yield from (f"{row.body}: {row.direction}" for row in told)
        yield "A compact body's depth is that of its centre; its top lies higher and isn't told."
    for row in result.compact:
        if row.problem is not None:
            yield f"{row.body}, compact: {row.problem}"


def _none(what: str, problem: str | None) -> str:
    """Say that there is nothing to tell, and why."""
    return f"{what}: {problem}" if problem else f"{what}."


def _numbers(row: "Body") -> list[str]:
    """Return depth, width, index angle and dip of a body, each with its interval."""
    from lodewalk.services.rocks.rows import angle_digits, interval

    return [
        interval(row.depth_m, row.depth_low_m, row.depth_high_m),
        interval(
            row.width_m if row.width_resolved else None,
            row.width_low_m if row.width_resolved else None,
            row.width_high_m,
        ),
        *(
            interval(value, low, high, digits=angle_digits(low, high))
            for value, low, high in (
                (row.index_angle_deg, row.index_angle_low_deg, row.index_angle_high_deg),
                (row.dip_deg, row.dip_low_deg, row.dip_high_deg),
            )
        ),
    ]


def _remanence(row: "Body") -> str:
    """Return the range of dips under remanence; a dash where it adds nothing."""
    from lodewalk.services.rocks.rows import number

    low, high = row.dip_range_low_deg, row.dip_range_high_deg
    if None in (low, high) or (low, high) == (row.dip_low_deg, row.dip_high_deg):
        return "-"
    return f"{number(low, 0)} to {number(high, 0)}"


def _along(found: "AlongResult") -> Iterator[str]:
    """Yield what was fitted to a piece of a line."""
    yield (
        f"{found.line}, {found.from_m:g} to {found.to_m:g} m: {found.readings} readings across a "
        f"strike of {found.strike_deg:.0f} degrees."
    )
    yield from _one_body(found)


def _one_body(found: "AlongResult | BetweenResult") -> Iterator[str]:
    """Yield the body of one profile, the other kinds, what isn't told, and the figure."""
    body = found.body
    depth, width, angle, dip = _numbers(body)
    place = f"{body.easting_m:.1f} E {body.northing_m:.1f} N"
    yield from columns(
        [
            ["kind", f"{body.kind}, probability {body.probability:.2f}"],
            ["place", f"{place}, ± {1.645 * body.position_sd_m:.1f} m across the strike"],
            ["depth", f"{depth} m"],
            ["width", f"{width} m" if width != "-" else "-"],
            ["index angle", f"{angle} degrees"],
            ["dip", f"{dip} degrees, to the right of the strike" if dip != "-" else "-"],
            ["under remanence", _remanence(body)],
            ["misfit", f"{body.misfit:.1f}"],
        ]
    )
    for one in found.kinds:
        if one.kind != body.kind and one.depth_m is not None and one.probability > 0.01:
            yield f"As {one.kind} ({one.probability:.2f}): depth {one.depth_m:.1f} m."
    yield from (text for text in (body.not_resolved, body.dip_words) if text)
    if found.figure:
        yield f"Figure: {found.figure}"
    yield CAUTION


def depth(directory: Survey, as_json: AsJson = False) -> None:
    """Tell the depth at each pick: one calibrated answer, and what each method says."""
    from lodewalk.services.rocks.depth import depth as depth_service

    with progress() as reporter:
        result = depth_service(open_survey(directory), reporter=reporter)
    emit(result, as_json=as_json, lines=_depths(result))


def _depths(result: "DepthResult") -> Iterator[str]:
    """Yield the depths with the methods beside them, and the picks without an answer."""
    from lodewalk.services.rocks.rows import interval, number

    told = [row for row in result.picks if row.depth_m is not None]
    names = list(dict.fromkeys(m.method for row in told for m in row.methods))
    if told:
        rows = [["pick", "depth [m]", "top [m]", "index", "apart", *names]]
        for row in told:
            answer = interval(row.depth_m, row.depth_low_m, row.depth_high_m)
            said = _said(row, names)
            about = number(row.top_height_m), number(row.index), number(row.disagreement)
            rows.append([row.pick, answer, *about, *said])
        yield from columns(rows)
    yield from _without(result)
    if told:
        yield from DEPTH_LEGEND
    yield from result.idle
    yield CAUTION if told else _none("No depth was told", result.problem)


def _without(result: "DepthResult") -> Iterator[str]:
    """Yield why picks have no answer, each reason once with the first of its picks."""
    alike: dict[str, list[PickDepth]] = {}
    for row in result.picks:
        if row.depth_m is None:
            alike.setdefault(_FIGURES.sub("#", row.reason), []).append(row)
    for rows in alike.values():
        others = f" (and {len(rows) - 1} alike: {_listed(rows[1:])})" if rows[1:] else ""
        yield f"{rows[0].pick}: {rows[0].reason}{others}"


def _listed(rows: "list[PickDepth]") -> str:
    """Return the names of picks."""
    return ", ".join(row.pick for row in rows)


def _said(row: "PickDepth", names: list[str]) -> list[str]:
    """Return the depth by each method; in brackets where its own conditions don't hold."""
    by_name = {method.method: method for method in row.methods}
    cells = []
    for name in names:
        one = by_name.get(name)
        value = None if one is None else one.depth_m
        text = "-" if value is None else f"{value:.1f}"
        cells.append(text if one is None or one.valid or value is None else f"({text})")
    return cells
