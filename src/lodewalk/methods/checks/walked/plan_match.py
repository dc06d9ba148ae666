"""How well a walk fits planned lines when it is shifted: matching, small rest, evidence."""

from typing import Final, NamedTuple

import numpy as np

from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.corrections.corners import walked_nodes
from lodewalk.methods.corrections.plan_lines import headings, nearest_leg, plan_legs
from lodewalk.validation import FloatArray

#: Distance between nodes of the walk, and that at which two of them tell independent things [m].
NODE_M: Final = 10.0
INDEPENDENT_M: Final = 50.0

#: Farthest that a node may lie off a line, and beyond its end, to be explained by it [m].
REACH_M: Final = 15.0

#: Cosine of the largest angle between a straight part and its line: 30 degrees.
MIN_COSINE: Final = float(np.cos(np.pi / 6))

#: Share of nodes that no line explains, and the width over which those may lie [m].
STRAY: Final = 0.2
STRAY_WIDTH_M: Final = 100.0

#: Shortest straight part whose ends and middle are tried against lines [m].
SHORTEST_M: Final = 40.0

#: Farthest shift without a name, and how many are tried after a vote in cells of this size [m].
FARTHEST_M: Final = 1000.0
MOST_TRIED: Final = 100
CELL_M: Final = 5.0

#: Nodes used while shifts are tried.
MOST_NODES: Final = 400
ROUNDS: Final = 6


class Prior(NamedTuple):
    """Sd of one axis of the small shift that may remain, and the part that fixes have [m]."""

    accuracy_m: float
    fix_sd_m: float


class Match(NamedTuple):
    """Shift that remains [m], its sd on each axis [m], and the log evidence."""

    rest_m: FloatArray
    sd_m: FloatArray
    log_evidence: float


class Walk(NamedTuple):
    """Nodes of the straight parts of a walk and unit vectors of walking, both of shape (n, 2)."""

    node: FloatArray
    heading: FloatArray


def straight_nodes(place: FloatArray) -> Walk:
    """Return nodes of a walk whose places, shape (n, 2), stand in the order walked."""
    if len(place) < 2:
        return Walk(np.empty((0, 2)), np.empty((0, 2)))
    nodes = walked_nodes(*place.T, step_m=NODE_M)
    heading = headings(place, 3 * NODE_M)[nodes]
    known = np.isfinite(heading).all(axis=1)
    return Walk(place[nodes][known], heading[known])


