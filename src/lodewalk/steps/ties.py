"""Ties: how far each base, at each of its places, lies above the datum."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from lodewalk.methods.corrections.base_ties import overlap_tie
from lodewalk.records import Document, Record
from lodewalk.steps.base_days import stamp
from lodewalk.steps.base_network import (
    CONTRADICTION,
    HeldLevels,
    NamedTie,
    settled,
    with_shared_ends,
)
from lodewalk.steps.base_revisits import revisit_ties
from lodewalk.steps.bases import Base, usable_bases
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList, amount, tell_idle
from lodewalk.steps.rows import document, instruments, own_value

AXES = ("easting", "northing")
#: A site tie that differs from the network by more sd than this is doubted: one in a hundred.
DOUBTED_SD = 2.58


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the level of each base above the datum with its error, the ties, and findings."""
    found = FindingList("ties")
    bases = usable_bases(inputs, context.decisions)
    _tell_settings(found, inputs, settings)
    _tell_idle_moves(found, bases, context)
    ties = _overlaps(bases, settings)
    if len(bases) > 1:
        ties += revisit_ties(inputs, bases, settings)
    held = _held(bases, settings["instruments.*.site_tie_nT"])
    found_network = settled([base.node for base in bases], ties, held)
    network = Document(found_network | {"nodes": _described(bases, found_network["nodes"])})
    _tell_nodes(found, bases, network.values)
    _tell_doubted(found, bases, network.values)
    _tell_ties(found, network.values)
    return {"datum_network": network, "datum_findings": found.table()}


def _described(bases: list[Base], rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the rows of the nodes with base, place and span of the record."""
    return [
        row
        | {
            "instrument": base.name,
            "place": base.place,
            "start_utc": stamp(np.floor(base.seconds[0])),
            "end_utc": stamp(np.ceil(base.seconds[-1])),
        }
        for base, row in zip(bases, rows, strict=True)
    ]


def _overlaps(bases: list[Base], settings: Mapping[str, Any]) -> list[NamedTie]:
    """Return the ties between bases that recorded at the same time.

    Ties of three or more share the errors of each; those that never met at once don't, but are
    treated alike, which makes their errors larger by a quarter at most for a loop of three.
    """
    ties = []
    for place, first in enumerate(bases):
        for second in bases[place + 1 :]:
            tie = overlap_tie(
                first.seconds,
                first.field_nT,
                second.seconds,
                second.field_nT,
                max_gap_s=settings["diurnal"]["max_gap_s"],
                distance_m=_distance(first, second, settings),
                scale_km=settings["diurnal"]["scale_km"],
            )
            if tie.count:
                ties.append(NamedTie(first.node, second.node, "both recorded", tie))
    return with_shared_ends(ties)


def _distance(first: Base, second: Base, settings: Mapping[str, Any]) -> float:
    """Return the distance of two bases, 0 where it isn't known or one has moved [m]."""
    east_m, north_m = (
        _between(*(own_value(settings[f"instruments.*.{axis}_m"], b.name) for b in (first, second)))
        for axis in AXES
    )
    return 0.0 if first.place > 1 or second.place > 1 else math.hypot(east_m, north_m)


def _between(one_m: float | None, other_m: float | None) -> float:
    """Return the difference of two coordinates, 0 where one isn't known [m]."""
    return 0.0 if one_m is None or other_m is None else other_m - one_m


def _held(bases: list[Base], site_ties: Mapping[str, float | None]) -> HeldLevels:
    """Return the levels that a person set; a site tie is about a base's first place."""
    own = {base.node: own_value(site_ties, base.name) for base in bases if base.place == 1}
    return {node: -tie for node, tie in own.items() if tie is not None}


def _tell_settings(
    found: FindingList, inputs: Mapping[str, Record], settings: Mapping[str, Any]
) -> None:
    """Tell sections of settings that name no instrument, but nearly one."""
    named = {
        name
        for role in ("base", "rover")
        for name in instruments(document(inputs, f"{role}_files"))
    }
    known = {name.casefold(): name for name in named}
    for name in settings["instruments.*.site_tie_nT"]:
        if name not in named and name.casefold() in known:
            found.add(
                "unknown instrument",
                f"The settings have a section instruments.{name}, but the files say "
                f"{known[name.casefold()]}; the section is not used.",
                severity="doubt",
            )


def _tell_idle_moves(found: FindingList, bases: list[Base], context: Context) -> None:
    """Tell decisions that a base moved which part nothing."""
    places: dict[str, int] = {}
    for base in bases:
        places[base.name] = max(places.get(base.name, 0), base.place)
    moves: dict[str, list[Mapping[str, Any]]] = {}
    for decision in context.decisions:
        moves.setdefault(str(decision["target"]["instrument"]), []).append(decision)
    for name, decisions in moves.items():
        if len(decisions) >= places.get(name, 0):
            tell_idle(found, decisions[-1], "no moment between two readings of the base")


def _tell_nodes(found: FindingList, bases: list[Base], network: Mapping[str, Any]) -> None:
    """Tell the level of each base but the first, or that nothing tells it."""
    first = bases[0].node if bases else ""
    for base, row in zip(bases, network["nodes"], strict=True):
        about: dict[str, Any] = {
            "instrument": base.name, "start_s": base.seconds[0], "end_s": base.seconds[-1],
        }  # fmt: skip
        if row["rests_on"] == "nothing":
            found.add(
                "bases not tied",
                f"{base.node} never recorded together with {first}, no place was read under both, "
                "and it has no site tie: if they stood at different spots, the map has a step "
                "between them, which is in no error.",
                severity="doubt",
                **about,
            )
        elif row["rests_on"] == "ties":
            found.add(
                "base tie",
                f"{base.node} reads {row['level_nT']:+.2f} nT against {network['datum']}, sd "
                f"{row['sd_nT']:.2f} nT; site_tie_nT = {-row['level_nT']:.2f} says the same.",
                **about,
            )


def _tell_doubted(found: FindingList, bases: list[Base], network: Mapping[str, Any]) -> None:
    """Tell site ties that a person set and the network contradicts, with both numbers."""
    for base, row in zip(bases, network["nodes"], strict=True):
        told, sd = row["network_level_nT"], row["network_sd_nT"]
        if row["rests_on"] != "site tie" or told is None:
            continue
        if abs(told - row["level_nT"]) > DOUBTED_SD * sd:
            found.add(
                "site tie doubted",
                f"{base.node}: the site tie that was set is {-row['level_nT']:.2f} nT, the ties "
                f"between the bases say {-told:.2f} nT, sd {sd:.2f} nT; the one set is used.",
                severity="doubt",
                instrument=base.name,
                start_s=base.seconds[0],
                end_s=base.seconds[-1],
            )


def _tell_ties(found: FindingList, network: Mapping[str, Any]) -> None:
    """Tell ties that contradict the others; all stay in."""
    for tie in network["ties"]:
        if tie["suspect"]:
            found.add(
                "tie suspected",
                f"The tie of {tie['first']} and {tie['second']} ({tie['kind']}) misses the others "
                f"by {tie['residual_nT']:+.2f} nT, {abs(tie['standardised']):.1f} sd; it stays in. "
                "Was one of the bases knocked between? If so: decide move.",
                severity="doubt",
            )
    chance = network["probability"]
    if chance is not None and chance < CONTRADICTION:
        found.add(
            "ties contradict",
            f"{amount(len(network['ties']), 'tie')} between bases contradict each other: "
            f"chi-square {network['chi_square']:.1f} with {network['freedom']} free; the errors of "
            f"the bases' levels were raised {network['raised']:.1f} times.",
            severity="doubt",
        )
