"""Strike of a lineament at one of its places, and how sure it is there."""

from typing import Final

import numpy as np

from lodewalk.methods.lineaments.strike import INDEPENDENT, Strike
from lodewalk.validation import FloatArray, check_positive

#: Length of either end that tells no strike, half the piece that does, the least length of what is
#: left between the ends, and the distance of its points [line spacings].
END, HALF, LEAST, STEP = 1.25, 2.0, 2.0, 0.125
#: Least scatter of a place across the strike [line spacings], and least turn of a strike along a
#: body [degrees a line spacing]; common practice.
LEAST_SCATTER, LEAST_TURN_DEG = 0.012, 0.3
#: Turn where a lineament is too short to show its own, in least ones.
SHORT: Final = 3.0


def local_strike(
    corners: FloatArray,
    place: tuple[float, float],
    *,
    line_spacing_m: float,
    towards_deg: float,
) -> Strike:
    """Return the strike of a polyline near a place, with its standard deviation.

    Parameters
    ----------
    corners : array, shape (m, 2)
        Easting and northing of its corners [m].
    place : tuple = (easting, northing)
        The place on it [m].
    line_spacing_m : float
        Distance between survey lines [m].
    towards_deg : float
        The answer lies within 90 degrees of this azimuth, so that all profiles of one lineament
        look to one side [deg].

    Returns
    -------
    Strike
        Azimuth from grid north, 0 to 360 [deg].

    Notes
    -----
    The straight line closest to a piece of four line spacings about the place (total least
    squares). The last line spacing of a traced line bends towards the normal of the border, or of
    the fault it ends at, because half of the filter lies beyond it; so it is left out, and near an
    end the strike is that of the nearest piece farther in. The error is that of a straight line
    through independent places, ``scatter / (length sqrt(n / 12))``, with the scatter about all such
    pieces; and for a place beside its piece's middle the turn of the strike along the lineament,
    as the pieces show it, times that distance, in quadrature.

    Examples
    --------
    >>> corners = np.array([[0.0, 0.0], [70.0, 70.0], [75.0, 60.0]])
    >>> found = local_strike(corners, (75.0, 60.0), line_spacing_m=10.0, towards_deg=200.0)
    >>> round(found.strike_deg, 1), round(found.sd_deg, 1)
    (225.0, 1.1)
    """
    check_positive(line_spacing_m, name="line_spacing_m")
    even, points = _even_points(corners / line_spacing_m)
    cut = min(END, max((even[-1] - LEAST) / 2.0, 0.0))
    half = min(HALF, even[-1] / 2.0 - cut)
    first, last = cut + half, even[-1] - cut - half
    near = np.hypot(*(points - np.asarray(place) / line_spacing_m).T)
    here = float(even[np.argmin(near)])
    at = float(np.clip(here, first, last))
    count = 1 + round((last - first) / half)
    middles = np.linspace(first, last, count) if count > 1 else np.array([at])
    pieces = [_straight(even, points, middle, half) for middle in middles]
    scatter = float(np.sqrt(np.mean([one[1] for one in pieces]) + LEAST_SCATTER**2))
    turn = _turn(middles, np.array([one[0] for one in pieces]))
    independent = max(2.0 * half / INDEPENDENT, 1.0)
    error = np.degrees(scatter / (2.0 * half * np.sqrt(independent / 12.0)))
    azimuth = _straight(even, points, at, half)[0]
    azimuth += 180.0 * np.round((towards_deg - azimuth) / 180.0)
    return Strike(float(azimuth % 360.0), float(np.hypot(error, turn * abs(here - at))))


def _even_points(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return even distances along a polyline and the points there."""
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    even = np.linspace(0.0, at[-1], max(2, int(np.ceil(at[-1] / STEP)) + 1))
    return even, np.stack([np.interp(even, at, axis) for axis in corners.T], axis=1)


def _straight(
    even: FloatArray, points: FloatArray, middle: float, half: float
) -> tuple[float, float]:
    """Return azimuth [deg] and mean square distance of points from the line closest to a piece."""
    piece = points[np.abs(even - middle) <= half + STEP]
    piece = piece - piece.mean(axis=0)
    east, north = np.linalg.svd(piece, full_matrices=False)[2][0]
    aside = piece @ np.array([north, -east])
    return float(np.degrees(np.arctan2(east, north))), float(np.mean(aside**2))


def _turn(middles: FloatArray, azimuths: FloatArray) -> float:
    """Return how fast the strike turns from piece to piece without overlap [deg]."""
    if middles.size < 3:
        return SHORT * LEAST_TURN_DEG
    turned = (azimuths[2:] - azimuths[:-2] + 90.0) % 180.0 - 90.0
    rate = turned / (middles[2:] - middles[:-2])
    return float(np.hypot(np.sqrt(np.mean(rate**2)), LEAST_TURN_DEG))
