"""The section on rocks of the report: sentences, tables and figures from the interpretation."""

import re
from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
import polars as pl

from lodewalk.figures.depth_along import draw_depth_along
from lodewalk.figures.section import draw_section
from lodewalk.figures.section_body import (
    SHEETS,
    dip_words,
    interval,
    joint_words,
    magnetisation_words,
)
from lodewalk.figures.style import number
from lodewalk.handover.compact_rocks import compact_figures, compact_rows, without_compact
from lodewalk.handover.content import ReportFigure, Undrawn
from lodewalk.handover.pictures import picture
from lodewalk.handover.rocks_content import BodyRow, DepthRow, PickRow, RockRecords, Rocks
from lodewalk.handover.words import angle_digits

#: Transforms in words, in the order in which they are told.
TRANSFORMS = {
    "reduced_to_pole": "reduced to the pole",
    "reduced_to_pole_damped": "reduced to the pole, damped",
    "reduced_to_equator": "reduced to the equator",
    "vertical_derivative": "vertical derivative",
    "horizontal_gradient": "horizontal gradient",
    "total_gradient": "total gradient",
    "tilt_angle": "tilt angle",
    "tilt_horizontal_derivative": "horizontal derivative of the tilt",
    "pseudo_gravity": "pseudo-gravity",
    "upward_continued": "upward continued",
    "regional": "regional",
    "residual": "residual",
}
#: The depth's standard deviation as a share of the depth: how well a body is resolved.
SPREAD = pl.when(pl.col("depth_m") > 0).then(pl.col("depth_sd_m") / pl.col("depth_m"))
#: Numbers and sides in a sentence: two sentences that differ in these alone tell the same.
_NUMBERS = re.compile(r"[\d.]+(e\+?\d+)?|left|right")


def rocks_of(records: RockRecords | None) -> Rocks:
    """Return the section on rocks in words and tables.

    Parameters
    ----------
    records : RockRecords, optional
        The interpretation; None where none has been made.

    Returns
    -------
    Rocks
        What is missing says why.
    """
    if records is None:
        return Rocks(missing=("no interpretation has been made.",))
    return Rocks(
        missing=_missing(records),
        transforms=_transform_words(records),
        traced=_trace_words(records),
        depths=tuple(_depth_rows(records)),
        picks=tuple(_pick_rows(records)),
        bodies=tuple(_body_row(row) for row in best_bodies(records)),
        not_resolved=_not_resolved(records),
        without=_without(records),
        known=_known(records),
        compact=compact_rows(records),
        without_compact=without_compact(records),
    )


def _missing(records: RockRecords) -> tuple[str, ...]:
    """Return which parts there are none of, and why."""
    parts = (
        ("no transform of the grid", records.transform_notes, _has_grids(records)),
        ("no lineament", records.trace_notes, bool(len(records.lineaments))),
        ("no body and no depth", records.fit_notes, bool(len(records.bodies))),
    )
    return tuple(_why(what, notes) for what, notes, there in parts if not there)


def _why(what: str, notes: Any) -> str:
    """Return what is missing with the reason that its step gave."""
    reason = (notes.values.get("problem") if notes is not None else None) or ""
    return f"{what}. {reason}" if reason else f"{what} was made."


def _has_grids(records: RockRecords) -> bool:
    """Tell whether there is a transform of the grid."""
    return bool(records.transforms and records.transforms.grids)


def _transform_words(records: RockRecords) -> tuple[str, ...]:
    """Return which transforms were made, and which were refused with the alternative."""
    words = []
    if records.transforms and records.transforms.grids:
        names = {grid.name for grid in records.transforms.grids}
        made = [text for name, text in TRANSFORMS.items() if name in names]
        words.append(f"Transforms made of the grid: {', '.join(made)}.")
    notes = records.transform_notes.values if records.transform_notes else {}
    told = *_texts(notes.get("refused")), *_how(notes), *_texts(notes.get("warnings"))
    return (*words, *told)


