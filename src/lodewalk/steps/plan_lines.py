"""Laying a plan out: lines and ties clipped, named, shared out among days and ordered."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.line_clipping import ClippedLines, across_extent, clipped_lines
from lodewalk.adapters.walking_ways import WalkingWays
from lodewalk.errors import InputError, SettingsError
from lodewalk.methods.planning.effort import walking_pace
from lodewalk.methods.planning.layout import central_lines, nearest_stretch, tie_spacing_over
from lodewalk.methods.planning.line_names import line_names
from lodewalk.methods.planning.terrain_mesh import GroundPieces
from lodewalk.methods.planning.tie_tours import ties_early
from lodewalk.methods.planning.tours import Tour, WalkingDay, shared_out, split_long
from lodewalk.methods.planning.walk_order import Pieces
from lodewalk.steps.plan_area import PlanArea
from lodewalk.steps.plan_base import Stand, stand_of
from lodewalk.steps.plan_choice import LayoutChoice
from lodewalk.steps.plan_ground import Ground

Floats = NDArray[np.float64]
#: More pieces than this are no survey on foot.
MOST_PIECES = 100_000


@dataclass(frozen=True)
class Repeat:
    """The line that is repeated, from its first end to its second, with the ways to it [m]."""

    first: Floats
    second: Floats
    from_base_m: float
    to_base_m: float

    @property
    def length_m(self) -> float:
        """Its length on the map [m]."""
        return float(np.hypot(*(self.second - self.first)))


@dataclass(frozen=True)
class Layout:
    """A plan laid out.

    Parameters
    ----------
    pieces : Pieces
        All pieces, lines first.
    kinds, names : list of str
        Kind (line or tie) and name of each.
    parts : array
        Place of each along its line, from 0.
    ground : GroundPieces
        What the ground makes of each.
    tours : list of Tour
        Walk of each day and rover.
    stand : Stand
        Base, check station, turns.
    repeat : Repeat or None
        The line that is repeated; None where none is wanted.
    short_m : array
        Lengths of the pieces left out [m].
    split : int
        Lines that were split since they are longer than a day.
    pace_m_s : float
        Pace on level ground [m/s].
    azimuth_deg, spacing_m, tie_spacing_m : float
        Azimuth of the lines [deg], distance between lines, and between ties as they lie [m].
    """

    pieces: Pieces
    kinds: list[str]
    names: list[str]
    parts: NDArray[np.int64]
    ground: GroundPieces
    tours: list[Tour]
    stand: Stand
    repeat: Repeat | None
    short_m: Floats
    split: int
    pace_m_s: float
    azimuth_deg: float
    spacing_m: float
    tie_spacing_m: float


def laid_out(
    area: PlanArea, choice: LayoutChoice, ground: Ground, settings: Mapping[str, Any]
) -> Layout:
    """Lay a plan out.

    Parameters
    ----------
    area : PlanArea
        What is surveyed.
    choice : LayoutChoice
        Azimuth and spacing.
    ground : Ground
        The ground.
    settings : mapping
        Sections ``plan``, ``effort``, ``handheld``.

    Raises
    ------
    InputError
        For an area narrower than the spacing, too many lines, or a day too short.
    """
    lines, ties, tie_spacing = _clipped(area, choice, settings["plan"])
    both = [Pieces(item.number, item.first, item.second) for item in (lines, ties)]
    ends = np.concatenate([lines.first, lines.second])
    stand = stand_of(area, ends, ground, settings["plan"])
    ways = WalkingWays([area.obstacles])
    repeat = _repeat(lines, stand.places[0], settings["plan"]["repeat_length_m"], ways)
    pace = walking_pace(settings["effort"]["pace_m_s"], settings["effort"]["terrain"])
    day = _day(stand.places[0], repeat, settings["effort"], pace, ways)
    slow = [ground.pieces(item.first, item.second).slowness for item in both]
    split = [split_long(item, slowness, day) for item, slowness in zip(both, slow, strict=True)]
    pieces = [item[1] for item in split]
    slowness, rovers = [item[2] for item in split], settings["effort"]["rovers"]
    tours = shared_out(pieces, slowness, day, rovers=rovers)
    tours = ties_early(pieces, slowness, day, tours, rovers=rovers)
    longest = settings["handheld"]["name_length"]
    names = [
        name
        for item, letter in zip(pieces, "LT", strict=True)
        for name in line_names(item.number, letter=letter, longest=longest)
    ]
    every = Pieces(*(np.concatenate([getattr(item, name) for item in pieces]) for name in
                     ("number", "first", "second")))  # fmt: skip
    return Layout(
        every,
        [kind for item, kind in zip(pieces, ("line", "tie"), strict=True) for _ in item.number],
        names,
        np.concatenate([_parts(item.number) for item in pieces]),
        ground.pieces(every.first, every.second),
        tours,
        stand,
        repeat,
        np.concatenate([lines.short_m, ties.short_m]),
        sum(int((np.bincount(source) > 1).sum()) if source.size else 0 for source, _, _ in split),
        pace,
        choice.azimuth_deg,
        choice.spacing_m,
        tie_spacing,
    )


def _clipped(
    area: PlanArea, choice: LayoutChoice, plan: Mapping[str, Any]
) -> tuple[ClippedLines, ClippedLines, float]:
    """Return lines and ties, clipped, and the distance between ties."""
    low, high = across_extent(area.outline, choice.azimuth_deg)
    if high - low < choice.spacing_m:
        raise InputError(
            "The area is narrower than the line spacing.",
            value=f"{high - low:.1f} m across the lines, {choice.spacing_m:g} m between them",
            remedy="Set plan.line_spacing_m smaller or plan.line_azimuth_deg otherwise, or check "
            "the area and its reference system.",
        )
    lines = clipped_lines(
        area.outline,
        area.walkable,
        azimuth_deg=choice.azimuth_deg,
        spacing_m=choice.spacing_m,
        shortest_m=plan["shortest_line_m"],
    )
    across = (choice.azimuth_deg + 90) % 180
    near, far = across_extent(area.outline, across)
    tie_spacing = tie_spacing_over(far - near, choice.tie_spacing_m)
    ties = clipped_lines(
        area.outline,
        area.walkable,
        azimuth_deg=across,
        spacing_m=tie_spacing,
        shortest_m=plan["shortest_line_m"],
    )
    _check_count(lines, ties, plan)
    return lines, ties, tie_spacing


def _check_count(lines: ClippedLines, ties: ClippedLines, plan: Mapping[str, Any]) -> None:
    """Raise when there is nothing to walk, or far too much."""
    if not lines.number.size:
        longest = float(lines.short_m.max(initial=0.0))
        raise InputError(
            f"No line of {plan['shortest_line_m']:g} m or more is left in the area.",
            value=f"{longest:.1f} m, the longest piece",
            remedy="Lower plan.shortest_line_m, or check area and exclusions.",
        )
    count = lines.number.size + ties.number.size
    if count > MOST_PIECES:
        raise InputError(
            f"The plan would have more than {MOST_PIECES} pieces of lines.",
            value=count,
            remedy="Raise plan.line_spacing_m or plan.shortest_line_m, or take a smaller area.",
        )


def _parts(number: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the place of each piece along its line, from 0."""
    _, begins, lines = np.unique(number, return_index=True, return_inverse=True)
    return np.arange(number.size) - (begins[lines] if number.size else 0)


