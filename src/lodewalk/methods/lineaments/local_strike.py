"""Strike of a lineament at its places, and how sure it is there."""

from collections.abc import Sequence

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.lineaments.course import FILTER, course
from lodewalk.methods.lineaments.strike import Strike
from lodewalk.validation import FloatArray, check_positive

#: Length of either end that tells no strike, least length of what is left between them, distance
#: of points, and the longest part that is looked at together [line spacings].
END, LEAST, STEP, LONGEST = 2.0 * FILTER, 2.0, 0.5, 40.0


def local_strikes(
    corners: FloatArray,
    places: Sequence[tuple[float, float]],
    *,
    line_spacing_m: float,
    towards_deg: float,
) -> list[Strike]:
    """Return the strike of a polyline near places on it, each with its standard deviation.

    Parameters
    ----------
    corners : array, shape (m, 2)
        Easting and northing of its corners [m].
    places : sequence of tuple = (easting, northing)
        The places [m].
    line_spacing_m : float
        Distance between survey lines [m].
    towards_deg : float
        The answers lie within 90 degrees of this azimuth, so that all profiles of one lineament
        look to one side [deg].

    Returns
    -------
    list of Strike
        Azimuths from grid north, 0 to 360 [deg].

    Raises
    ------
    InputError
        Where its corners coincide, and for a line spacing that isn't above zero.

    Notes
    -----
    See `course` for how the strike is told along the whole lineament, in parts of forty line
    spacings. Its last two filters' lengths at either end are left out: there the trace bends
    towards the normal of the border, or of the fault it ends at, as part of the filter lies beyond
    it. Since the filter blends the strikes on both sides of a place, what is told there is the mean
    over the filter, and the error holds how far they differ.

    Examples
    --------
    >>> corners = np.array([[0.0, 0.0], [90.0, 90.0], [95.0, 80.0]])
    >>> (found,) = local_strikes(
    ...     corners, [(40.0, 40.0)], line_spacing_m=10.0, towards_deg=200.0)
    >>> abs(found.strike_deg - 225.0) < 1.0, found.sd_deg < 2.0
    (True, True)
    """
    check_positive(line_spacing_m, name="line_spacing_m")
    along, points = _even_points(corners / line_spacing_m)
    if not along[-1] > 0.0:
        raise InputError(
            "The corners of a polyline coincide, so it has no strike.",
            value=corners[:1].tolist(),
            remedy="Give two corners or more that lie apart.",
        )
    heading, aside = _followed(along, points)
    turn, variance = _everywhere(along, aside)
    found = []
    for place in places:
        near = np.hypot(*(points - np.asarray(place) / line_spacing_m).T)
        blend = np.exp(-0.5 * ((along - along[np.argmin(near)]) / FILTER) ** 2)
        blend /= blend.sum()
        mean = float(blend @ turn)
        sd = np.sqrt(blend @ (variance + (turn - mean) ** 2))
        azimuth = float(np.degrees(heading + mean))
        azimuth += 180.0 * np.round((towards_deg - azimuth) / 180.0)
        found.append(Strike(float(azimuth % 360.0), float(np.degrees(sd))))
    return found


def _even_points(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return even distances along a polyline and the points there."""
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    even = np.linspace(0.0, at[-1], max(3, int(np.ceil(at[-1] / STEP)) + 1))
    return even, np.stack([np.interp(even, at, axis) for axis in corners.T], axis=1)


def _followed(along: FloatArray, points: FloatArray) -> tuple[float, FloatArray]:
    """Return the mean heading [radians] and how far each point lies to its right.

    A line that turns far is followed round: what lies aside is the sum of its turns.
    """
    east, north = np.diff(points, axis=0).T
    headings = np.unwrap(np.arctan2(east, north))
    mean = float(headings.mean())
    steps = (headings - mean) * np.diff(along)
    return mean, np.concatenate([[0.0], np.cumsum(steps)])


def _everywhere(along: FloatArray, aside: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the strike against the mean one at all points, and its variance, part by part."""
    length = float(along[-1])
    cut = min(END, max((length - LEAST) / 2.0, 0.0))
    told = (along >= cut - 1e-9) & (along <= length - cut + 1e-9)
    parts = 1 + int(np.ceil(max(length - LONGEST, 0.0) / (LONGEST / 2.0)))
    middles = length / 2.0 if parts == 1 else np.linspace(LONGEST / 2, length - LONGEST / 2, parts)
    nearest = np.abs(along[:, None] - np.atleast_1d(middles)).argmin(axis=1)
    turn, variance = np.zeros(along.size), np.zeros(along.size)
    for number, middle in enumerate(np.atleast_1d(middles)):
        own = nearest == number
        used = told & (np.abs(along - middle) <= LONGEST / 2.0 + 1e-9)
        turn[own], variance[own] = course(along[used], aside[used], along[own])
    return turn, variance
