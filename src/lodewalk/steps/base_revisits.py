"""Ties between bases from places that one rover read under each of them."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.corrections.base_ties import Tie, level_scatter, revisit_tie
from lodewalk.methods.corrections.diurnal import interpolate_base
from lodewalk.methods.corrections.diurnal_sd import diurnal_sd
from lodewalk.records import Record, Table
from lodewalk.steps.base_network import NamedTie, with_shared_ends
from lodewalk.steps.bases import Base
from lodewalk.steps.rows import table

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
SIDES = ("first", "second")
#: What the ties of each kind of revisited place are called.
KINDS = {"crossing": "lines that cross", "stand": "spots stood on again"}


def revisit_ties(
    inputs: Mapping[str, Record], bases: list[Base], settings: Mapping[str, Any]
) -> list[NamedTie]:
    """Return the ties between bases from places that one rover read under each of them.

    Crossings and stands make ties of their own, so that they check each other.
    """
    crossings = table(inputs, "crossings")
    served = [_served(crossings.seconds(f"{side}_utc"), bases, settings) for side in SIDES]
    number = np.column_stack([part[0] for part in served])
    rest = crossings.floats("difference_nT") - (served[0][1] - served[1][1])
    sd = np.sqrt(crossings.floats("sd_nT") ** 2 + served[0][2] ** 2 + served[1][2] ** 2)
    groups = np.column_stack([_groups(crossings, side) for side in SIDES])
    one_rover = np.array(crossings.strings("first_instrument"), dtype=object) == np.array(
        crossings.strings("second_instrument"), dtype=object
    )
    usable = one_rover & (number >= 0).all(axis=1) & np.isfinite(rest + sd) & (sd > 0)
    kinds = np.array(crossings.strings("kind"), dtype=object)
    ties: list[NamedTie] = []
    for kind, words in KINDS.items():
        rows = np.flatnonzero(usable & (kinds == kind))
        same = rows[number[rows, 0] == number[rows, 1]]
        scatter = level_scatter(rest[same], sd[same], unknown_nT=settings["level.constant_nT"])
        pairs = _pairs(rows, number, rest, sd, groups, scatter)
        ties += with_shared_ends(
            [NamedTie(bases[a].node, bases[b].node, words, tie) for a, b, tie in pairs]
        )
    return ties


def _served(
    seconds: Floats, bases: list[Base], settings: Mapping[str, Any]
) -> tuple[Numbers, Floats, Floats]:
    """Return the base that serves each time, its field and its error; as the correction does."""
    number = np.full(seconds.shape, -1)
    field, sd = np.full(seconds.shape, np.nan), np.full(seconds.shape, np.nan)
    gap = settings["diurnal"]["max_gap_s"]
    for place, base in enumerate(bases):
        todo = np.flatnonzero(number < 0)
        value = interpolate_base(
            seconds[todo], base.seconds, base.field_nT,
            kind=settings["diurnal"]["interpolation"], max_gap_s=gap,
        )  # fmt: skip
        there = np.isfinite(value)
        rows = todo[there]
        number[rows], field[rows] = place, value[there]
        sd[rows] = diurnal_sd(
            seconds[rows], base.seconds, base.field_nT, max_gap_s=gap, base_noise_nT=base.noise_nT
        )
    return number, field, sd


def _groups(crossings: Table, side: str) -> Numbers:
    """Return a number for the passage of each reading; each stand has one below zero."""
    passage = crossings.frame[f"{side}_passage"].fill_null(-1).to_numpy().astype(np.int64)
    stands = crossings.seconds(f"{side}_utc")
    _, own = np.unique(stands, return_inverse=True)
    groups: Numbers = np.where(passage >= 0, passage, -1 - own)
    return groups


def _pairs(
    rows: Numbers, number: Numbers, rest: Floats, sd: Floats, groups: Numbers, scatter: float
) -> list[tuple[int, int, Tie]]:
    """Return the tie of each pair of bases, the one that comes first standing first.

    Of a reading under base a less one under base b, bases taken off, b's level above a's is left.
    """
    low, high = number[rows].min(axis=1, initial=99_999), number[rows].max(axis=1, initial=-1)
    sign = np.where(number[rows, 0] == low, 1.0, -1.0)
    found = []
    for a, b in sorted(set(zip(low.tolist(), high.tolist(), strict=True))):
        here = np.flatnonzero((low == a) & (high == b))
        if a == b or not here.size:
            continue
        own, turned = rows[here], sign[here] < 0
        sides = np.where(turned[:, None], groups[own][:, ::-1], groups[own])
        tie = revisit_tie(
            sign[here] * rest[own], sd[own],
            sides[:, 0].tolist(), sides[:, 1].tolist(), line_sd_nT=scatter,
        )  # fmt: skip
        found.append((a, b, tie))
    return found