def _repeat(lines: ClippedLines, base: Floats, length_m: float, ways: WalkingWays) -> Repeat | None:
    """Return the stretch of a line in the middle that is nearest to the base."""
    if length_m == 0:
        return None
    rows = central_lines(lines.number, lines.length_m, least_m=length_m)
    first, second = nearest_stretch(lines.first[rows], lines.second[rows], base, length_m=length_m)
    out, back = ways(np.stack([base, second]), np.stack([first, base]))
    return Repeat(first, second, float(out), float(back))


def _day(
    base: Floats,
    repeat: Repeat | None,
    effort: Mapping[str, Any],
    pace: float,
    ways: WalkingWays,
) -> WalkingDay:
    """Return what a day has room for."""
    available = effort["hours_a_day"] - effort["set_up_h"]
    if available <= 0:
        raise SettingsError(
            "Setting effort.set_up_h must leave time of effort.hours_a_day for walking.",
            file="survey.toml",
            value=f"{effort['set_up_h']:g} h of {effort['hours_a_day']:g} h",
            remedy="Lower effort.set_up_h or raise effort.hours_a_day.",
        )
    if repeat is None:
        return WalkingDay(base, base, 0.0, available * 3600, pace, ways)
    fixed = repeat.from_base_m + 2 * repeat.length_m + repeat.to_base_m
    return WalkingDay(repeat.second, repeat.first, fixed / pace, available * 3600, pace, ways)
