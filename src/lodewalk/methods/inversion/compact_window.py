"""A compact body under a place: how wide a window of readings tells it, and its curve there."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import griddata

from lodewalk.methods.bodies.anomaly import exact_anomaly
from lodewalk.methods.bodies.dipole import dipole_field
from lodewalk.methods.inversion.compact import CompactFit, fit_compact
from lodewalk.methods.inversion.remanence import MagnetisationDirection, magnetisation_direction
from lodewalk.validation import FloatArray

#: Least and most half side of a window in depths of the body's centre, and the best one: wide
#: enough to part the trend from the body, narrow enough to leave neighbours out.
LEAST, BEST, MOST = 1.8, 3.0, 5.0
#: Farthest that a body's centre may lie from its place: depths, and half sides of the window.
AWAY_DEPTHS, AWAY_REACH = 1.0, 0.5
#: Nodes to a depth of the map on which the direction is tested.
FINE = 5.0
#: Problems in the order in which they say most, where no window has a body.
TELLING = ("aside", "long", "neighbour", "scale", "weak", "edge", "flat", "too few")


@dataclass(frozen=True)
class CompactReadings:
    """Readings that a compact body may be fitted to; all arrays of one length.

    Parameters
    ----------
    easting_m, northing_m, height_m : array, shape (n,)
        Places of the sensor [m].
    anomaly_nT, sd_nT : array, shape (n,)
        Total-field anomaly and its independent error, one standard deviation [nT].
    line : int array, shape (n,)
        Line that each lies on.
    line_sd_nT, place_sd_m : array, shape (n,)
        Error that a line shares [nT], and that of places on one axis [m].
    """

    easting_m: FloatArray
    northing_m: FloatArray
    height_m: FloatArray
    anomaly_nT: FloatArray
    sd_nT: FloatArray
    line: NDArray[np.int64]
    line_sd_nT: FloatArray
    place_sd_m: FloatArray

    def inside(self, place: tuple[float, float], reach_m: float) -> NDArray[np.int64]:
        """Return the rows of a square around a place."""
        near = np.maximum(abs(self.easting_m - place[0]), abs(self.northing_m - place[1]))
        return np.flatnonzero(near <= reach_m)


@dataclass(frozen=True)
class AtPlace:
    """The compact body at a place, the rows it was fitted to, and what each window said.

    `tried` holds half the side of each window [m] and its problem, empty where it had none.
    """

    fit: CompactFit
    reach_m: float
    rows: NDArray[np.int64]
    tried: tuple[tuple[float, str], ...] = field(default=())


def fit_at_place(
    readings: CompactReadings,
    place: tuple[float, float],
    *,
    reaches_m: Sequence[float],
    ambient_nT: ArrayLike,
) -> AtPlace:
    """Fit a compact body to readings around a place, in the window that suits its depth.

    Parameters
    ----------
    readings : CompactReadings
        Readings with their errors.
    place : tuple of float
        Easting and northing [m].
    reaches_m : sequence of float
        Half sides of the windows that are tried [m].
    ambient_nT : array, shape (3,)
        Ambient field towards grid north, grid east and down [nT].

    Returns
    -------
    AtPlace
        The body, or the problem that says most.

    Notes
    -----
    A window counts where its half side is 1.8 to 5 depths of the centre that it tells, and where
    the centre lies within a depth of the place, or half the half side; of several the one nearest
    to three depths is taken, by the ratio alone, whatever body it tells. Wider ones than the first
    that counts with three depths or more aren't tried.

    Examples
    --------
    >>> from lodewalk.methods.bodies import ambient_vector
    >>> line, along = np.divmod(np.arange(369), 41)
    >>> east, north = 10.0 * line - 40.0, 2.0 * along - 40.0
    >>> ambient = ambient_vector(strength_nT=50000.0, inclination_deg=60.0)
    >>> field = dipole_field(east, north, 0.0, centre=[3, -2, -12], moment=[300.0, 0.0, 900.0])
    >>> flat = np.zeros(369)
    >>> readings = CompactReadings(east, north, flat, exact_anomaly(field, ambient_nT=ambient),
    ...     flat + 0.5, line, flat, flat)
    >>> found = fit_at_place(readings, (0.0, 0.0), reaches_m=(20.0, 30.0, 40.0), ambient_nT=ambient)
    >>> found.reach_m, round(found.fit.estimates["depth_m"].value, 2)
    (40.0, 12.0)
    """
    each = []
    for reach in sorted(reaches_m):
        rows = readings.inside(place, reach)
        fit = _suited(_fitted(readings, rows, ambient_nT), place, reach)
        each.append((reach, rows, fit))
        if not fit.problem and reach >= BEST * fit.estimates["depth_m"].value:
            break
    tried = tuple((reach, fit.problem) for reach, _, fit in each)
    good = [item for item in each if not item[2].problem]
    if good:
        reach, rows, fit = min(
            good,
            key=lambda item: abs(np.log(item[0] / (BEST * item[2].estimates["depth_m"].value))),
        )
    else:
        reach, rows, fit = min(each, key=lambda item: TELLING.index(item[2].kind))
    return AtPlace(fit, reach, rows, tried)


def _fitted(readings: CompactReadings, rows: NDArray[np.int64], ambient: ArrayLike) -> CompactFit:
    """Return the body of one window."""
    return fit_compact(
        readings.easting_m[rows],
        readings.northing_m[rows],
        readings.height_m[rows],
        readings.anomaly_nT[rows],
        ambient_nT=ambient,
        sd_nT=readings.sd_nT[rows],
        line=readings.line[rows],
        line_sd_nT=readings.line_sd_nT[rows],
        place_sd_m=readings.place_sd_m[rows],
    )


def _suited(fit: CompactFit, place: tuple[float, float], reach_m: float) -> CompactFit:
    """Return a fit, with a problem where its body is another one or its window doesn't suit."""
    if fit.problem:
        return fit
    deep = fit.estimates["depth_m"].value
    off = [fit.estimates[n].value - at for n, at in zip(("easting_m", "northing_m"), place,
                                                        strict=True)]  # fmt: skip
    away = float(np.hypot(off[0], off[1]))
    if away > max(AWAY_DEPTHS * deep, AWAY_REACH * reach_m):
        text = f"The compact body that the readings show lies {away:.0f} m away."
        return replace(fit, problem=text, kind="aside")
    if not LEAST <= reach_m / deep <= MOST:
        text = (
            f"No window of readings suits its depth: at {reach_m:.0f} m to either side its centre "
            f"would lie {deep:.0f} m below the sensor."
        )
        return replace(fit, problem=text, kind="scale")
    return fit


