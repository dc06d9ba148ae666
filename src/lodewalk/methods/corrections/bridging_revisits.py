"""Revisits: what readings twice at one place tell of the field in a gap of the base."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.corrections.bridging_field import Estimate
from lodewalk.methods.corrections.bridging_structure import Record
from lodewalk.methods.corrections.bridging_ways import Way
from lodewalk.validation import FloatArray, check_same_length

#: Degrees of freedom of the heavy-tailed noise of a revisit, and rounds of reweighting.
FREEDOM: Final = 4.0
ROUNDS: Final = 8

#: Roughness of the field in the gap over that on its sides: sd of its natural logarithm, as a
#: factor of the variance, and the factors that are tried.
LOG_SPREAD: Final = 1.0
FACTORS: Final = np.geomspace(1 / 16, 64, 41)


#: Revisits with both readings beside the gap that tell the noise of them all, at least.
ENOUGH_BESIDE: Final = 5

#: Median of the square of a standard normal number.
MEDIAN_SQUARE: Final = 0.4549


@dataclass(frozen=True)
class Revisits:
    """Rover readings twice at one place: crossings, repeat lines, check stations.

    Parameters
    ----------
    first_s, second_s : array, shape (n,)
        Times of the two readings [s].
    difference_nT : array, shape (n,)
        Raw first reading less raw second one [nT]; NaN where missing.
    sd_nT : array, shape (n,), or float, optional
        Noise sd of the difference, error of position included [nT]. Without it, the revisits with
        both readings beside the gap tell one for all.
    """

    first_s: ArrayLike
    second_s: ArrayLike
    difference_nT: ArrayLike
    sd_nT: ArrayLike | None = None


@dataclass(frozen=True)
class Seen:
    """Differences of the field, seen by a rover.

    Parameters
    ----------
    rows : float array, shape (n_pairs, n)
        What each makes of the field at the times of the estimate.
    difference_nT : float array, shape (n_pairs,)
        The differences, what the record knows of them taken away [nT].
    variance_nT2 : float array, shape (n_pairs,)
        Of their noise [nT^2].
    """

    rows: FloatArray
    difference_nT: FloatArray
    variance_nT2: FloatArray


def with_revisits(prior: Estimate, seen: Seen) -> Estimate:
    """Return the estimate after the revisits were heard.

    The field less the prior value is a Gaussian function of the prior covariance times one
    unknown factor, the roughness in the gap over that on its sides; the noise of the revisits has
    Student's distribution of four degrees of freedom. Noise by reweighting, factor by its
    posterior on a grid.
    """
    root = _square_root(prior.covariance_nT2)
    rows = seen.rows @ root
    misfit = seen.difference_nT - seen.rows @ prior.value_nT
    weight = _first_weights(misfit**2 / ((rows**2).sum(axis=1) + seen.variance_nT2))
    for _ in range(ROUNDS):
        shift, spread = _posterior(rows, misfit, weight / seen.variance_nT2)
        left = (misfit - rows @ shift) ** 2 + np.einsum("ij,jk,ik->i", rows, spread, rows)
        weight = (FREEDOM + 1) / (FREEDOM + left / seen.variance_nT2)
    return Estimate(prior.value_nT + root @ shift, root @ spread @ root.T)


def _first_weights(square: FloatArray) -> FloatArray:
    """Return weights from squared misfits of the prior, each over what is expected of it.

    Their median tells how rough the gap is, so that a storm that all see isn't taken for noise.
    """
    usual = max(float(np.median(square)) / MEDIAN_SQUARE, 1.0)
    weights: FloatArray = (FREEDOM + 1) / (FREEDOM + square / usual)
    return weights


def _square_root(covariance: FloatArray) -> FloatArray:
    """Return a matrix whose square, with its transpose, is the covariance."""
    size, axes = np.linalg.eigh(covariance)
    kept = size > 1e-10 * size[-1]
    root: FloatArray = axes[:, kept] * np.sqrt(size[kept])
    return root


def _posterior(
    rows: FloatArray, misfit: FloatArray, precision: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of white coordinates, over all factors of roughness."""
    size, axes = np.linalg.eigh(rows.T @ (precision[:, None] * rows))
    along = axes.T @ (rows.T @ (precision * misfit))
    gain = FACTORS[:, None] / (1 + FACTORS[:, None] * np.maximum(size, 0.0))
    log = 0.5 * (gain * along**2).sum(axis=1)
    log -= 0.5 * np.log1p(FACTORS[:, None] * np.maximum(size, 0.0)).sum(axis=1)
    log -= 0.5 * (np.log(FACTORS) / LOG_SPREAD) ** 2
    odds = np.exp(log - log.max())
    odds /= odds.sum()
    means = gain * along
    mean = odds @ means
    departure = (means - mean) * np.sqrt(odds)[:, None]
    spread = np.diag(odds @ gain) + departure.T @ departure
    return axes @ mean, axes @ spread @ axes.T


