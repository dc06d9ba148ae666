"""The network of bases: levels held by a person, the others adjusted, in one document."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from lodewalk.methods.corrections.base_ties import Tie
from lodewalk.methods.corrections.datum_network import DatumNetwork, adjust_network

HeldLevels = dict[str, float]
#: Stands for all nodes whose level is known beforehand.
HELD = "\0held"
#: Chance of a larger chi-square below which errors are raised.
CONTRADICTION = 0.01


@dataclass(frozen=True)
class NamedTie:
    """A tie between two nodes: level of the second above the first, and what it rests on."""

    first: str
    second: str
    kind: str
    tie: Tie


def with_shared_ends(ties: Sequence[NamedTie]) -> list[NamedTie]:
    """Return ties from one occasion, their sd raised for the errors that they share.

    Of n instruments compared at once each has one error, but the n (n - 1) / 2 ties between them
    would count as so many. With the sd of each raised by ``sqrt(n / 2)`` the network gives any two
    of them the error of their own tie. n is 2 and the number of nodes tied to both ends.

    Examples
    --------
    >>> ties = [NamedTie(a, b, "", Tie(0.0, 1.0, 9)) for a, b in ("AB", "BC", "AC")]
    >>> rows = settled("ABC", with_shared_ends(ties), {})["nodes"]
    >>> rows[1]["sd_nT"]
    1.0
    """
    beside: dict[str, set[str]] = {}
    for tie in ties:
        beside.setdefault(tie.first, set()).add(tie.second)
        beside.setdefault(tie.second, set()).add(tie.first)
    raised = []
    for tie in ties:
        count = 2 + len(beside[tie.first] & beside[tie.second])
        sd = tie.tie.sd_nT * float(np.sqrt(count / 2))
        raised.append(replace(tie, tie=replace(tie.tie, sd_nT=sd)))
    return raised


def settled(
    nodes: Sequence[str], ties: Sequence[NamedTie], set_levels: HeldLevels
) -> dict[str, Any]:
    """Return the network of bases as plain values: nodes with level and sd, ties with residuals.

    The first node is the datum unless a person set its level. Levels that a person set are used
    as they are; what the ties alone would say stands beside them.
    """
    free = _free(nodes, ties)
    held = dict(set_levels)
    if nodes:
        held.setdefault(nodes[0], 0.0)
    used = _held_network(nodes, ties, held)
    raised = _raised(used)
    levels = _levels(nodes, used, held, raised)
    loose = _loose_levels([node for node in nodes if node not in levels], ties)
    told = _told(nodes, free, held)
    rows = [
        _node_row(node, (levels | loose)[node], told[node], _basis(node, nodes, set_levels, loose))
        for node in nodes
    ]
    return {
        "datum": _datum_words(nodes, set_levels),
        "nodes": rows,
        "ties": [_tie_row(place, tie, ties, held, used) for place, tie in enumerate(ties)],
        "chi_square": None if used is None else _plain(used.chi_square),
        "freedom": 0 if used is None else used.freedom,
        "probability": None if used is None else _plain(used.probability),
        "raised": _plain(raised),
    }


def _free(nodes: Sequence[str], ties: Sequence[NamedTie]) -> DatumNetwork | None:
    """Return the network of the ties alone, the first node its datum."""
    if not ties:
        return None
    return adjust_network(
        [tie.first for tie in ties],
        [tie.second for tie in ties],
        [tie.tie.difference_nT for tie in ties],
        [tie.tie.sd_nT for tie in ties],
        fixed=nodes[0],
        nodes=nodes,
    )


def _held_network(
    nodes: Sequence[str], ties: Sequence[NamedTie], held: HeldLevels
) -> DatumNetwork | None:
    """Return the network in which all held nodes are one, their levels taken off the ties."""
    open_ties = [tie for tie in ties if not {tie.first, tie.second} <= held.keys()]
    if not open_ties:
        return None
    return _free(
        [HELD, *(node for node in nodes if node not in held)],
        [
            NamedTie(
                HELD if tie.first in held else tie.first,
                HELD if tie.second in held else tie.second,
                tie.kind,
                replace(
                    tie.tie,
                    difference_nT=tie.tie.difference_nT
                    + held.get(tie.first, 0.0)
                    - held.get(tie.second, 0.0),
                ),
            )
            for tie in open_ties
        ],
    )


def _raised(used: DatumNetwork | None) -> float:
    """Return by how much errors are raised where ties contradict each other."""
    if used is None or not used.probability < CONTRADICTION:
        return 1.0
    return float(np.sqrt(used.variance_factor))


def _levels(
    nodes: Sequence[str], used: DatumNetwork | None, held: HeldLevels, raised: float
) -> dict[str, tuple[float, float]]:
    """Return level and sd of each node that is held or tied."""
    levels = {node: (held[node], 0.0) for node in nodes if node in held}
    if used is not None:
        for node, level, sd in zip(used.nodes, used.offset_nT, used.sd_nT, strict=True):
            if node != HELD and np.isfinite(level):
                levels[str(node)] = (float(level), float(sd) * raised)
    return levels


def _loose_levels(loose: Sequence[str], ties: Sequence[NamedTie]) -> dict[str, tuple[float, float]]:
    """Return the levels of nodes without a way to the datum: of each group its first one is 0."""
    left = list(loose)
    found: dict[str, tuple[float, float]] = {}
    while left:
        inside = _free(left, [tie for tie in ties if {tie.first, tie.second} <= set(left)])
        own = {left[0]: (0.0, 0.0)} if inside is None else _levels(left, inside, {}, 1.0)
        found |= own
        left = [node for node in left if node not in own]
    return found


def _told(
    nodes: Sequence[str], free: DatumNetwork | None, held: HeldLevels
) -> dict[str, tuple[float, float]]:
    """Return what the ties alone say of the level of each node, with sd; NaN where nothing."""
    told = dict.fromkeys(nodes, (np.nan, np.nan))
    for node in nodes[1:] if free is not None else ():
        assert free is not None
        level, sd = free.between(nodes[0], node)
        told[node] = (level + held[nodes[0]], sd)
    return told


def _basis(
    node: str, nodes: Sequence[str], set_levels: HeldLevels, loose: Mapping[str, object]
) -> str:
    """Return what the level of a node rests on."""
    if node in set_levels:
        return "site tie"
    if node in loose:
        return "nothing"
    return "it is the datum" if node == nodes[0] else "ties"


def _node_row(
    node: str, level: tuple[float, float], told: tuple[float, float], basis: str
) -> dict[str, Any]:
    """Return what is known of a node."""
    return {
        "node": node,
        "level_nT": _plain(level[0]),
        "sd_nT": _plain(level[1]),
        "rests_on": basis,
        "network_level_nT": _plain(told[0]),
        "network_sd_nT": _plain(told[1]),
    }


def _tie_row(
    place: int,
    tie: NamedTie,
    ties: Sequence[NamedTie],
    held: HeldLevels,
    used: DatumNetwork | None,
) -> dict[str, Any]:
    """Return a tie with how it agrees with the others."""
    row: dict[str, Any] = {
        "first": tie.first,
        "second": tie.second,
        "kind": tie.kind,
        "count": tie.tie.count,
        "difference_nT": _plain(tie.tie.difference_nT),
        "sd_nT": _plain(tie.tie.sd_nT),
    }
    empty = dict.fromkeys(("redundancy", "standardised", "detectable_nT"))
    if used is None or {tie.first, tie.second} <= held.keys():
        rest = tie.tie.difference_nT - held.get(tie.second, 0.0) + held.get(tie.first, 0.0)
        return row | empty | {"residual_nT": _plain(rest), "suspect": False}
    number = sum(not {t.first, t.second} <= held.keys() for t in ties[:place])
    names = ("residual_nT", *empty)
    return (
        row
        | {name: _plain(float(getattr(used, name)[number])) for name in names}
        | {"suspect": number in used.suspects}
    )


def _datum_words(nodes: Sequence[str], set_levels: HeldLevels) -> str:
    """Return what the levels count from."""
    if not nodes:
        return "no base"
    return "the site ties that were set" if nodes[0] in set_levels else nodes[0]


def _plain(value: float) -> float | None:
    """Return a number that a document can hold."""
    return round(float(value), 4) + 0.0 if np.isfinite(value) else None
