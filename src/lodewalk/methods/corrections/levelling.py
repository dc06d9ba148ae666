"""Levelling: what each passage of a line is off by, from the crossings, and what stays open."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from lodewalk.errors import InputError
from lodewalk.methods.corrections.levelling_fit import Design, robust_fit
from lodewalk.methods.corrections.levelling_model import (
    IntArray,
    LevelPrior,
    LineTies,
    Passages,
)
from lodewalk.validation import FloatArray, check_same_length

#: A combination of corrections is open where crossings tell less of it than the prior does.
OPEN_BELOW: Final = 1.0
#: Crossings tell nothing of a combination whose information is this share of the largest.
NOTHING: Final = 1e-10
#: A correction has no sd from crossings alone where this share of it is in such a combination.
TOUCHES: Final = 1e-6
#: Smallest sd of a crossing that is told apart from 0, over the sd of a constant.
LEAST_SD: Final = 3e-7


@dataclass(frozen=True)
class Levelling:
    """Corrections of all passages; see `level_lines`.

    Parameters
    ----------
    level_nT : array, shape (n,)
        Correction of each reading, to be taken off [nT]; NaN off lines.
    sd_nT : array, shape (n,)
        Its standard deviation [nT]; NaN likewise.
    passages : Passages
        The passages, in the order of the arrays below.
    coefficient : array, shape (p, q)
        Terms of each passage: constant [nT], drift [nT per unit along], bends [nT].
    covariance : array, shape (p q, p q)
        Their covariance, passage by passage.
    crossings : int array, shape (p,)
        Number of crossings of each passage that count (weight above one half).
    sd_crossings_alone : array, shape (p, q)
        Standard deviation of each term from the crossings without the prior, up to the common
        constant; infinite where they don't determine it.
    open_nT : array, shape (p,)
        Part of each passage's constant that lies in combinations of which the crossings tell
        less than the prior: it can't be told from geology along the lines [nT].
    open_sd_nT : array, shape (p,)
        Standard deviation of that part [nT]; the size of what crossings can't show.
    groups : int
        Groups of passages that crossings join; more than one means that the levels of the groups
        against each other are open.
    alone : int array
        Numbers of the passages without a crossing: correction 0, sd of the prior.
    residual_nT : array, shape (m,)
        Difference at each crossing after levelling [nT].
    standardised : array, shape (m,)
        Difference of each crossing from what all the others say, over the sd of that.
    foretold_sd_nT : array, shape (m,)
        That sd [nT].
    weight : array, shape (m,)
        Robust weight of each crossing; 0 for one that doesn't count.
    scale : float
        Factor by which the stated sd of crossings were too small; 1 or above.
    converged : bool
        Whether the weights settled.
    iterations : int
        Number of solutions.
    orders : tuple of int
        Order of each term: 0 constant, 1 drift, 2 and more bends.
    common : str
        What the common constant is, which no crossing can tell.
    """

    level_nT: FloatArray
    sd_nT: FloatArray
    passages: Passages
    coefficient: FloatArray
    covariance: FloatArray
    crossings: IntArray
    sd_crossings_alone: FloatArray
    open_nT: FloatArray
    open_sd_nT: FloatArray
    groups: int
    alone: IntArray
    residual_nT: FloatArray
    standardised: FloatArray
    foretold_sd_nT: FloatArray
    weight: FloatArray
    scale: float
    converged: bool
    iterations: int
    orders: tuple[int, ...]
    common: str = "the mean over all readings of joined lines is set to zero, weighted by readings"

    def at(self, passage: ArrayLike, along: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Return correction and its sd at places on passages [nT]; NaN on unknown passages."""
        place = np.atleast_1d(np.asarray(along, dtype=float))
        index = self.passages.index(np.atleast_1d(np.asarray(passage, dtype=np.int64)))
        known = (index >= 0) & np.isfinite(place)
        level, sd = np.full(place.size, np.nan), np.full(place.size, np.nan)
        basis = self.passages.basis(index[known], place[known], self.orders)
        blocks = _blocks(self.covariance, self.passages.number.size)[index[known]]
        level[known] = np.einsum("ij,ij->i", basis, self.coefficient[index[known]])
        variance = np.einsum("ij,ijk,ik->i", basis, blocks, basis)
        sd[known] = np.sqrt(np.maximum(variance, 0.0))
        return level, sd


