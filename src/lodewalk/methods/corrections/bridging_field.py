"""Kriging of a record into a gap, with the covariance of the error."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.linalg import solve

from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.bridging_structure import Gap, Record, Structure
from lodewalk.validation import FloatArray

#: Record on each side that is kriged from, in lengths of the gap, and in how many readings.
SIDE_KRIGED: Final = 2.0
READINGS_KRIGED: Final = 40


@dataclass(frozen=True)
class Estimate:
    """A field at some times, with the covariance of its error.

    Parameters
    ----------
    value_nT : float array, shape (n,)
        Estimate [nT].
    covariance_nT2 : float array, shape (n, n)
        Of its error [nT^2].
    """

    value_nT: FloatArray
    covariance_nT2: FloatArray


@dataclass(frozen=True)
class Weights:
    """Estimates as weighted readings.

    Parameters
    ----------
    known : Record
        The readings, n_known of them.
    share : float array, shape (n, n_known)
        Weights; those of an estimate add up to one.
    """

    known: Record
    share: FloatArray

    def of(self, value_nT: FloatArray) -> FloatArray:
        """Return the weighted values [nT]; from one value up, so that no digits are lost."""
        weighted: FloatArray = value_nT[0] + self.share @ (value_nT - value_nT[0])
        return weighted


def kriged(
    sides: Record, gap: Gap, at_s: FloatArray, *, structure: Structure, line_share: float
) -> tuple[Weights, FloatArray]:
    """Return weights for the field in a gap, and the covariance (n, n) of the error [nT^2].

    `line_share` of the weights are those of the straight line across the gap, the rest those of
    the best unbiased estimate. The error is that against the field, noise left out.
    """
    known = sides.part(_readings_to_krige(sides, gap))
    # beyond a single side the last level holds on: a slope that goes on is mostly a wrong one
    reached_s = np.clip(at_s, known.time_s[0], known.time_s[-1])
    share = (1 - line_share) * _kriging_weights(structure, known.time_s, reached_s)
    if line_share > 0:
        share += line_share * _line_weights(known.time_s, at_s, gap)
    weights = Weights(known, share)
    return weights, _error_covariance(structure, weights, at_s)


def _readings_to_krige(sides: Record, gap: Gap) -> IntArray:
    """Return the index of readings on the sides, dense near the gap and rare far away."""
    shortest = nominal_interval(sides.time_s)
    farthest = max(SIDE_KRIGED * gap.length_s, 2 * shortest)
    away = np.concatenate(([0.0], np.geomspace(shortest, farthest, READINGS_KRIGED)))
    before = np.searchsorted(sides.time_s, gap.start_s - away, side="right") - 1
    after = np.searchsorted(sides.time_s, gap.end_s + away, side="left")
    chosen: IntArray = np.unique(np.concatenate((before, after)))
    return chosen[(chosen >= 0) & (chosen < sides.time_s.size)]


def _line_weights(known_s: FloatArray, at_s: FloatArray, gap: Gap) -> FloatArray:
    """Return the weights of the straight line between the two readings beside the gap."""
    before = np.searchsorted(known_s, gap.start_s, side="right") - 1
    weights = np.zeros((at_s.size, known_s.size))
    weights[:, before + 1] = (at_s - known_s[before]) / (known_s[before + 1] - known_s[before])
    weights[:, before] = 1 - weights[:, before + 1]
    return weights


def _kriging_weights(structure: Structure, known_s: FloatArray, at_s: FloatArray) -> FloatArray:
    """Return the weights of the best linear unbiased estimate with an unknown level."""
    n = known_s.size
    system = np.zeros((n + 1, n + 1))
    system[:n, :n] = -structure.between(known_s, known_s)
    system[range(n), range(n)] += structure.weights_nT2[0]
    scale = float(np.abs(system).max()) or 1.0
    system[:n, :n] /= scale
    system[:n, n] = system[n, :n] = 1.0
    right = np.ones((n + 1, at_s.size))
    right[:n] = -structure.between(known_s, at_s) / scale
    weights: FloatArray = solve(system, right, assume_a="sym")[:n].T
    return weights


def _error_covariance(structure: Structure, weights: Weights, at_s: FloatArray) -> FloatArray:
    """Return the covariance of the error of weighted readings, whatever the weights."""
    known_s, share = weights.known.time_s, weights.share
    known = -structure.between(known_s, known_s)
    known[range(known_s.size), range(known_s.size)] += structure.weights_nT2[0]
    cross = share @ structure.between(known_s, at_s)
    covariance = share @ known @ share.T + cross + cross.T - structure.between(at_s, at_s)
    symmetric: FloatArray = (covariance + covariance.T) / 2
    return symmetric
