"""The planned line that each reading counts for: by its name, or by place where names don't fit."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.checks.walked.off_track import place_on_lines
from lodewalk.methods.corrections.lines import passage_geometry, split_track
from lodewalk.methods.corrections.plan_lines import assign_to_plan
from lodewalk.records import Record
from lodewalk.steps.findings import FindingList
from lodewalk.steps.planned import REPEAT, Plan
from lodewalk.steps.rows import document, file_rows, in_time_order, passage_of_readings, table

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
#: A name fits when so much of its readings lies on the planned line of that name; readings lie
#: on other planned lines when so much of them does.
FITS_SHARE = 0.5
#: Straight walks off every planned line are a doubt when they are more than this share of all
#: (common practice: ways between lines and to the base come to less than a third).
OFF_SHARE = 1 / 3
#: A straight walk within so many times the limit of a planned line that nobody walked, along so
#: much of it, was probably meant for it (common practice).
BESIDE, BESIDE_SHARE = 3.0, 0.5
#: A straight walk ends where nothing is read for longer than this [s].
PAUSE_S = 60.0
#: Neighbouring readings farther apart than this are no walk between them [m].
APART_M = 50.0


@dataclass
class Places:
    """What the readings count for.

    Parameters
    ----------
    own : int array
        Place of each reading's planned line in the plan, -1 for none.
    label : dict
        Name in the files under which gaps of a planned line are told, by the line's place.
    elsewhere : list of str
        Names of the plan whose readings lie off the line of that name, on others or on none.
    unknown : list of str
        Names that the plan doesn't have.
    """

    own: Numbers
    label: dict[int, str] = field(default_factory=dict)
    elsewhere: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)


def places_of(inputs: Mapping[str, Record], plan: Plan, lines: Mapping[str, Any]) -> Places:
    """Return the planned line of each reading.

    A name counts where it fits. Elsewhere the readings count for the line on which they lie: a
    line of another plan, or one that the plan has in pieces. A single line walked far off its
    place on no other one is still asked for.
    """
    judge = _Judge(inputs, plan, lines)
    found = Places(np.full(judge.names.shape, -1, dtype=np.int64))
    odd = [name for name in judge.labels if name in plan.lines and not judge.fits(name)]
    known = [name for name in judge.labels if name in plan.lines]
    another = len(odd) > FITS_SHARE * len(known)
    for name in judge.labels:
        if REPEAT.fullmatch(name) and name not in plan.lines:
            continue
        rows = np.flatnonzero(judge.names == name)
        there = judge.by_place(rows) if name in odd or name not in plan.lines else None
        lone = name in odd and not another
        if there is None or (lone and np.mean(there >= 0) < FITS_SHARE):
            found.own[rows] = judge.number[name]
            found.label[judge.number[name]] = name
            continue
        found.own[rows] = there
        pieces = [judge.number[piece] for piece in judge.pieces(name)]
        if name in plan.lines:
            found.elsewhere.append(name)
        elif pieces:
            met = {int(number) for number in np.unique(there)}
            found.label |= {n: name for n in pieces if n in met and n not in found.label}
        else:
            found.unknown.append(name)
    return found


class _Judge:
    """Names and positions of the readings beside the plan."""

    def __init__(self, inputs: Mapping[str, Record], plan: Plan, lines: Mapping[str, Any]) -> None:
        positions = table(inputs, "rover_positions")
        self.east, self.north = positions.floats("easting_m"), positions.floats("northing_m")
        self.seconds = table(inputs, "rover_times").seconds("time_utc")
        self.names = np.array(table(inputs, "rover_lines").strings("line"), dtype=object)
        self.passage = passage_of_readings(inputs)
        self.labels = sorted({name for name in self.names if name is not None})
        self.number = {name: number for number, name in enumerate(plan.lines)}
        self.vertices = list(plan.lines.values())
        self.lines = lines

    def fits(self, name: str) -> bool:
        """Tell whether readings lie on the planned line of their name; without any they do."""
        rows = np.flatnonzero((self.names == name) & np.isfinite(self.east))
        own = np.full(rows.size, self.number[name], dtype=np.int64)
        place = place_on_lines(
            self.east[rows], self.north[rows], own, self.vertices,
            reach_m=self.lines["off_line_m"],
        )  # fmt: skip
        return not rows.size or bool(np.mean(np.isfinite(place.off_line_m)) >= FITS_SHARE)

    def by_place(self, rows: Numbers) -> Numbers:
        """Return the planned line on which some readings were walked, passage by passage."""
        found = np.full(rows.size, -1, dtype=np.int64)
        for number in np.unique(self.passage[rows]):
            part = np.flatnonzero(self.passage[rows] == number)
            part = part[np.argsort(self.seconds[rows[part]], kind="stable")]
            found[part] = assign_to_plan(
                self.east[rows[part]], self.north[rows[part]], self.vertices,
                off_line_m=self.lines["off_line_m"], smoothing_m=self.lines["smoothing_m"],
            ).line  # fmt: skip
        return found

    def pieces(self, name: str) -> list[str]:
        """Return the pieces in which the plan has a line, such as L074A and L074B."""
        return [
            piece for piece in self.number
            if piece.startswith(name) and piece[len(name):].isalpha()
            and piece[len(name):].isupper()
        ]  # fmt: skip


def tell_names(found: FindingList, places: Places) -> None:
    """Tell names that belong to another plan, and those that no plan has."""
    if places.elsewhere:
        found.add(
            "line names",
            f"The lines bear names of another plan, or their positions are shifted: the readings "
            f"of {_some(places.elsewhere)} lie off the planned lines of these names. Coverage is "
            "judged by the planned lines on which they lie, and none of them is asked for again "
            "by its name.",
            severity="doubt",
        )
    if places.unknown:
        found.add(
            "line names",
            f"The plan has no line named {_some(places.unknown)}; the coverage of planned lines "
            "is judged by where these were walked.",
        )


def _some(names: list[str], most: int = 8) -> str:
    """Return the first names, and how many more there are."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def tell_off_plan(
    found: FindingList, inputs: Mapping[str, Record], places: Places, settings: Mapping[str, Any]
) -> None:
    """Tell how far each rover walked straight on, on no planned line."""
    positions = table(inputs, "rover_positions")
    east, north = positions.floats("easting_m"), positions.floats("northing_m")
    for instrument, rows, walks in _walks_off_plan(inputs, places, settings["lines"]):
        on = _way(east[rows], north[rows], places.own[rows] >= 0)
        off = float(sum(passage_geometry(east[walk], north[walk])[0] for walk in walks))
        if off < max(100.0, 0.01 * on):
            continue
        doubt = off > OFF_SHARE * (on + off)
        ask = (
            " Was it walked by another plan? Its readings then serve only where they bear a line."
            if doubt
            else ""
        )
        found.add(
            "off the plan",
            f"{instrument}: {off / 1000:.2f} km walked straight on lie on no planned line, beside "
            f"{on / 1000:.2f} km on planned lines.{ask}",
            severity="doubt" if doubt else "information",
            instrument=instrument,
        )