def level_lines(
    passage: ArrayLike, along: ArrayLike, ties: LineTies, *, prior: LevelPrior
) -> Levelling:
    """Adjust what each passage is off by so that lines agree where they cross.

    Parameters
    ----------
    passage : int array, shape (n,)
        Number of the passage of each reading; below 0 off lines.
    along : array, shape (n,)
        Coordinate in which drift counts: time [h] or distance [m].
    ties : LineTies
        Crossings, or other places that two passages share. There may be none.
    prior : LevelPrior
        Plausible size of each term.

    Returns
    -------
    Levelling

    Raises
    ------
    InputError
        When lengths differ, no reading is on a line, or a crossing names an unknown passage or a
        passage twice.

    Notes
    -----
    The correction of passage p is ``c_p(s) = a_p + b_p (s - mean) + ...``; a crossing gives ``d =
    c_p(s) - c_q(t)`` with its sd, and each coefficient is zero give or take the prior's sd. The
    solution is the weighted least-squares one (mean and covariance of the posterior), reweighted
    for outliers (Huber, then bisquare) by each crossing's difference from what the others say.

    A constant added to all lines changes no crossing, so the correction is made to have mean zero
    over the readings of joined lines. A passage without a crossing keeps correction 0 and the
    prior's sd, which counts from the same zero.

    With constant and drift on lines and tie lines at right angles, a plane and a twist change no
    crossing either. These, and whatever else the eigenvalues of the crossings' information (in
    units of the prior) leave below 1, are the open part. Without tie lines all is open, and
    geology along the lines can't be told from the level of a line.

    References
    ----------
    .. [1] Huber, P. J. (1981), Robust Statistics, Wiley, doi:10.1002/0471725250.
    .. [2] Tarantola, A. (2005), Inverse Problem Theory, SIAM, section 3.2,
       doi:10.1137/1.9780898717921.

    Examples
    --------
    Two lines cross two tie lines; the second line is 4 nT too high:

    >>> ties = LineTies(np.array([0, 0, 1, 1]), np.array([1.0, 3.0, 1.0, 3.0]),
    ...                 np.array([2, 3, 2, 3]), np.array([1.0, 1.0, 3.0, 3.0]),
    ...                 np.array([0.0, 0.0, 4.0, 4.0]), np.full(4, 0.01))
    >>> found = level_lines(np.repeat([0, 1, 2, 3], 5), np.tile(np.arange(5.0), 4), ties,
    ...                     prior=LevelPrior(5.0))
    >>> (found.coefficient[:2, 0] - found.coefficient[2, 0]).round(2).tolist()
    [0.0, 4.0]
    """
    check_same_length(passage=passage, along=along)
    number = np.atleast_1d(np.asarray(passage, dtype=np.int64))
    place = np.atleast_1d(np.asarray(along, dtype=float))
    passages = Passages.of(number, place)
    ends = _ends(passages, ties)
    sd_nT = np.maximum(ties.sd_nT, LEAST_SD * prior.constant_nT)
    design = _design(passages, replace(ties, sd_nT=sd_nT), ends, prior)
    fit = robust_fit(design, ties.difference_nT / sd_nT)
    groups, alone = _groups(passages.number.size, ends)
    gauge = _gauge(passages, alone, prior)
    unit = np.tile(prior.sd, passages.number.size)
    shape = (passages.number.size, prior.terms)
    coefficient = (gauge @ (unit * fit.solution)).reshape(shape)
    covariance = gauge @ (unit[:, None] * fit.covariance * unit) @ gauge.T
    information, vectors = np.linalg.eigh(fit.information)
    alone_sd = _crossings_alone(information, vectors, gauge * unit)
    open_part, open_sd = _open_part(fit.solution, information, vectors, gauge * unit)
    found = Levelling(
        level_nT=np.empty(0),
        sd_nT=np.empty(0),
        passages=passages,
        coefficient=coefficient,
        covariance=covariance,
        crossings=np.bincount(ends[:, fit.weight > 0.5].ravel(), minlength=shape[0]),
        sd_crossings_alone=alone_sd.reshape(shape),
        open_nT=open_part.reshape(shape)[:, 0],
        open_sd_nT=open_sd.reshape(shape)[:, 0],
        groups=groups,
        alone=passages.number[alone],
        residual_nT=ties.difference_nT - sd_nT * (design @ fit.solution),
        standardised=fit.standardised,
        foretold_sd_nT=fit.foretold * sd_nT,
        weight=fit.weight,
        scale=fit.scale,
        converged=fit.converged,
        iterations=fit.iterations,
        orders=prior.orders,
    )
    level, sd = found.at(number, place)
    return replace(found, level_nT=level, sd_nT=sd)