class PlanMatch:
    """Nodes of a walk, and the planned lines that they are laid on.

    Parameters
    ----------
    walk : Walk
        Nodes of the walk; the same ones under every explanation, so that their evidence compares.
    lines : list of arrays, shape (m, 2)
        Vertices of the planned lines [m].
    off_line_sd_m : float
        Sd of a node's distance off its line [m].
    scale : float
        Length here of a metre of the coordinates as recorded.
    """

    def __init__(
        self, walk: Walk, lines: list[FloatArray], off_line_sd_m: float, *, scale: float = 1.0
    ) -> None:
        self._node, self._heading = walk
        self._lines, self._sd, self._scale = lines, off_line_sd_m, scale
        self._legs = plan_legs(lines, REACH_M)

    @property
    def usable(self) -> bool:
        """Whether there is a plan and enough of a walk."""
        return bool(self._lines) and len(self._node) * NODE_M >= 2 * INDEPENDENT_M

    def evidence(self, shift: FloatArray, prior: Prior, *, step: int = 1) -> Match:
        """Return how well the walk, less a shift, lies on the lines."""
        node, heading = self._node[::step] - shift, self._heading[::step]
        weight = NODE_M * step / INDEPENDENT_M
        rest, precision = np.zeros(2), np.eye(2) / prior.accuracy_m**2
        for _ in range(ROUNDS):
            normal, off = self._offsets(node - rest, heading)
            near = np.exp(-0.5 * (off / self._sd) ** 2) / (np.sqrt(2 * np.pi) * self._sd)
            near = near * self._scale  # a density in recorded metres
            density = (1 - STRAY) * near + STRAY / STRAY_WIDTH_M
            share = weight * (1 - STRAY) * near / density / self._sd**2
            told = (normal * share[:, np.newaxis]).T @ normal
            pull = normal.T @ (share * off)
            step_by = np.linalg.solve(told + precision, pull - precision @ rest)
            rest = rest + step_by
            if np.hypot(*step_by) < 0.01:
                break
        log_likelihood = weight * float(np.sum(np.log(density)))
        log_prior = -0.5 * rest @ precision @ rest - np.log(2 * np.pi * prior.accuracy_m**2)
        volume = np.log(2 * np.pi) - 0.5 * np.log(np.linalg.det(told + precision))
        sd = _sd_of(told, prior)
        return Match(rest, sd, float(log_likelihood + log_prior + volume))

    def best_free(self, prior: Prior) -> tuple[Match, FloatArray]:
        """Return the best fit of a shift of any size, and the shift that it starts from."""
        step = max(1, len(self._node) // MOST_NODES)
        tried = self._shifts()
        found = [self.evidence(shift, prior, step=step).log_evidence for shift in tried]
        best = tried[int(np.argmax(found))]
        return self.evidence(best, prior), best

    def _offsets(self, node: FloatArray, heading: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the unit vector to the right of the nearest line and the distance off it.

        The distance is infinite where no line explains a node.
        """
        any_line = np.full(len(node), -2, dtype=np.int64)
        index, off, along = nearest_leg(node, heading, any_line, MIN_COSINE, REACH_M, *self._legs)
        legs, bounds, _ = self._legs
        normal = np.zeros(node.shape)
        found = index >= 0
        leg = _leg_at(legs, bounds, index[found], along[found])
        normal[found] = np.column_stack([leg[:, 3], -leg[:, 2]])
        return normal, np.where(found, off, 1e3)

    def _shifts(self) -> FloatArray:
        """Return shifts worth trying: ends and middles of straight parts on those of lines."""
        parts = self._straight_parts()
        tried = []
        for line in self._lines:
            ends = np.stack([line[0], line[-1]])
            way = ends[1] - ends[0]
            length = np.hypot(*way)
            if length == 0:
                continue
            for part in parts:
                own = part[1] - part[0]
                cosine = (own @ way) / (length * np.hypot(*own))
                if abs(cosine) < MIN_COSINE:
                    continue
                first, last = part if cosine > 0 else part[::-1]
                tried += [first - ends[0], last - ends[1], (first + last - ends.sum(axis=0)) / 2]
        shifts = np.array([*tried, np.zeros(2)]).reshape(-1, 2)
        shifts = shifts[np.hypot(*shifts.T) <= FARTHEST_M]
        cell, votes = np.unique(np.round(shifts / CELL_M), axis=0, return_counts=True)
        most: FloatArray = cell[np.argsort(-votes, kind="stable")[:MOST_TRIED]] * CELL_M
        return most

    def _straight_parts(self) -> list[FloatArray]:
        """Return the two ends of each part of the walk that keeps its heading."""
        turn = np.sum(self._heading[1:] * self._heading[:-1], axis=1) < MIN_COSINE
        apart = np.hypot(*np.diff(self._node, axis=0).T) > 5 * NODE_M
        cuts = np.flatnonzero(turn | apart) + 1
        parts = [part[[0, -1]] for part in np.split(self._node, cuts) if len(part)]
        return [part for part in parts if np.hypot(*(part[1] - part[0])) >= SHORTEST_M]


def _leg_at(legs: FloatArray, bounds: IntArray, line: IntArray, along: FloatArray) -> FloatArray:
    """Return the leg of each line at a distance along it."""
    at = bounds[line]
    more = np.ones(line.size, dtype=bool)
    while more.any():
        more = (at + 1 < bounds[line + 1]) & (along > legs[at, 5] + legs[at, 4])
        at = at + more
    return legs[at]


def _sd_of(told: FloatArray, prior: Prior) -> FloatArray:
    """Return the sd of each axis by what the lines tell; infinite where they tell nothing."""
    value, vector = np.linalg.eigh(told)
    known = value > 1e-6 * max(float(value.max()), 1e-12)
    variance = np.where(known, 1 / np.where(known, value, 1.0), np.inf)
    part = np.where(np.abs(vector) > 1e-6, vector**2, 0.0)
    with np.errstate(invalid="ignore"):
        square = np.nansum(np.where(part > 0, part * variance, 0.0), axis=1)
    sd: FloatArray = np.sqrt(square + prior.fix_sd_m**2)
    return sd
