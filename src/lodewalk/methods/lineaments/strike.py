"""Strike of a traced line, and how sure each of its places is."""

from typing import NamedTuple

import numpy as np

from lodewalk.methods.lineaments.polyline import principal_axis
from lodewalk.methods.lineaments.trace import Ridge
from lodewalk.validation import check_positive

#: Least scatter of a place across the strike, and length of independent parts [line spacings]:
#: neighbours and beads pull at a crest as noise does, over the length of the filter.
LEAST_SCATTER, INDEPENDENT = 0.13, 2.5


class Strike(NamedTuple):
    """Strike of a line in 0 to 180 degrees, and its standard deviation."""

    strike_deg: float
    sd_deg: float


def strike_of(ridge: Ridge, *, line_spacing_m: float) -> Strike:
    """Return the strike of a traced line: that of the straight line closest to it.

    Parameters
    ----------
    ridge : Ridge
        A line from `trace_ridges`.
    line_spacing_m : float
        Distance between survey lines [m].

    Returns
    -------
    Strike

    Notes
    -----
    Total least squares. The error is that of a straight line through independent places,
    ``sd / (length sqrt(n / 12))``, each with the scatter of `place_sd`.

    Examples
    --------
    >>> east = np.arange(0.0, 200.0, 10.0)
    >>> ridge = Ridge(east, 0 * east, 0 * east + 1, 0 * east + 5, 5.0, 1.0)
    >>> found = strike_of(ridge, line_spacing_m=20.0)
    >>> round(found.strike_deg, 3), round(found.sd_deg, 2)
    (90.0, 1.49)
    """
    check_positive(line_spacing_m, name="line_spacing_m")
    place = np.column_stack([ridge.easting_m, ridge.northing_m])
    place = place - place[0]
    east, north = principal_axis(place)
    aside = (place - place.mean(axis=0)) @ [north, -east]
    sd = place_sd(
        float(np.sqrt(np.mean(aside**2))), ridge.half_width_m, float(np.median(ridge.ratio)),
        line_spacing_m=line_spacing_m,
    )  # fmt: skip
    independent = max(ridge.length_m / (INDEPENDENT * line_spacing_m), 1.0)
    error = sd / (ridge.length_m * np.sqrt(independent / 12))
    return Strike(
        float(np.degrees(np.arctan2(east, north)) % 180.0), float(np.degrees(min(error, 1.0)))
    )


def place_sd(
    scatter_m: float, half_width_m: float, ratio: float, *, line_spacing_m: float
) -> float:
    """Return the standard deviation of a place of a line across its strike.

    Parameters
    ----------
    scatter_m : float
        Root mean square distance of its places from a straight line [m].
    half_width_m, ratio : float
        Width of the filter [m] and usual ratio, as in `Ridge`.
    line_spacing_m : float
        Distance between survey lines [m].

    Returns
    -------
    float
        In metres.

    Notes
    -----
    The scatter, the error of a crest's place in noise (its width over the ratio: where the slope
    of a parabola of that width drowns) and an eighth of the line spacing for what neighbours and
    beads do (common practice), together.

    Examples
    --------
    >>> round(place_sd(0.0, 6.0, 3.0, line_spacing_m=15.0), 2)
    2.79
    """
    return float(
        np.sqrt(
            scatter_m**2
            + (half_width_m / max(ratio, 0.5)) ** 2
            + (LEAST_SCATTER * line_spacing_m) ** 2
        )
    )