def _may_be_line(inputs: Mapping[str, Record]) -> NDArray[np.bool_]:
    """Tell readings that may be on a line: in files that name lines, only those with a name."""
    recorded = np.array(table(inputs, "rover_recorded").strings("line"), dtype=object)
    names = np.array(table(inputs, "rover_lines").strings("line"), dtype=object)
    repeat = np.array([name is not None and bool(REPEAT.fullmatch(name)) for name in names], bool)
    named = np.array([name is not None for name in names], dtype=bool)
    may = ~repeat
    for span in file_rows(document(inputs, "rover_files")):
        if any(name is not None for name in recorded[span.rows]):
            may[span.rows] &= named[span.rows]
    return may


def _way(east: Floats, north: Floats, on: NDArray[np.bool_]) -> float:
    """Return the way between neighbouring readings that both count [m]."""
    steps = np.hypot(np.diff(east), np.diff(north))
    return float(steps[on[1:] & on[:-1] & (steps < APART_M)].sum())


def tell_beside(
    found: FindingList, inputs: Mapping[str, Record], places: Places, plan: Plan,
    lines: Mapping[str, Any],
) -> None:  # fmt: skip
    """Tell of straight walks along a planned line that nobody walked, but too far off to count."""
    positions = table(inputs, "rover_positions")
    east, north = positions.floats("easting_m"), positions.floats("northing_m")
    missing = {
        name: vertices
        for number, (name, vertices) in enumerate(plan.lines.items())
        if _reach(east, north, places.own == number) < BESIDE_SHARE * _length(vertices)
    }
    for instrument, _, walks in _walks_off_plan(inputs, places, lines):
        told = [text for walk in walks for text in _beside(east[walk], north[walk], missing, lines)]
        if told:
            found.add(
                "beside a planned line",
                f"{instrument}: walked straight on, but too far off to count: {_some(told)}. "
                f"Readings count for a planned line within {lines['off_line_m']:g} m of it: set "
                "that limit wider if they were meant for it.",
                severity="doubt",
                instrument=instrument,
            )


