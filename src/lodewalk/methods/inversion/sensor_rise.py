"""The height of the walked ground near a profile, from the rough heights of all lines around."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Keeps the plane level across the lines where a single line was walked, in squared reaches.
HOLD: Final = 1e-3
#: Reaches tried, in line spacings, and the most places at which they are tried.
REACHES: Final = (1.0, 2.0, 4.0)
MOST_TRIED: Final = 400


def local_height(
    easting_m: FloatArray,
    northing_m: FloatArray,
    height_m: FloatArray,
    *,
    at_easting_m: FloatArray,
    at_northing_m: FloatArray,
    reach_m: float,
) -> FloatArray:
    """Return the height of the ground walked on near some places, smoothed over the lines.

    Parameters
    ----------
    easting_m, northing_m, height_m : array, shape (n,)
        Places and heights of readings on any lines [m], all finite.
    at_easting_m, at_northing_m : array, shape (m,)
        Places wanted [m].
    reach_m : float
        Readings count by ``exp(-distance**2 / (2 reach**2))`` [m].

    Returns
    -------
    array, shape (m,)
        Height [m]: the plane through the weighed readings, at each place.

    Raises
    ------
    InputError
        For arrays of different lengths or a reach not above zero.

    Notes
    -----
    The heights of a satellite receiver wander by metres within minutes, which along one line looks
    like ground; readings of other lines, taken at other times, tell the two apart. Local regression
    of first order [1]_.

    References
    ----------
    .. [1] Cleveland, W. S. (1979), Robust locally weighted regression and smoothing scatterplots,
       Journal of the American Statistical Association, 74, 829-836,
       doi:10.1080/01621459.1979.10481038.

    Examples
    --------
    >>> east, north = np.meshgrid(np.arange(5.0), np.arange(5.0))
    >>> found = local_height(east.ravel(), north.ravel(), 3.0 + 2.0 * north.ravel(), reach_m=2.0,
    ...                      at_easting_m=np.array([2.0]), at_northing_m=np.array([1.0]))
    >>> found.round(2).tolist()
    [5.0]
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m, height_m=height_m)
    check_positive(reach_m, name="Reach")
    usual = float(np.mean(height_m))
    east = (easting_m[None, :] - at_easting_m[:, None]) / reach_m
    north = (northing_m[None, :] - at_northing_m[:, None]) / reach_m
    weight = np.exp(-0.5 * (east**2 + north**2))
    basis = np.stack([np.ones_like(east), east, north], axis=1)
    weighed = basis * weight[:, None, :]
    normal = weighed @ basis.transpose(0, 2, 1)
    total = normal[:, 0, 0]
    normal[:, [1, 2], [1, 2]] += HOLD * total[:, None]
    right = weighed @ (height_m - usual)
    found = np.full(at_easting_m.size, usual)
    near = total > 1e-6
    found[near] += np.linalg.solve(normal[near], right[near][..., None])[:, 0, 0]
    return found


def choose_reach(
    easting_m: FloatArray,
    northing_m: FloatArray,
    height_m: FloatArray,
    passage: NDArray[np.int64],
    *,
    line_spacing_m: float,
) -> float:
    """Return the reach whose smooth ground foretells the heights of lines left out best.

    Parameters
    ----------
    easting_m, northing_m, height_m : array, shape (n,)
        Places and mean heights of pieces of lines [m].
    passage : int array, shape (n,)
        Passage that each piece belongs to.
    line_spacing_m : float
        Distance between lines [m].

    Returns
    -------
    float
        One of `REACHES`, in metres: the widest where there is a single line.

    Notes
    -----
    At some hundred pieces the height is foretold from the pieces of all other passages; the sum of
    the absolute departures decides.

    Examples
    --------
    >>> east, north = (axis.ravel() for axis in np.meshgrid(np.arange(0, 200, 20.0),
    ...                                                     np.arange(0, 200, 5.0)))
    >>> choose_reach(east, north, 5 * np.sin(north / 20), (east / 20).astype(int),
    ...              line_spacing_m=20.0)
    20.0
    """
    check_same_length(height_m=height_m, passage=passage)
    every = line_spacing_m * np.array(REACHES)
    if np.unique(passage).size < 2:
        return float(every[-1])
    tried = np.arange(0, passage.size, max(1, passage.size // MOST_TRIED))
    missed = np.zeros(every.size)
    for number in np.unique(passage[tried]):
        own, others = tried[passage[tried] == number], passage != number
        for k, reach in enumerate(every):
            found = local_height(
                easting_m[others],
                northing_m[others],
                height_m[others],
                at_easting_m=easting_m[own],
                at_northing_m=northing_m[own],
                reach_m=float(reach),
            )
            missed[k] += float(np.abs(found - height_m[own]).sum())
    return float(every[np.argmin(missed)])