def hear_revisits(
    revisits: Revisits | None,
    *,
    sides: Record,
    nodes_s: FloatArray,
    way: Way,
    base_noise_nT: float,
) -> tuple[Way, int, float]:
    """Return the way with the revisits heard, how many were, and the scale of their noise."""
    if revisits is None:
        return way, 0, float("nan")
    first, second, difference, sd = _checked(revisits)
    variance = np.ones(first.size) if sd is None else sd**2
    rows, left = np.zeros((first.size, nodes_s.size)), difference.copy()
    extra = np.zeros(first.size)
    for time, sign in ((first, 1.0), (second, -1.0)):
        leg, known, error = _leg(time, sides, nodes_s, way, base_noise_nT)
        rows += sign * leg
        left -= sign * known
        extra = extra + error
    usable = np.isfinite(left)
    beside = usable & ~rows.any(axis=1)
    scale = _noise_scale(left[beside], (variance + extra)[beside], stated=sd is not None)
    usable &= rows.any(axis=1) & ~rows[:, ~way.covered].any(axis=1)
    if not usable.any():
        return way, 0, scale
    seen = Seen(
        rows[np.ix_(usable, way.covered)], left[usable], (scale**2 * variance + extra)[usable]
    )
    heard = replace(way, estimate=with_revisits(way.estimate, seen))
    return heard, int(usable.sum()), scale


def _checked(
    revisits: Revisits,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray | None]:
    """Return times, differences and sd as arrays, checked."""
    first, second, difference = (
        np.atleast_1d(np.asarray(array, dtype=np.float64))
        for array in (revisits.first_s, revisits.second_s, revisits.difference_nT)
    )
    check_same_length(first_s=first, second_s=second, difference_nT=difference)
    if revisits.sd_nT is None:
        return first, second, difference, None
    sd = np.asarray(revisits.sd_nT, dtype=np.float64)
    if sd.ndim:
        check_same_length(first_s=first, sd_nT=sd)
    sd = np.broadcast_to(sd, first.shape)
    if not ((sd > 0) & np.isfinite(sd)).all():
        raise InputError("sd_nT of the revisits must be above zero.", value=float(np.min(sd)))
    return first, second, difference, sd


def _leg(
    time_s: FloatArray, sides: Record, nodes_s: FloatArray, way: Way, base_noise_nT: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return, for one reading of each pair, its row, what the record knows, and its error.

    Known is zero for a reading in the gap, and NaN where neither record nor nodes reach.
    """
    inside = (time_s > nodes_s[0]) & (time_s < nodes_s[-1])
    step = nodes_s[1] - nodes_s[0]
    before = np.clip((time_s - nodes_s[0]) / step, 0, nodes_s.size - 2)
    before = np.nan_to_num(before).astype(np.int64)
    share = np.where(inside, (time_s - nodes_s[before]) / step, 0.0)
    rows = np.zeros((time_s.size, nodes_s.size))
    pair = np.arange(time_s.size)
    rows[pair, before] = np.where(inside, 1 - share, 0.0)
    rows[pair, before + 1] = share
    bend = 4 * share * (1 - share) * way.structure.chord_error(step) + way.noise_nT2
    known = np.where(inside, 0.0, sides.at(time_s))
    return rows, known, np.where(inside, bend, base_noise_nT**2)


def _noise_scale(left_nT: FloatArray, variance_nT2: FloatArray, *, stated: bool) -> float:
    """Return by how much the noise is larger than stated, from pairs that the base knows."""
    if left_nT.size < ENOUGH_BESIDE:
        if stated:
            return 1.0
        raise InputError(
            f"Revisits need sd_nT, or at least {ENOUGH_BESIDE} pairs beside the gap.",
            value=f"{left_nT.size} pairs",
            remedy="State the noise of a difference.",
        )
    scale = float(np.sqrt(np.median(left_nT**2 / variance_nT2) / MEDIAN_SQUARE))
    return max(scale, 1.0) if stated else scale