def _beside(
    east: Floats, north: Floats, missing: Mapping[str, Floats], lines: Mapping[str, Any]
) -> list[str]:
    """Return which missing lines a straight walk runs along, how far, and how far off."""
    if not missing:
        return []
    place = assign_to_plan(
        east, north, list(missing.values()), off_line_m=BESIDE * lines["off_line_m"],
        smoothing_m=lines["smoothing_m"],
    )  # fmt: skip
    told = []
    for number, (name, vertices) in enumerate(missing.items()):
        own = place.line == number
        walked = float(np.ptp(place.distance_m[own])) if np.any(own) else 0.0
        if walked >= BESIDE_SHARE * _length(vertices):
            away = float(np.median(np.abs(place.off_line_m[own])))
            told.append(f"{walked:.0f} m lie {away:.0f} m beside {name}")
    return told


def _reach(east: Floats, north: Floats, on: NDArray[np.bool_]) -> float:
    """Return how far apart the outermost of some readings lie [m]."""
    known = on & np.isfinite(east + north)
    return float(np.hypot(np.ptp(east[known]), np.ptp(north[known]))) if known.any() else 0.0


def _length(vertices: Floats) -> float:
    """Return the length of a planned line [m]."""
    return float(np.hypot(*np.diff(vertices, axis=0).T).sum())


def _walks_off_plan(
    inputs: Mapping[str, Record], places: Places, lines: Mapping[str, Any]
) -> Iterator[tuple[str, Numbers, list[Numbers]]]:
    """Yield each rover with its readings that may be on a line, and its straight walks on none."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    positions = table(inputs, "rover_positions")
    east, north = positions.floats("easting_m"), positions.floats("northing_m")
    told = _may_be_line(inputs) & np.isfinite(east)
    for instrument, every in in_time_order(document(inputs, "rover_files"), seconds):
        rows = every[told[every]]
        away = rows[places.own[rows] < 0]
        yield instrument, rows, _straight_walks(seconds, east, north, away, lines)


def _straight_walks(
    seconds: Floats, east: Floats, north: Floats, rows: Numbers, lines: Mapping[str, Any]
) -> list[Numbers]:
    """Return the straight walks in some readings."""
    if rows.size < 2:
        return []
    number = split_track(
        seconds[rows], east[rows], north[rows],
        min_length_m=lines["min_length_m"], max_turn_deg=lines["max_turn_deg"],
        smoothing_m=lines["smoothing_m"], max_gap_s=PAUSE_S,
    )  # fmt: skip
    return [rows[number == n] for n in range(int(number.max(initial=-1)) + 1)]
