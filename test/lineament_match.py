"""How traced lineaments match the dykes of a swarm: tolerances stated before any trial.

A traced place is right when a dyke's line lies within half a line spacing and their strikes
differ by at most 10 degrees there; likewise a place of a dyke is found. Only the part of a dyke
under the survey counts. A lineament is right when at least half of its length is, a piece of a
dyke is found when at least half of its length is.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

DISTANCE, STRIKE_DEG, SHARE = 0.5, 10.0, 0.5
STEP_M = 2.0


@dataclass(frozen=True)
class Match:
    """Lengths [m] and numbers of what was traced and what there is."""

    traced_m: float
    right_m: float
    true_m: float
    found_m: float
    traced: int
    right: int
    true: int
    found: int


def along(place):
    """Return places each 2 m along a way, and its directions there [deg]."""
    place = np.asarray(place, dtype=float)
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(place, axis=0).T))])
    at = np.arange(0.0, length[-1] + 1e-9, STEP_M)
    dense = np.column_stack([np.interp(at, length, place[:, k]) for k in (0, 1)])
    step = np.diff(place, axis=0)
    turn = np.degrees(np.arctan2(step[:, 0], step[:, 1])) % 180
    return dense, turn[np.clip(np.searchsorted(length, at, side="right") - 1, 0, turn.size - 1)]


def inside(piece, side):
    """Return the part of a piece under the survey as two ends, or None."""
    dense, _ = along(piece.ends)
    kept = dense[((dense >= 0) & (dense <= side)).all(axis=1)]
    return kept[[0, -1]] if kept.shape[0] > 1 else None


def agree(here, there, reach):
    """Tell which of some places lie beside others that run alike."""
    if not there:
        return [np.zeros(len(place), dtype=bool) for place, _ in here]
    places, turns = (np.concatenate(parts) for parts in zip(*there, strict=True))
    tree = cKDTree(places)
    told = []
    for place, turn in here:
        near = tree.query_ball_point(place, reach)
        told.append(
            np.array(
                [
                    bool(np.any(np.abs((turns[near_] - t + 90) % 180 - 90) <= STRIKE_DEG))
                    for near_, t in zip(near, turn, strict=True)
                ]
            )
        )
    return told


def smoothed(place, count=5):
    """Return corners whose directions are taken over a few corners, as a reader sees them."""
    place = np.asarray(place)
    step = max(len(place) // max(len(place) // count, 1), 1)
    kept = place[::step]
    return np.vstack([kept, place[-1:]]) if not np.array_equal(kept[-1], place[-1]) else kept


def match(world, traced, spacing, least_m):
    """Return how ways (arrays of easting and northing) match the pieces of a swarm.

    Pieces with less than `least_m` under the survey are not asked for.
    """
    visible = [part for piece in world.pieces if (part := inside(piece, world.side)) is not None]
    asked = [p for p in visible if np.hypot(*(p[1] - p[0])) >= least_m]
    truth, mine = [along(p) for p in visible], [along(smoothed(way)) for way in traced]
    reach = DISTANCE * spacing
    right = agree(mine, truth, reach)
    found = agree([along(p) for p in asked], mine, reach)
    return Match(
        STEP_M * sum(r.size for r in right),
        STEP_M * sum(r.sum() for r in right),
        STEP_M * sum(r.size for r in found),
        STEP_M * sum(r.sum() for r in found),
        len(mine),
        sum(r.mean() >= SHARE for r in right),
        len(asked),
        sum(r.mean() >= SHARE for r in found),
    )


def scores(matches):
    """Return precision, recall and F1 by number, and F1 by length."""
    total = np.sum([list(vars(m).values()) for m in matches], axis=0)
    traced_m, right_m, true_m, found_m, traced, right, true, found = total
    precision, recall = right / max(traced, 1), found / max(true, 1)
    share, cover = right_m / max(traced_m, 1), found_m / max(true_m, 1)
    return (
        precision,
        recall,
        2 * precision * recall / max(precision + recall, 1e-9),
        2 * share * cover / max(share + cover, 1e-9),
    )