def _ends(passages: Passages, ties: LineTies) -> IntArray:
    """Return the place (2, m) of both passages of each crossing in the list."""
    ends = np.stack([passages.index(ties.first), passages.index(ties.second)])
    unknown = np.flatnonzero((ends < 0).any(axis=0))
    if unknown.size:
        side = ties.first if ends[0, unknown[0]] < 0 else ties.second
        rule = "Each crossing must lie on passages that have readings."
        raise InputError(rule, value=f"passage {side[unknown[0]]} at crossing {unknown[0]}")
    same = np.flatnonzero(ends[0] == ends[1])
    if same.size:
        raise InputError("A crossing must join two passages.", value=f"crossing {same[0]}")
    return ends


def _design(passages: Passages, ties: LineTies, ends: IntArray, prior: LevelPrior) -> Design:
    """Return the design in units of the prior's sd, each row over the sd of its crossing."""
    first = passages.basis(ends[0], ties.first_along, prior.orders)
    second = passages.basis(ends[1], ties.second_along, prior.orders)
    values = np.hstack([first * prior.sd, -second * prior.sd]) / ties.sd_nT[:, None]
    column = ends.T[:, :, None] * prior.terms + np.arange(prior.terms)
    return Design(values, column.reshape(values.shape), passages.number.size * prior.terms)


def _groups(count: int, ends: IntArray) -> tuple[int, IntArray]:
    """Return how many groups the crossings join, and the places of passages without any."""
    graph = csr_array((np.ones(ends.shape[1]), (ends[0], ends[1])), shape=(count, count))
    label = connected_components(graph, directed=False)[1]
    alone = np.bincount(ends.ravel(), minlength=count) == 0
    return int(np.unique(label[~alone]).size), np.flatnonzero(alone)


def _gauge(passages: Passages, alone: IntArray, prior: LevelPrior) -> FloatArray:
    """Return the matrix that takes the mean over readings of joined lines off their constants."""
    joined = np.ones(passages.number.size, dtype=bool)
    joined[alone] = False
    gauge = np.eye(joined.size * prior.terms)
    constants = np.flatnonzero(joined) * prior.terms
    if constants.size:
        share = passages.readings[joined] / passages.readings[joined].sum()
        gauge[np.ix_(constants, constants)] -= share
    return gauge


def _blocks(covariance: FloatArray, count: int) -> FloatArray:
    """Return the covariance (p, q, q) of the terms of each passage by itself."""
    terms = covariance.shape[0] // count
    whole = covariance.reshape(count, terms, count, terms)
    return whole[np.arange(count), :, np.arange(count), :]


def _open_part(
    solution: FloatArray, information: FloatArray, vectors: FloatArray, to_terms: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the part of all terms in combinations that crossings hardly tell, and its sd."""
    dim = information < OPEN_BELOW
    share = to_terms @ vectors[:, dim]
    part = share @ (vectors[:, dim].T @ solution)
    return part, np.sqrt(np.sum(share**2 / (1 + information[dim]), axis=1))


def _crossings_alone(
    information: FloatArray, vectors: FloatArray, to_terms: FloatArray
) -> FloatArray:
    """Return the sd of each term without the prior; infinite where crossings don't tell it."""
    told = information > NOTHING * max(float(information[-1]), 1.0)
    share = to_terms @ vectors
    variance = np.sum(share[:, told] ** 2 / information[told], axis=1)
    lost = np.sum(share[:, ~told] ** 2, axis=1) > TOUCHES**2 * np.sum(to_terms**2, axis=1)
    return np.where(lost, np.inf, np.sqrt(variance))
