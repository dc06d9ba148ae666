"""How large line corrections may be, judged by how well crossings foretell each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from lodewalk.errors import InputError
from lodewalk.methods.corrections.levelling import Levelling, level_lines
from lodewalk.methods.corrections.levelling_model import LevelPrior, LineTies
from lodewalk.validation import FloatArray

#: Factors on the sizes of the prior that are tried.
FACTORS: Final = (0.01, 0.1, 0.2, 0.35, 0.6, 1.0)
#: Degrees of freedom of the heavy-tailed density by which a foretold crossing is judged.
TAILS: Final = 4.0


@dataclass(frozen=True)
class PriorChoice:
    """A prior scaled to what the crossings bear out; see `choose_prior`.

    Parameters
    ----------
    prior : LevelPrior
        The scaled prior.
    factor : float
        Its factor; the smallest of those tried means that lines show no level of their own.
    factors : tuple of float
    score : array
        Mean log density of the crossings, each foretold by all others, for each factor.
    levelling : Levelling
        The adjustment with the scaled prior.
    """

    prior: LevelPrior
    factor: float
    factors: tuple[float, ...]
    score: FloatArray
    levelling: Levelling


def scaled_prior(prior: LevelPrior, factor: float) -> LevelPrior:
    """Return the prior with all its sizes times a factor above zero.

    Examples
    --------
    >>> scaled_prior(LevelPrior(3.0, drift_nT=2.0), 0.5).drift_nT
    1.0
    """
    return LevelPrior(
        prior.constant_nT * factor,
        prior.drift_nT * factor,
        tuple(size * factor for size in prior.bend_nT),
    )


def choose_prior(
    passage: ArrayLike,
    along: ArrayLike,
    ties: LineTies,
    *,
    prior: LevelPrior,
    factors: Sequence[float] = FACTORS,
) -> PriorChoice:
    """Level lines with the size of corrections by which crossings foretell each other best.

    Parameters
    ----------
    passage, along, ties
        As for `level_lines`.
    prior : LevelPrior
        Largest plausible sizes.
    factors : sequence of float
        Factors on all sizes to try, above zero.

    Returns
    -------
    PriorChoice

    Raises
    ------
    InputError
        As `level_lines`, and when no factor is given.

    Notes
    -----
    Lines that were levelled before, or whose misfits are errors of position, have crossings that
    foretell nothing of each other; corrections then only add noise. For each factor every crossing
    is foretold from the others with the sd of that; the factor with the largest sum of the log of
    Student's density (4 degrees of freedom, which bears outliers) is taken. Without crossings the
    prior stays as it is.

    Examples
    --------
    Three lines over two tie lines that differ at random: no line has a level of its own.

    >>> ties = LineTies(np.array([0, 0, 1, 1, 2, 2]), np.tile([1.0, 3.0], 3),
    ...                 np.array([3, 4, 3, 4, 3, 4]), np.ones(6),
    ...                 np.array([1.0, -1.0, -1.0, 1.0, 1.0, -1.0]), np.ones(6))
    >>> choose_prior(np.repeat(np.arange(5), 5), np.tile(np.arange(5.0), 5), ties,
    ...              prior=LevelPrior(5.0)).factor
    0.01
    """
    if not len(factors):
        raise InputError("At least one factor must be tried.", value=tuple(factors))
    tried = tuple(factors) if len(ties) else (1.0,)
    found = [
        level_lines(passage, along, ties, prior=scaled_prior(prior, factor)) for factor in tried
    ]
    score = np.array([_score(levelling, ties.sd_nT) for levelling in found])
    best = int(np.argmax(score))
    return PriorChoice(
        scaled_prior(prior, tried[best]), float(tried[best]), tried, score, found[best]
    )


def _score(levelling: Levelling, sd_nT: FloatArray) -> float:
    """Return the mean log density of each crossing foretold by all others."""
    if not sd_nT.size:
        return 0.0
    density = student.logpdf(levelling.standardised, TAILS)
    return float(np.mean(density - np.log(levelling.foretold_sd_nT)))
