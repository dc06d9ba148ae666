"""The heading error as a linear model: what can be known, and the average over orders."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import linalg, sparse

from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.corrections.heading_evidence import HeadingEvidence
from lodewalk.methods.corrections.heading_model import basis_slope, heading_basis
from lodewalk.methods.corrections.mixed_model import Freedom, MixedModel, Sizes, draws, solve
from lodewalk.validation import FloatArray

#: A combination of harmonics is known when its information is more than so many times what
#: errors of the headings alone would feign: two sd.
LEAST_KNOWN: Final = 4.0


@dataclass(frozen=True)
class Problem:
    """The linear model of all evidence, and the members that made it.

    Parameters
    ----------
    model : MixedModel
        The harmonics are its coefficients; each test and line has a level.
    row : int array, shape (m,)
        Value that each member belongs to.
    heading_deg, share : float arrays, shape (m,)
        Its heading [degrees] and its share.
    """

    model: MixedModel
    row: IntArray
    heading_deg: FloatArray
    share: FloatArray


def heading_problem(evidence: Sequence[HeadingEvidence], line_sd_nT: float) -> Problem:
    """Join the evidence in one linear model."""
    counts = [part.value_nT.size for part in evidence]
    starts = np.cumsum([0, *counts[:-1]])
    row = np.concatenate([part.row + at for part, at in zip(evidence, starts, strict=True)])
    heading = np.concatenate([part.heading_deg for part in evidence])
    share = np.concatenate([part.share for part in evidence])
    level_kind, column = _levels(evidence)
    count = sum(counts)
    x = np.zeros((count, 4))
    np.add.at(x, row, share[:, None] * heading_basis(heading))
    free = [part.kind == "turn" for part in evidence]
    model = MixedModel(
        value=np.concatenate([part.value_nT for part in evidence]),
        sd=np.concatenate([part.sd_nT for part in evidence]),
        kind=np.repeat(np.arange(len(evidence)), counts),
        x=x,
        z=sparse.csr_array((share, (row, column)), shape=(count, level_kind.size)),
        level_kind=level_kind,
        expected=np.where(free, np.inf, line_sd_nT**2),
    )
    return Problem(model, row, heading, share)


def _levels(evidence: Sequence[HeadingEvidence]) -> tuple[IntArray, IntArray]:
    """Return the kind of each level, and the level of each member."""
    kinds, columns, count = [], [], 0
    for k, part in enumerate(evidence):
        names, own = np.unique(part.place, return_inverse=True)
        kinds.append(np.full(names.size, k))
        columns.append(own + count)
        count += names.size
    return np.concatenate(kinds).astype(np.int64), np.concatenate(columns).astype(np.int64)


def known_space(
    problem: Problem, products: FloatArray, sizes: Sizes, order: int, heading_sd_deg: float
) -> FloatArray:
    """Return the combinations of the first `order` harmonics that the evidence tells, (4, r)."""
    size = 2 * order
    total = np.einsum("k,kij->ij", 1 / sizes.noise, products)[:-1, :-1]
    levels = total[4:, 4:] + np.diag(problem.model.precision(sizes))
    through = total[:size, 4:]
    told = total[:size, :size] - through @ linalg.solve(levels, through.T, assume_a="sym")
    feigned = _feigned(problem, sizes, np.radians(heading_sd_deg))[:size, :size]
    # Lines to and fro alone leave both matrices without some directions, but for rounding.
    floor = 1e-9 * max(float(np.trace(told)), float(np.trace(feigned)), 1e-30)
    ratio, vector = linalg.eigh(told, feigned + floor * np.eye(size))
    blind = vector[:, ratio <= LEAST_KNOWN]
    space = linalg.null_space(blind.T) if blind.shape[1] else np.eye(size)
    return np.vstack([space, np.zeros((4 - size, space.shape[1]))])


def _feigned(problem: Problem, sizes: Sizes, heading_sd: float) -> FloatArray:
    """Return the information (4, 4) that errors of the headings alone would feign."""
    weight = (problem.model.weight / problem.model.noise_sd(sizes) ** 2)[problem.row]
    slope = basis_slope(problem.heading_deg) * (problem.share * heading_sd)[:, None]
    return np.asarray((slope * weight[:, None]).T @ slope)


@dataclass(frozen=True)
class Average:
    """Harmonics averaged over sizes of the errors and orders, and the weight of each order."""

    value: FloatArray
    covariance: FloatArray
    shares: FloatArray


def average(
    problem: Problem,
    products: FloatArray,
    sizes: Sizes,
    freedom: Freedom,
    spaces: Sequence[FloatArray],
) -> Average:
    """Average the harmonics over the likely sizes of the errors and over the orders."""
    values, covariances, weights = [], [], []
    for drawn in draws(sizes, freedom):
        found = [solve(problem.model, products, drawn, space) for space in spaces]
        cost = np.array(
            [one.square + 2 * space.shape[1] for one, space in zip(found, spaces, strict=True)]
        )
        cost += np.where(_repeated(spaces), np.inf, 0.0)
        share = np.exp(-0.5 * (cost - cost.min()))
        weights.append(share / share.sum())
        values.append([one.value[:4] for one in found])
        covariances.append([one.covariance[:4, :4] for one in found])
    weight = np.array(weights) / len(weights)
    value = np.array(values)
    mean = np.einsum("dm,dmi->i", weight, value)
    off = value - mean
    covariance = np.einsum("dm,dmij->ij", weight, np.array(covariances))
    covariance += np.einsum("dm,dmi,dmj->ij", weight, off, off)
    return Average(mean, covariance, weight.sum(axis=0))


def _repeated(spaces: Sequence[FloatArray]) -> list[bool]:
    """Tell which orders know no more than the one before."""
    ranks = [space.shape[1] for space in spaces]
    return [k > 0 and ranks[k] == ranks[k - 1] for k in range(len(ranks))]


def mean_basis(problem: Problem, sizes: Sizes) -> FloatArray:
    """Return the mean of the harmonics over the headings of the evidence, as the fit weighs it."""
    weight = (problem.model.weight / problem.model.noise_sd(sizes) ** 2)[problem.row] * np.abs(
        problem.share
    )
    return np.asarray(weight @ heading_basis(problem.heading_deg) / weight.sum())