def compact_curve(
    fit: CompactFit,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    ambient_nT: ArrayLike,
) -> tuple[FloatArray, FloatArray]:
    """Return the anomaly of a fitted body with its trend, and the trend alone [nT].

    Parameters
    ----------
    fit : CompactFit
        A fit without a problem.
    easting_m, northing_m, height_m : array, shape (n,)
        Places of the sensor [m].
    ambient_nT : array, shape (3,)
        Ambient field towards grid north, grid east and down [nT].

    Returns
    -------
    model, trend : array, shape (n,)
        By the exact difference of magnitudes.
    """
    own = fit.estimates
    centre = [own["easting_m"].value, own["northing_m"].value,
              fit.middle[2] - own["depth_m"].value]  # fmt: skip
    east, north, height = (
        np.asarray(part, dtype=float) for part in (easting_m, northing_m, height_m)
    )
    body = dipole_field(east, north, height, centre=centre, moment=fit.moment)
    offset = [(part - fit.middle[i]) / fit.reach_m for i, part in enumerate((east, north))]
    trend = fit.trend_nT[0] + fit.trend_nT[1] * offset[0] + fit.trend_nT[2] * offset[1]
    return exact_anomaly(body, ambient_nT=ambient_nT) + trend, np.asarray(trend)


def direction_at_place(
    found: AtPlace, readings: CompactReadings, *, ambient_nT: ArrayLike
) -> MagnetisationDirection:
    """Tell the direction of magnetisation of a body that was fitted to readings.

    Parameters
    ----------
    found : AtPlace
        The body.
    readings : CompactReadings
        The readings it was fitted to, with others.
    ambient_nT : array, shape (3,)
        Ambient field towards grid north, grid east and down [nT].

    Returns
    -------
    MagnetisationDirection
        By `magnetisation_direction`, with this fit.

    Notes
    -----
    The map that is reduced to the pole is the body's own field at its nodes, five to a depth, with
    what the readings leave over laid linearly between them: lines that lie farther apart than a
    map needs bend what is left over only.
    """
    fit = found.fit
    if fit.problem:
        return MagnetisationDirection(fit=fit, problem=fit.problem, kind=fit.kind)
    parts = (readings.easting_m, readings.northing_m, readings.height_m, readings.anomaly_nT)
    own = [part[found.rows] for part in parts]
    rest = own[3] - compact_curve(fit, *own[:3], ambient_nT=ambient_nT)[0]
    spacing = fit.estimates["depth_m"].value / FINE
    half = int(np.floor(fit.reach_m / spacing))
    offset = spacing * np.arange(-half, half + 1)
    east, north = np.meshgrid(fit.middle[0] + offset, fit.middle[1] + offset)
    model = compact_curve(
        fit, east, north, np.full(east.shape, fit.middle[2]), ambient_nT=ambient_nT
    )[0]
    left = griddata((own[0] - fit.middle[0], own[1] - fit.middle[1]), rest,
                    (east - fit.middle[0], north - fit.middle[1]))  # fmt: skip
    return magnetisation_direction(
        model + left,
        west_m=float(east[0, 0]),
        south_m=float(north[0, 0]),
        spacing_m=spacing,
        height_m=float(fit.middle[2]),
        ambient_nT=ambient_nT,
        fit=fit,
    )
