"""The heading correction against the headings walked, with what is expected where nothing tells."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.corrections.heading_model import HeadingModel, heading_basis
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: A correction smaller than this many of its own sd isn't made.
SURE_SD: Final = 1.645


@dataclass(frozen=True)
class HeadingCorrection:
    """What is taken off readings for the direction of walking, and how sure it is.

    Parameters
    ----------
    coefficients_nT : float array, shape (4,)
        Of cos, sin, cos 2 and sin 2 of the heading, clockwise from grid north [nT].
    covariance_nT2 : float array, shape (4, 4)
        Their covariance, what is expected where nothing tells them included [nT2].
    reference : float array, shape (4,)
        Mean of the harmonics over the headings walked; the mean correction of these is 0.
    expected_nT : float
        Expected error at a heading that nothing tells, one sd [nT].

    Examples
    --------
    >>> from lodewalk.methods.corrections.heading_model import unknown_model
    >>> nothing = heading_correction(unknown_model(), [0, 90, 180, 270], expected_nT=1.0)
    >>> nothing.correction([0.0]).tolist(), nothing.sd([45.0, np.nan]).round(9).tolist()
    ([0.0], [1.0, 1.0])
    """

    coefficients_nT: FloatArray
    covariance_nT2: FloatArray
    reference: FloatArray
    expected_nT: float

    def correction(self, heading_deg: ArrayLike) -> FloatArray:
        """Return what is taken off readings at some headings [nT]; 0 where the heading is NaN."""
        return np.nan_to_num(self._row(heading_deg) @ self.coefficients_nT)

    def sd(self, heading_deg: ArrayLike) -> FloatArray:
        """Return the sd of the error left at some headings [nT]; never NaN.

        Without a heading it is the expected error, or the usual one of all headings where that is
        larger.
        """
        row = self._row(heading_deg)
        variance = np.einsum("ij,jk,ik->i", row, self.covariance_nT2, row)
        known = np.sqrt(np.maximum(variance, 0.0))
        return np.where(np.isfinite(known), known, max(self.expected_nT, self._usual()))

    def step(self, one_deg: float, other_deg: float) -> tuple[float, float]:
        """Return the error at one heading less that at another, and the sd of that [nT]."""
        one, other = heading_basis([one_deg, other_deg])
        row = one - other
        variance = max(float(row @ self.covariance_nT2 @ row), 0.0)
        return float(row @ self.coefficients_nT), float(np.sqrt(variance))

    def _row(self, heading_deg: ArrayLike) -> FloatArray:
        """Return the harmonics against their reference."""
        return heading_basis(heading_deg) - self.reference

    def _usual(self) -> float:
        """Return the rms of the error over all headings, against the reference [nT]."""
        second = self.covariance_nT2 + np.outer(self.coefficients_nT, self.coefficients_nT)
        around = 0.5 * float(np.trace(second)) + float(self.reference @ second @ self.reference)
        return float(np.sqrt(max(around, 0.0)))


def heading_correction(
    model: HeadingModel, walked_deg: ArrayLike, *, expected_nT: float
) -> HeadingCorrection:
    """Join what the evidence tells of the heading error with what is expected of any gear.

    Parameters
    ----------
    model : HeadingModel
        As `fit_heading` finds it; `unknown_model` where nothing is to be corrected.
    walked_deg : array_like, shape (n,)
        Headings of the readings of the lines, clockwise from grid north [degrees]; NaN is left
        out. The correction has zero mean over them; over all headings where there is none.
    expected_nT : float
        Expected error at a heading, against the mean of all headings, one sd [nT].

    Returns
    -------
    HeadingCorrection

    Raises
    ------
    InputError
        When `expected_nT` isn't above zero.

    Notes
    -----
    Only differences between headings change a map. So the error is counted against its mean over
    the headings walked, and lines that all go one way have none.

    In what the evidence tells, coefficients and covariance are the model's: its average over the
    orders has shrunk them already. Among the rest, each coefficient is taken as normal about zero
    with one variance v. With nothing told, the error at any heading then has the variance ``2 v``,
    so ``v = expected^2 / 2``. Where the evidence shows a larger error, the estimate by moments from
    its r coefficients c with covariance C is taken, ``v = (c.c - tr C) / r``. So the sd is nowhere
    infinite, and zero only where headings don't differ.

    A correction whose rms over the headings walked is under 1.645 of its own sd would as soon add
    an error as take one off. It isn't made; its size goes into the sd instead (an estimate after a
    test, with the mean squared error of leaving it out).

    Examples
    --------
    >>> seen = HeadingModel(np.array([4.0, 0.0, 0.0, 0.0]), 0.01 * np.eye(4), np.zeros(4),
    ...                     np.empty((4, 0)), 1, (0.0, 1.0, 0.0), 8, 0)
    >>> heading_correction(seen, [0.0, 180.0], expected_nT=1.0).correction([0, 180]).tolist()
    [4.0, -4.0]
    """
    check_positive(expected_nT, name="expected_nT")
    value, spread = model.coefficients_nT, model.covariance_nT2
    prior = expected_nT**2 / 2
    told = 4 - model.unknown.shape[1]
    if told:
        prior = max(prior, (float(value @ value) - float(np.trace(spread))) / told)
    covariance = spread + prior * model.unknown @ model.unknown.T
    reference = _mean_harmonics(walked_deg)
    if not _is_sure(value, covariance, reference, walked_deg):
        value, covariance = np.zeros(4), covariance + np.outer(value, value)
    return HeadingCorrection(value, covariance, reference, expected_nT)


def _is_sure(
    value: FloatArray, covariance: FloatArray, reference: FloatArray, walked_deg: ArrayLike
) -> bool:
    """Tell whether a correction is larger than its own error, on the headings walked or on all."""
    row = heading_basis(walked_deg) - reference
    row = row[np.isfinite(row).all(axis=1)]
    if not row.size:
        row = heading_basis(np.arange(0.0, 360.0, 5.0)) - reference
    size = float(np.mean((row @ value) ** 2))
    return size > SURE_SD**2 * float(np.mean(np.einsum("ij,jk,ik->i", row, covariance, row)))


def _mean_harmonics(walked_deg: ArrayLike) -> FloatArray:
    """Return the mean of the harmonics over the headings walked, zero where there is none."""
    basis = heading_basis(walked_deg)
    known = basis[np.isfinite(basis).all(axis=1)]
    return np.asarray(known.mean(axis=0)) if known.size else np.zeros(4)


def line_headings(
    walking_deg: ArrayLike,
    passage: ArrayLike,
    azimuth_deg: ArrayLike,
    *,
    max_bend_deg: float = 20.0,
) -> FloatArray:
    """Return the heading of each reading: that of its whole passage where the passage is straight.

    Parameters
    ----------
    walking_deg : array_like, shape (n,)
        Direction of walking at each reading, from `walking_heading` [degrees]; NaN where unknown.
    passage : int array, shape (n,)
        Number of the passage of each reading, -1 off the lines.
    azimuth_deg : array_like, shape (p,)
        Direction of each passage [degrees]; NaN where unknown.
    max_bend_deg : float
        A passage is straight where half of its readings are walked to within this of its
        direction [degrees] (default 20: errors of position of 2 m turn a chord of 15 m by 10).

    Returns
    -------
    float array, shape (n,)
        Clockwise from grid north [degrees]; NaN where unknown.

    Notes
    -----
    Along a straight line the chord of a few metres is turned by the noise of positions more than
    the walker is; the whole passage tells better.

    Examples
    --------
    >>> line_headings([3.0, 358.0, 90.0], [0, 0, -1], [1.0]).tolist()
    [1.0, 1.0, 90.0]
    """
    check_same_length(walking_deg=walking_deg, passage=passage)
    check_positive(max_bend_deg, name="max_bend_deg")
    heading = np.array(walking_deg, dtype=np.float64, ndmin=1)
    number: IntArray = np.atleast_1d(np.asarray(passage, dtype=np.int64))
    azimuth = np.atleast_1d(np.asarray(azimuth_deg, dtype=np.float64))
    if number.size and number.max() >= azimuth.size:
        raise InputError("Each passage needs a direction.", value=int(number.max()))
    for own in np.unique(number[number >= 0]):
        rows = np.flatnonzero(number == own)
        off = np.abs((heading[rows] - azimuth[own] + 180.0) % 360.0 - 180.0)
        known = off[np.isfinite(off)]
        if np.isfinite(azimuth[own]) and (not known.size or np.median(known) <= max_bend_deg):
            heading[rows] = azimuth[own]
    return heading