def _how(notes: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what was taken for the sensor's surface, if no plane, and what a damping costs."""
    surface, damped = notes.get("surface") or {}, notes.get("damped") or {}
    words = []
    if surface.get("taken") == "equivalent sources":
        words.append(f"Made from equivalent sources at the sensor's heights. {surface['why']}")
    if damped.get("told"):
        words.append(f"Reduced to the pole, damped: {damped['why']}")
    return tuple(words)


def _texts(told: Any) -> tuple[str, ...]:
    """Return what a document tells as sentences: of a text, a list, or a mapping by name."""
    if not told:
        return ()
    if isinstance(told, str):
        return (told,)
    if isinstance(told, Mapping):
        if "text" in told:
            return (str(told["text"]),)
        words = {TRANSFORMS.get(str(key), str(key).replace("_", " ")): told[key] for key in told}
        return tuple(
            f"{name[:1].upper()}{name[1:]}: {text}" for name, part in words.items()
            for text in _texts(part)
        )  # fmt: skip
    return tuple(text for part in told for text in _texts(part))


def _trace_words(records: RockRecords) -> tuple[str, ...]:
    """Return how many lineaments and faults were traced, and what was left out."""
    frame = records.lineaments.frame
    if not frame.height:
        return ()
    refused = pl.col("lineament").is_in(sorted(records.refused))
    counts = frame.filter(~refused).group_by("kind", maintain_order=True).len().rows()
    told = ", ".join(f"{count} {kind}{'s' if count > 1 else ''}" for kind, count in counts)
    words = [f"Traced from the grid: {told or 'nothing that nobody refused'}."]
    names = frame.filter(refused)["lineament"].to_list()
    words += [f"Refused by a decision: {', '.join(names)}."] * bool(names)
    for row in records.believed_faults.frame.iter_rows(named=True):
        side = "right" if row["offset_m"] > 0 else "left"
        reach = 1.645 * row["sd_m"]
        words.append(
            f"{row['first']} and {row['second']} are offset by {number(abs(row['offset_m']), 0)} ± "
            f"{number(reach, 0)} m (90 %) to the {side}: a fault, a step of the dyke or two dykes."
        )
    notes = records.trace_notes.values if records.trace_notes else {}
    return (*words, *_left_out(notes.get("left_out")))


def _left_out(told: Any) -> tuple[str, ...]:
    """Return what the tracing left out, each reason once with its count."""
    reasons: dict[str, int] = {}
    for item in told or ():
        why = str(item.get("why", "")) if isinstance(item, Mapping) else str(item)
        reasons[why] = reasons.get(why, 0) + 1
    return tuple(
        f"Not traced: {why.rstrip('.')}{f' ({count})' if count > 1 else ''}."
        for why, count in reasons.items()
    )


def best_bodies(records: RockRecords) -> list[dict[str, Any]]:
    """Return one body for each lineament, the joint fit before the surest pick, then the others.

    A pick that lies on no lineament stands for itself.
    """
    frame = records.told_bodies.with_columns(
        group=pl.coalesce("lineament", "body"), alone=pl.col("pick").is_not_null()
    )
    order = {name: nth for nth, name in enumerate(records.lineaments.strings("lineament"))}
    ranked = frame.sort(["alone", SPREAD], nulls_last=True, maintain_order=True)
    best = ranked.unique("group", keep="first", maintain_order=True)
    rows = best.drop("group", "alone").to_dicts()
    return sorted(rows, key=lambda row: order.get(row["lineament"] or "", len(order)))


def best_pick(records: RockRecords, lineament: str) -> str | None:
    """Return the pick of a lineament whose depth is best resolved.

    A body above ground, or farther from its pick than a third of the window, is something else.
    """
    places = records.picks.frame.select(
        "pick", "half_window_m", east="easting_m", north="northing_m"
    )
    off = ((pl.col("easting_m") - pl.col("east")) ** 2
           + (pl.col("northing_m") - pl.col("north")) ** 2).sqrt()  # fmt: skip
    own = (
        records.bodies.frame.filter((pl.col("lineament") == lineament) & (pl.col("depth_m") > 0))
        .join(places, on="pick", maintain_order="left")
        .filter(off <= pl.col("half_window_m") / 3)
        .sort(SPREAD, nulls_last=True, maintain_order=True)
    )
    return str(own["pick"][0]) if own.height else None


def _depth_rows(records: RockRecords) -> list[DepthRow]:
    """Return the table of depths: one row for each lineament with a pick."""
    rows = []
    picks = records.picks.frame
    for line in records.lineaments.frame.iter_rows(named=True):
        own = picks.filter(pl.col("lineament") == line["lineament"])
        if own.height:
            rows.append(_depth_row(records, line, own))
    return rows


def _depth_row(records: RockRecords, line: Mapping[str, Any], picks: pl.DataFrame) -> DepthRow:
    """Return one row of the table of depths."""
    told = records.depths.frame.filter(
        pl.col("pick").is_in(picks["pick"].implode()) & pl.col("depth_m").is_not_null()
    )
    answers = told.filter(pl.col("method") == "answer")["depth_m"]
    joint = records.bodies.frame.filter(
        pl.col("pick").is_null() & (pl.col("lineament") == line["lineament"])
    )
    depth = joint_words(joint.row(0, named=True)) if joint.height else "no joint fit"
    strike = "–"
    if line["strike_deg"] is not None:
        sd = line["strike_sd_deg"]
        reach = "" if sd is None else f" ± {number(1.645 * sd, 1)}°"
        shown = line["strike_deg"] % 180.0 if sd is not None else round(line["strike_deg"]) % 180
        strike = f"{number(shown, 0 if sd is None else 1)}°{reach}"
    return DepthRow(
        line["lineament"],
        line["kind"] + (", refused" if line["lineament"] in records.refused else ""),
        strike,
        number(line["length_m"]),
        depth,
        f"{len(answers)} of {picks.height}",
        _from_to(answers),
        _method_words(told),
    )


def _from_to(values: pl.Series) -> str:
    """Return least, median and greatest of depths."""
    if not len(values):
        return "none"
    ends = [number(float(np.quantile(values.to_numpy(), at)), 1) for at in (0.0, 0.5, 1.0)]
    return f"{ends[1]} m ({ends[0]} to {ends[2]})"


def _method_words(told: pl.DataFrame) -> str:
    """Return how the other methods differ from the answer, in the median over the picks."""
    answers = told.filter(pl.col("method") == "answer").select("pick", answer="depth_m")
    valid = told.filter((pl.col("method") != "answer") & pl.col("valid")).join(answers, on="pick")
    if not valid.height:
        return "no other method holds"
    shares = valid.group_by("method").agg((pl.col("depth_m") / pl.col("answer") - 1).median())
    rows = sorted(shares.rows(), key=lambda row: (row[1], row[0]))
    words = ", ".join(
        f"{name} {number(100 * off, 0, signed=True)}\N{NO-BREAK SPACE}%" for name, off in rows
    )
    apart = told["disagreement"].drop_nulls()
    if not len(apart):
        return words
    return f"{words}; apart by {number(float(np.median(apart.to_numpy())), 1)} sd of the answer"


def _pick_rows(records: RockRecords) -> list[PickRow]:
    """Return every method at every pick; a pick without any tells its problem."""
    rows, problems = [], problems_of(records)
    by_pick = records.depths.frame.partition_by("pick", as_dict=True, maintain_order=True)
    for pick in records.picks.frame.iter_rows(named=True):
        own = by_pick.get((pick["pick"],))
        if own is None or pick["problem"]:
            reason = problems.get(pick["pick"], "no method was tried")
            rows.append(PickRow(pick["pick"], "", "no depth", "", valid=False, reason=reason))
            continue
        rows += [
            PickRow(
                pick["pick"],
                row["method"],
                interval(row, "depth", "m", 1) if row["depth_m"] is not None else "no depth",
                _plus_minus(row["index"], row["index_sd"]),
                row["valid"],
                _remark(row),
            )
            for row in own.iter_rows(named=True)
        ]
    return rows


def _remark(row: Mapping[str, Any]) -> str:
    """Return what a method rests on; of the answer, how far the methods lie apart besides."""
    apart = row["disagreement"]
    if apart is None:
        return str(row["reason"])
    return f"{row['reason']} The methods lie apart by {number(apart, 1)} of its sd.".strip()


def _plus_minus(value: float | None, sd: float | None) -> str:
    """Return a value with the half width of its 90 % interval."""
    if value is None:
        return ""
    return number(value, 1) + ("" if sd is None else f" ± {number(1.645 * sd, 1)}")


def _body_row(row: Mapping[str, Any]) -> BodyRow:
    """Return one row of the table of bodies."""
    sure = number(row["probability"], 2)
    kind = f"{row['kind']} ({sure})" if row["decidable"] else f"{row['kind']}, not sure ({sure})"
    digits = angle_digits(row["index_angle_low_deg"], row["index_angle_high_deg"])
    return BodyRow(
        row["body"],
        kind,
        joint_words(row),
        _width(row),
        interval(row, "index_angle", "deg", digits),
        dip_words(row) if row["dip_deg"] is not None else "index angle alone",
        magnetisation_words(row["magnetisation"]),
    )


def _width(row: Mapping[str, Any]) -> str:
    """Return the width of a body, or that it isn't resolved or has none."""
    if row["kind"] not in SHEETS:
        return "–"
    if row["width_resolved"] and row["width_m"] is not None:
        return interval(row, "width", "m", 1)
    most = row["width_high_m"]
    return "not resolved" + (f" (below {number(most, 1)} m)" if most is not None else "")


def _not_resolved(records: RockRecords) -> tuple[str, ...]:
    """Return what the data don't tell of the bodies of the table, each sentence once."""
    names: dict[str, list[str]] = {}
    for row in best_bodies(records):
        said = " ".join(text for text in (row["not_resolved"], row["dip_words"]) if text)
        if said:
            names.setdefault(said, []).append(row["body"])
    return tuple(f"{', '.join(bodies)}: {text}" for text, bodies in names.items())


def _known(records: RockRecords) -> tuple[str, ...]:
    """Return what became of the facts from boreholes and outcrops."""
    notes = records.fit_notes.values if records.fit_notes else {}
    return tuple(str(fact["text"]) for fact in notes.get("facts") or ())


def problems_of(records: RockRecords) -> dict[str, str]:
    """Return why there is no body, by pick: of its profile, or of the fit to it."""
    notes = records.fit_notes.values.get("picks") if records.fit_notes else None
    found = {}
    for row in records.picks.frame.iter_rows(named=True):
        problem = row["problem"] or (notes or {}).get(row["pick"], {}).get("problem")
        if problem:
            found[str(row["pick"])] = str(problem)
    return found


def _without(records: RockRecords) -> tuple[str, ...]:
    """Return why picks have no body, the most frequent reason first; one of each is quoted."""
    alike: dict[str, list[tuple[str, str]]] = {}
    for pick, problem in problems_of(records).items():
        alike.setdefault(_NUMBERS.sub("#", problem), []).append((pick, problem))
    ranked = sorted(alike.values(), key=lambda picks: -len(picks))
    return tuple(
        f"{len(picks)} pick{'s' if len(picks) > 1 else ''}, such as {picks[0][0]}: {picks[0][1]}"
        for picks in ranked
    )


def rock_figures(records: RockRecords | None, *, most: int = 6) -> list[ReportFigure | Undrawn]:
    """Return a section for each lineament at its best pick, and its depth from line to line.

    Parameters
    ----------
    records : RockRecords, optional
        The interpretation.
    most : int
        Lineaments that get figures, the surest first.
    """
    if records is None:
        return []
    figures: list[ReportFigure | Undrawn] = []
    names = [name for name in records.lineaments.strings("lineament") if name]
    told = [(name, pick) for name in names if (pick := best_pick(records, name))]
    for nth, (name, pick) in enumerate(told[:most]):
        figures.append(_section_figure(records, name, pick, explained=not nth))
        if records.picks.frame.filter(pl.col("lineament") == name).height > 1:
            figures.append(_along_figure(records, name, explained=not nth))
    lone = records.bodies.frame.filter(
        pl.col("lineament").is_null() & pl.col("pick").is_not_null()
    ).head(max(0, most - len(told)))
    alone = [
        _section_figure(records, None, pick, explained=not (nth or figures))
        for nth, pick in enumerate(lone["pick"].to_list())
    ]
    return figures + alone + compact_figures(records, most=most)


def _section_figure(
    records: RockRecords, lineament: str | None, pick: str, *, explained: bool
) -> Any:
    """Return the section of a pick with its words; how to read it stands below the first one."""
    body = records.told_bodies.filter(pl.col("pick") == pick).row(0, named=True)
    whose = f" of {lineament}, at its best resolved pick {pick}" if lineament else f" at {pick}"
    caption = (
        "Above the readings, the curve of the body with its 90 % band, and the regional; below "
        "them what is left of each reading; then ground, sensor and body in section. Dashed tops "
        "are the ends of the 90 % interval of the depth. Residuals stand in the total standard "
        "deviation: that of the reading, of its place and of the noise that neighbours share. The "
        "lower end of the body is not told by the field, so it fades out."
        if explained
        else "Read as the first section above."
    )
    if body["dip_deg"] is None:
        caption += f" The body is drawn upright: no dip is told. {body['dip_words']}".rstrip()
    depth = interval(body, "depth", "m", 1)
    alt = f"Section at {pick}: {body['kind']}, top {depth} below ground."
    noted = (records.fit_notes.values if records.fit_notes else {}).get("picks") or {}
    noise = noted.get(pick, {}).get("noise")
    draw = partial(draw_section, records.picks, records.profiles, records.curves, records.bodies,
                   pick=pick, noise=noise, dips=records.dips)  # fmt: skip
    return picture("rocks", f"Section{whose}", caption, alt, draw)


def _along_figure(records: RockRecords, lineament: str, *, explained: bool) -> Any:
    """Return the depth of a lineament from line to line with its words."""
    caption = (
        "The depth at each pick with its 90 % interval, the other methods as small marks, and the "
        "band of the joint fit. Lines that differ by more than their intervals show a body that "
        "changes along its strike, a neighbour or a bad line."
        if explained
        else "Read as the first of its kind above."
    )
    alt = f"Depth of the top of {lineament} below ground at each line."
    draw = partial(draw_depth_along, records.lineaments, records.picks, records.depths,
                   records.bodies, lineament=lineament)  # fmt: skip
    return picture("rocks", f"Depth along {lineament}", caption, alt, draw)
