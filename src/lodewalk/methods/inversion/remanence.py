"""Direction of the magnetisation of a compact body, told two ways."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.bodies.anomaly import exact_anomaly
from lodewalk.methods.bodies.dipole import dipole_field
from lodewalk.methods.inversion._pole_correlation import best_direction, reduced
from lodewalk.methods.inversion.compact import CompactFit, fit_compact
from lodewalk.methods.inversion.results import Noise
from lodewalk.validation import FloatArray, check_positive

#: Flattest ambient field that is reduced to the pole [deg]; below it noise along its azimuth wins.
FLATTEST_DEG = 15.0
#: Continued upwards before the gradients are taken, and correlated this far out [depths].
UP, OUT = 0.3, 1.5
#: The two directions may lie this far apart beyond their cone [deg].
APART_DEG = 10.0
#: Largest cone that a direction is told with [deg]; at this one an error in three is over 10.
LARGEST_CONE_DEG = 15.0
#: Largest share of the window's nodes that may be holes.
HOLES = 0.2


@dataclass(frozen=True)
class MagnetisationDirection:
    """Direction of a body's whole magnetisation, or why it can't be told.

    Parameters
    ----------
    direction : array, shape (3,)
        Unit vector, north, east and down, by the fit; NaN where there is a problem.
    inclination_deg, declination_deg : float
        Its angles, from the north of the grid.
    cone_deg : float
        Half the angle of the cone that holds it in nine of ten [deg].
    by_correlation : array, shape (3,)
        Direction by the correlation of the field reduced to the pole; NaN where the ambient field
        is too flat for that.
    correlation : float
        The highest correlation.
    apart_deg : float
        Angle between the two [deg].
    off_field_deg : float
        Angle between the direction and the ambient field [deg].
    remanent : bool
        Whether the ambient field lies outside the cone: the body holds remanence, if it isn't so
        strongly magnetic that its shape turns the magnetisation.
    fit : CompactFit
        The fit.
    problem : str
        Why it can't be told: one sentence; empty where it can.
    kind : str
        Of the problem: that of the fit, ``holes``, ``apart``, ``wide``, or nothing.
    """

    direction: FloatArray = field(default_factory=lambda: np.full(3, np.nan))
    inclination_deg: float = float("nan")
    declination_deg: float = float("nan")
    cone_deg: float = float("nan")
    by_correlation: FloatArray = field(default_factory=lambda: np.full(3, np.nan))
    correlation: float = float("nan")
    apart_deg: float = float("nan")
    off_field_deg: float = float("nan")
    remanent: bool = False
    fit: CompactFit = field(default_factory=CompactFit)
    problem: str = ""
    kind: str = ""


def magnetisation_direction(
    anomaly_nT: ArrayLike,
    *,
    west_m: float,
    south_m: float,
    spacing_m: float,
    height_m: ArrayLike,
    ambient_nT: ArrayLike,
    sd_nT: ArrayLike = 1.0,
    noise: Noise | None = None,
    fit: CompactFit | None = None,
) -> MagnetisationDirection:
    """Tell the direction of magnetisation of the compact body in a window of a grid.

    Parameters
    ----------
    anomaly_nT : array, shape (rows, columns)
        Total-field anomaly, rows to the north, columns to the east; NaN in a hole [nT].
    west_m, south_m, spacing_m : float
        Easting and northing of the first node, and the spacing [m].
    height_m : float or array, shape (rows, columns)
        Height of the sensor [m].
    ambient_nT : array, shape (3,)
        Ambient field towards grid north, grid east and down [nT].
    sd_nT, noise
        Errors of the nodes, as for `fit_compact`.
    fit : CompactFit, optional
        A fit to readings around the body, in place of one to the nodes.

    Returns
    -------
    MagnetisationDirection
        The direction, or a problem: that of the fit (cut by the edge, another body, a long one,
        flat, weak), holes, two ways that disagree, or a cone too wide.

    Raises
    ------
    InputError
        For a grid that isn't one, or a spacing not above zero.

    Notes
    -----
    Two ways that must agree. The first fits place, moment, shape and trend to the nodes
    (`fit_compact`). The second takes the fitted trend off, reduces the rest to the pole for trial
    directions, and looks for the highest correlation of the vertical with the total gradient
    [1]_, within 1.5 depths of the body and 0.3 depths higher; the surface is taken as level. The
    direction told is the fit's, whose error is known; trials show the other to be about as
    good. The ambient field must dip 15 degrees or more for the second. A long body, whose dip
    and direction aren't both told by its field, is refused.

    References
    ----------
    .. [1] Dannemiller, N., and Li, Y. (2006), A new method for determination of magnetization
       direction, Geophysics 71(6), L69-L73, doi:10.1190/1.2356116 (as later papers cite
       and describe it).

    Examples
    --------
    >>> from lodewalk.methods.bodies import ambient_vector
    >>> axis = np.arange(-30.0, 31.0, 2.0)
    >>> east, north = np.meshgrid(axis, axis)
    >>> ambient = ambient_vector(strength_nT=50000.0, inclination_deg=60.0)
    >>> field = dipole_field(east, north, 0.0, centre=[3, -2, -12], moment=[0.0, 800.0, 600.0])
    >>> told = magnetisation_direction(exact_anomaly(field, ambient_nT=ambient), west_m=-30.0,
    ...     south_m=-30.0, spacing_m=2.0, height_m=0.0, ambient_nT=ambient, sd_nT=0.5)
    >>> round(told.inclination_deg), round(told.declination_deg), told.remanent
    (37, 90, True)
    """
    values = np.asarray(anomaly_nT, dtype=float)
    check_positive(spacing_m, name="Spacing of the grid")
    if values.ndim != 2 or min(values.shape) < 2:
        raise InputError("A window of a grid has rows and columns.", value=values.shape)
    east, north = np.meshgrid(
        west_m + spacing_m * np.arange(values.shape[1]),
        south_m + spacing_m * np.arange(values.shape[0]),
    )
    height = np.broadcast_to(np.asarray(height_m, dtype=float), values.shape)
    errors = np.broadcast_to(np.asarray(sd_nT, dtype=float), values.shape)
    there = np.isfinite(values) & np.isfinite(errors) & np.isfinite(height)
    if there.mean() < 1.0 - HOLES:
        share = round(100.0 * (1.0 - float(there.mean())))
        return MagnetisationDirection(
            problem=f"Holes make up {share} % of the window.", kind="holes"
        )
    ambient = np.asarray(ambient_nT, dtype=float)
    fit = fit or fit_compact(
        east[there], north[there], height[there], values[there], ambient_nT=ambient,
        sd_nT=errors[there], noise=noise,
    )  # fmt: skip
    if fit.problem:
        return MagnetisationDirection(fit=fit, problem=fit.problem, kind=fit.kind)
    places = np.array([east, north, np.where(there, height, fit.middle[2])])
    turned, alike = _by_correlation(values, there, places, spacing_m, ambient, fit)
    return _agreed(fit, ambient, turned, alike)


def _by_correlation(
    values: FloatArray,
    there: FloatArray,
    places: FloatArray,
    spacing_m: float,
    ambient: FloatArray,
    fit: CompactFit,
) -> tuple[FloatArray, float]:
    """Return the direction of the highest correlation, and that; NaN in too flat a field."""
    if abs(_angle(ambient, np.array([0.0, 0.0, 1.0])) - 90.0) < FLATTEST_DEG:
        return np.full(3, np.nan), float("nan")
    deep = fit.estimates["depth_m"].value
    centre = [fit.estimates[name].value for name in ("easting_m", "northing_m")]
    offset = [(places[i] - fit.middle[i]) / fit.reach_m for i in range(2)]
    trend = fit.trend_nT[0] + fit.trend_nT[1] * offset[0] + fit.trend_nT[2] * offset[1]
    body = dipole_field(*places, centre=[*centre, fit.middle[2] - deep], moment=fit.moment)
    clean = np.where(there, values - trend, exact_anomaly(body, ambient_nT=ambient))
    inside = np.hypot(places[0] - centre[0], places[1] - centre[1]) <= OUT * deep
    spectrum = reduced(clean, spacing_m=spacing_m, ambient=ambient, up_m=UP * deep, inside=inside)
    return best_direction(spectrum)


def _agreed(
    fit: CompactFit, ambient: FloatArray, turned: FloatArray, alike: float
) -> MagnetisationDirection:
    """Return the direction, if both ways tell it."""
    direction = fit.moment / np.linalg.norm(fit.moment)
    apart = _angle(direction, turned)
    problem, kind = "", ""
    if fit.cone_deg > LARGEST_CONE_DEG:
        problem = f"The direction is known to {fit.cone_deg:.0f} degrees only."
        kind = "wide"
    elif apart > APART_DEG + fit.cone_deg:
        problem = (
            f"Fit and reduction to the pole tell directions {apart:.0f} degrees apart: the body "
            "isn't alone or isn't compact."
        )
        kind = "apart"
    told = MagnetisationDirection(
        by_correlation=turned, correlation=alike, apart_deg=apart, fit=fit
    )
    if problem:
        return replace(told, problem=problem, kind=kind)
    off = _angle(direction, ambient)
    return replace(
        told,
        direction=direction,
        inclination_deg=fit.estimates["inclination_deg"].value,
        declination_deg=fit.estimates["declination_deg"].value,
        cone_deg=fit.cone_deg,
        off_field_deg=off,
        remanent=off > fit.cone_deg,
    )


def _angle(one: FloatArray, two: FloatArray) -> float:
    """Return the angle between two vectors [deg]."""
    share = float(one @ two) / float(np.linalg.norm(one) * np.linalg.norm(two))
    return float(np.degrees(np.arccos(np.clip(share, -1.0, 1.0))))
