"""The heading error of a walker and the gear: harmonics of the heading, and how sure they are."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.validation import FloatArray

#: Harmonics that a level walk can have: first from permanent moments, second from soft iron.
MAX_ORDER: Final = 2

#: A heading is known up to this much of a harmonic that isn't; 0.35 is 10 degrees off a line for
#: the second harmonic.
MOST_UNKNOWN: Final = 0.5


def heading_basis(heading_deg: ArrayLike) -> FloatArray:
    """Return the harmonics at some headings.

    Parameters
    ----------
    heading_deg : array_like, shape (n,)
        Headings, clockwise from grid north [degrees].

    Returns
    -------
    float array, shape (n, 4)
        Cosine and sine of the heading, then of twice the heading.

    Examples
    --------
    >>> heading_basis([0.0, 90.0]).round(12).tolist()
    [[1.0, 0.0, 1.0, 0.0], [0.0, 1.0, -1.0, 0.0]]
    """
    psi = np.radians(np.atleast_1d(np.asarray(heading_deg, dtype=np.float64)))
    return np.column_stack([np.cos(psi), np.sin(psi), np.cos(2 * psi), np.sin(2 * psi)])


def basis_slope(heading_deg: ArrayLike) -> FloatArray:
    """Return the change of `heading_basis` for one radian of heading.

    Examples
    --------
    >>> basis_slope([90.0]).round(6).tolist()
    [[-1.0, 0.0, -0.0, -2.0]]
    """
    basis = heading_basis(heading_deg)
    return np.asarray(basis[:, [1, 0, 3, 2]] * np.array([-1.0, 1.0, -2.0, 2.0]))


@dataclass(frozen=True)
class HeadingModel:
    """The heading error, as `fit_heading` finds it.

    Parameters
    ----------
    coefficients_nT : float array, shape (4,)
        Of cos, sin, cos 2 and sin 2 of the heading, clockwise from grid north [nT].
    covariance_nT2 : float array, shape (4, 4)
        Their covariance, as far as the evidence tells them [nT2].
    reference : float array, shape (4,)
        Mean of the harmonics over the headings of the evidence; there the mean correction is 0.
    unknown : float array, shape (4, k)
        Unit vectors of the k combinations of harmonics that the evidence doesn't tell.
    order : int
        The likeliest number of harmonics, 0 to 2.
    order_shares : tuple of float
        Weight of no, one and two harmonics in the average.
    count : int
        Pieces of evidence that were used.
    rejected : int
        Pieces that had no weight, as gross outliers.

    Notes
    -----
    Only differences between headings can be known: a constant of the gear can't be told from the
    level of the survey. It is fixed so that the correction has zero mean over the headings of the
    evidence, weighted as the fit weighs them; for a full turn, over all headings.

    Examples
    --------
    >>> model = HeadingModel(np.array([2.0, 0.0, 0.5, 0.0]), 0.01 * np.eye(4), np.zeros(4),
    ...                      np.empty((4, 0)), 2, (0.0, 0.0, 1.0), 8, 0)
    >>> model.correction([0.0, 180.0]).tolist(), model.sd([0.0]).round(3).tolist()
    ([2.5, -1.5], [0.141])
    """

    coefficients_nT: FloatArray
    covariance_nT2: FloatArray
    reference: FloatArray
    unknown: FloatArray
    order: int
    order_shares: tuple[float, ...]
    count: int
    rejected: int

    def correction(self, heading_deg: ArrayLike) -> FloatArray:
        """Return the heading error, to be taken off a reading.

        Parameters
        ----------
        heading_deg : array_like, shape (n,)
            Headings, clockwise from grid north [degrees]; NaN where unknown.

        Returns
        -------
        float array, shape (n,)
            Error [nT]; NaN without a heading. Where `sd` is infinite it is only the smallest error
            that fits the evidence.
        """
        return self._row(heading_deg) @ self.coefficients_nT

    def sd(self, heading_deg: ArrayLike) -> FloatArray:
        """Return the sd of the error that `correction` leaves.

        Parameters
        ----------
        heading_deg : array_like, shape (n,)
            Headings, clockwise from grid north [degrees]; NaN where unknown.

        Returns
        -------
        float array, shape (n,)
            Sd [nT]; ±1.645 sd is the 90 % interval. Infinite at headings for which the evidence
            doesn't tell the error, NaN without a heading.
        """
        row = self._row(heading_deg)
        variance = np.einsum("ij,jk,ik->i", row, self.covariance_nT2, row)
        blind = np.linalg.norm(row @ self.unknown, axis=1)
        # Close to the headings seen, what isn't known is taken as large as what is.
        usual = float(self.coefficients_nT @ self.coefficients_nT + np.trace(self.covariance_nT2))
        variance = np.maximum(variance, 0.0) + blind**2 * usual
        return np.where(blind > MOST_UNKNOWN, np.inf, np.sqrt(variance))

    def amplitudes(self) -> tuple[float, float]:
        """Return the amplitude of the first and of the second harmonic [nT]."""
        first, second = np.hypot(self.coefficients_nT[::2], self.coefficients_nT[1::2])
        return float(first), float(second)

    def _row(self, heading_deg: ArrayLike) -> FloatArray:
        """Return the harmonics against their reference."""
        return heading_basis(heading_deg) - self.reference


def unknown_model() -> HeadingModel:
    """Return the model of somebody who has seen nothing: no correction, infinite sd.

    Examples
    --------
    >>> unknown_model().sd([0.0]).tolist()
    [inf]
    """
    nothing = np.zeros(4)
    return HeadingModel(nothing, np.zeros((4, 4)), nothing, np.eye(4), 0, (1.0, 0.0, 0.0), 0, 0)
