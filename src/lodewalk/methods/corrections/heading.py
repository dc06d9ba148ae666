"""Heading error of a walker and the gear, from all that tells of it together."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import piece_bounds
from lodewalk.methods.corrections.heading_evidence import HeadingEvidence
from lodewalk.methods.corrections.heading_fit import (
    average,
    heading_problem,
    known_space,
    mean_basis,
)
from lodewalk.methods.corrections.heading_model import MAX_ORDER, HeadingModel, unknown_model
from lodewalk.methods.corrections.mixed_model import settle
from lodewalk.methods.corrections.plan_lines import headings
from lodewalk.validation import FloatArray, check_positive, check_same_length


def fit_heading(
    evidence: Sequence[HeadingEvidence],
    *,
    max_order: int = MAX_ORDER,
    line_sd_nT: float = 0.3,
    heading_sd_deg: float = 2.0,
) -> HeadingModel:
    """Find the heading error from turn-around tests, crossings and neighbouring passages.

    Parameters
    ----------
    evidence : sequence of HeadingEvidence
        From `turn_evidence`, `crossing_evidence` and `neighbour_evidence`: one of each kind, or
        several.
    max_order : int
        Most harmonics, 1 or 2 (default 2).
    line_sd_nT : float
        Expected sd of the level that crossings of one line share, such as what the diurnal
        correction left [nT] (default 0.3, common practice); worth four lines.
    heading_sd_deg : float
        Sd of a heading [degrees] (default 2, common practice). What headings as far apart as their
        own errors would tell counts as unknown.

    Returns
    -------
    HeadingModel
        Without any evidence: no correction, with infinite sd.

    Raises
    ------
    InputError
        When `max_order` isn't 1 or 2, or a setting isn't above zero.

    Notes
    -----
    Let t be the unit vector of the ambient field F in the walker's frame (forward, right, down).
    For a level walk with heading psi, declination D and inclination I, and a = psi - D,

    ``t = (cos I cos a, -cos I sin a, sin I)``.

    A permanent moment adds a vector p that is fixed in this frame, soft iron adds ``F K t`` with a
    constant 3 x 3 matrix K. Both are small against F, so the total field changes by the projection
    ``p.t + F t.K t`` (Leliak 1961; Tolles and Lawson before him: 3 permanent and 5 distinct induced
    terms of a moving carrier; from memory). Written out:

    - constant: ``p_d sin I + F [(K_ff + K_rr)/2 cos^2 I + K_dd sin^2 I]``;
    - first harmonic: ``cos I [p_f cos a - p_r sin a]
      + F sin I cos I [(K_fd + K_df) cos a - (K_rd + K_dr) sin a]``;
    - second harmonic: ``F cos^2 I [(K_ff - K_rr)/2 cos 2a - (K_fr + K_rf)/2 sin 2a]``.

    There are no others. The first fades with cos I and the second with cos^2 I: near a magnetic
    pole no heading error is left, and near the equator soft iron adds nothing to the first. D only
    turns the phases, so headings from grid north do. Eddy currents (the other terms of a fast
    carrier) are left out, and so is the walk on a slope or a sensor that swings: these scatter
    about the model. Heading error of the sensor itself (its own dependence on the angle to the
    field) has the same form for a sensor carried upright, up to its higher harmonics.

    The constant can't be told; see `HeadingModel`.

    All evidence goes into one linear model with a free level for each test and a random one for
    each line. The sizes of the errors of each kind, and of the levels, come from the evidence by
    restricted maximum likelihood (see `MixedModel`), the expected ones counting as four readings.
    Pieces and levels beyond 3.5 sd of their kind count less, those beyond 6 sd nothing.

    No, one and two harmonics are weighed by Mallows's criterion (1973), ``exp(-(Q + 2 r)/2)`` with
    Q the sum of squares left and r the number of coefficients, and the answer is their average
    (Buckland, Burnham and Augustin 1997); the spread between them is in the covariance, and so is
    that over likely sizes of the errors. So a harmonic that the evidence doesn't ask for fades,
    and yet its uncertainty stays.

    What can't be known stays unknown: lines to and fro alone tell only the difference between
    these two headings. The answer is then the smallest one that fits, and the sd is infinite at
    other headings. Lines and tie lines square to them leave one part of the second harmonic open.

    References
    ----------
    Leliak, P. (1961), Identification and evaluation of magnetic-field sources of magnetic airborne
    detector equipped aircraft, IRE Transactions on Aerospace and Navigational Electronics ANE-8,
    95-105, doi:10.1109/TANE3.1961.4201799 (from memory).
    Mallows, C. L. (1973), Some comments on C_p, Technometrics 15, 661-675,
    doi:10.1080/00401706.1973.10489103 (from memory).
    Buckland, S. T., Burnham, K. P. and Augustin, N. H. (1997), Model selection: an integral part
    of inference, Biometrics 53, 603-618, doi:10.2307/2533961 (from memory).

    Examples
    --------
    >>> from lodewalk.methods.corrections.heading_evidence import turn_evidence
    >>> facing = np.arange(0, 360, 45)
    >>> reading = 48_000 + 4 * np.cos(np.radians(facing))
    >>> model = fit_heading([turn_evidence(facing, reading, np.ones(8), sd_nT=0.1)])
    >>> model.order, model.correction([0, 90, 180]).round(1).tolist()
    (1, [4.0, 0.0, -4.0])
    """
    if max_order not in (1, 2):
        raise InputError("max_order must be 1 or 2.", value=max_order)
    check_positive(line_sd_nT, name="line_sd_nT")
    check_positive(heading_sd_deg, name="heading_sd_deg")
    parts = [part for part in evidence if part.value_nT.size]
    if not parts:
        return unknown_model()
    problem = heading_problem(parts, line_sd_nT)
    model = problem.model
    space = known_space(problem, model.products(), model.start(), max_order, heading_sd_deg)
    sizes, freedom, products = settle(model, space)
    spaces = [np.empty((4, 0))] + [
        known_space(problem, products, sizes, order, heading_sd_deg)
        for order in range(1, max_order + 1)
    ]
    found = average(problem, products, sizes, freedom, spaces)
    return HeadingModel(
        coefficients_nT=found.value,
        covariance_nT2=found.covariance,
        reference=mean_basis(problem, sizes),
        unknown=_complement(spaces[-1], max_order),
        order=int(np.argmax(found.shares)),
        order_shares=tuple(found.shares.tolist()),
        count=int(np.count_nonzero(model.weight > 0)),
        rejected=int(np.count_nonzero(model.weight == 0)),
    )


def _complement(space: FloatArray, order: int) -> FloatArray:
    """Return the combinations of the harmonics up to an order that are not in a space."""
    size = 2 * order
    rest = linalg.null_space(space[:size].T) if space.shape[1] else np.eye(size)
    return np.vstack([rest, np.zeros((4 - size, rest.shape[1]))])


def walking_heading(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    time_s: ArrayLike,
    *,
    smoothing_m: float = 15.0,
    max_gap_s: float = 30.0,
) -> FloatArray:
    """Return the direction of walking at each reading.

    Parameters
    ----------
    easting_m, northing_m : array_like, shape (n,)
        Positions [m]; NaN where there is none.
    time_s : array_like, shape (n,)
        Times, in order [s].
    smoothing_m : float
        Length over which the direction is taken [m] (default 15: errors of position of 1 m turn
        it by 5 degrees).
    max_gap_s : float
        A longer interval between two positions is a gap, over which no direction is taken [s]
        (default 30).

    Returns
    -------
    float array, shape (n,)
        Clockwise from grid north, 0 to 360 [degrees]; NaN without a position and where the walker
        stays in one place between gaps.

    Raises
    ------
    InputError
        When lengths differ or a setting isn't above zero.

    Notes
    -----
    The chord over `smoothing_m` of the way. During a stop it is the direction before and after.
    It lags behind at sharp turns by half that length, where no readings of lines should lie.

    Examples
    --------
    >>> east = np.concatenate([np.arange(50.0), np.full(50, 49.0)])
    >>> north = np.concatenate([np.zeros(50), np.arange(50.0)])
    >>> walking_heading(east, north, np.arange(100.0))[[20, 80]].tolist()
    [90.0, 0.0]
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m, time_s=time_s)
    check_positive(smoothing_m, name="smoothing_m")
    check_positive(max_gap_s, name="max_gap_s")
    east, north, time = (
        np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (easting_m, northing_m, time_s)
    )
    known = np.flatnonzero(np.isfinite(east + north + time))
    place = np.column_stack([east[known], north[known]])
    azimuth = np.full(east.size, np.nan)
    bounds = piece_bounds(time[known], max_gap_s=max_gap_s)
    for start, stop in pairwise(bounds):
        way = headings(place[start:stop], smoothing_m)
        azimuth[known[start:stop]] = np.degrees(np.arctan2(way[:, 0], way[:, 1])) % 360.0
    return azimuth
