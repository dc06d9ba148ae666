"""A compact body fitted to readings or nodes around it: place, depth, moment, direction."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import chi2

from lodewalk.errors import InputError
from lodewalk.methods.inversion._compact import (
    Solution,
    Window,
    by_line,
    modelled,
    noise_root,
    solve,
    starts,
    widened,
)
from lodewalk.methods.inversion._pole_correlation import tangents
from lodewalk.methods.inversion.results import NINETY, Estimate, Noise
from lodewalk.units import MAGNETIC_CONSTANT
from lodewalk.validation import FloatArray, check_same_length

#: Fewest readings, and the most that are used: beyond them, every second, third, ...
FEWEST, MOST = 30, 1000
#: Sum of squares that a body must explain to be told from none.
LEAST_EXPLAINED = 40.0
#: Directions around the body in which readings must lie, and how far out, in depths.
SECTORS, REACH = 8, 1.0
#: Largest share of the anomaly that a body of its kind leaves over noise.
LARGEST_REST = 0.04
#: Largest part of a compact body's shape in squares of its depth: that of a block of half sides
#: 0.5, 0.25 and 0.25 depths. A long body's lies above it with its whole interval.
LARGEST_SHAPE = 0.042
#: Largest standard deviation of the logarithm of the depth.
LARGEST_DEPTH_ERROR = 0.3
#: Farthest and deepest place that a search may reach, in widths of the window.
FARTHEST = 3.0
#: Why there is no fit where the first one runs away.
NO_BODY = "The readings show no compact body here: a fit of one runs off to no place and no size."


@dataclass(frozen=True)
class CompactFit:
    """A compact body, or why there is none.

    Parameters
    ----------
    estimates : mapping of str to Estimate
        ``easting_m``, ``northing_m``, ``depth_m`` (of the centre below the median height of the
        sensor), ``moment_A_m2``, ``inclination_deg``, ``declination_deg`` (of the moment, from
        the north of the readings' frame), ``volume_susceptibility_m3`` (volume times
        susceptibility, were the moment induced alone), ``level_nT``; empty where there is a
        problem.
    moment : array, shape (3,)
        North, east and down part of the moment [A m2].
    moment_covariance : array, shape (3, 3)
        Its covariance, place, shape and trend being free.
    cone_deg : float
        Half the angle of the cone that holds the direction in nine of ten [deg].
    trend_nT : array, shape (3,)
        Level, and slopes over half the window towards east and north [nT].
    middle : array, shape (3,)
        Easting, northing and height that the trend and the depth are told from [m].
    reach_m : float
        Half the window's side [m].
    shape : float
        Largest part of the shape in squares of the depth: 0 for a sphere or cube.
    rest : float
        Rms of what is left over noise, as a share of the anomaly's.
    misfit : float
        Rms of the whitened residuals.
    problem : str
        Why there is no number: one sentence; empty where there is one.
    kind : str
        Of the problem: ``too few``, ``flat``, ``edge``, ``neighbour``, ``long``, ``weak``, or
        nothing.
    """

    estimates: Mapping[str, Estimate] = field(default_factory=dict)
    moment: FloatArray = field(default_factory=lambda: np.full(3, np.nan))
    moment_covariance: FloatArray = field(default_factory=lambda: np.full((3, 3), np.nan))
    cone_deg: float = float("nan")
    trend_nT: FloatArray = field(default_factory=lambda: np.full(3, np.nan))
    middle: FloatArray = field(default_factory=lambda: np.full(3, np.nan))
    reach_m: float = float("nan")
    shape: float = float("nan")
    rest: float = float("nan")
    misfit: float = float("nan")
    problem: str = ""
    kind: str = ""


def fit_compact(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    anomaly_nT: ArrayLike,
    *,
    ambient_nT: ArrayLike,
    sd_nT: ArrayLike = 1.0,
    noise: Noise | None = None,
    line: ArrayLike = 0,
    line_sd_nT: ArrayLike = 0.0,
    place_sd_m: ArrayLike = 0.0,
) -> CompactFit:
    """Fit a compact body to the readings or grid nodes of a window.

    Parameters
    ----------
    easting_m, northing_m, height_m : array, shape (n,)
        Places of the sensor [m].
    anomaly_nT : array, shape (n,)
        Total-field anomaly [nT].
    ambient_nT : array, shape (3,)
        Ambient field towards the frame's north, east and down [nT], as `ambient_vector` gives.
    sd_nT : float or array, shape (n,)
        Independent error of each reading, one standard deviation [nT].
    noise : Noise, optional
        Its scale, and the error that neighbours share; none by default.
    line : int or array, shape (n,)
        Number of the line that each reading lies on.
    line_sd_nT : float or array, shape (n,)
        Error that the readings of a line share, one standard deviation [nT].
    place_sd_m : float or array, shape (n,)
        Error of each reading's place on one axis, shared by its line [m].

    Returns
    -------
    CompactFit
        The body with its 90 % intervals, or a problem and no numbers: too few readings, nothing
        there, cut by the edge, another body in the window, too long for a compact one, too weak.

    Raises
    ------
    InputError
        For arrays of different lengths or values that aren't finite.

    Notes
    -----
    A dipole at the centre, with level and two slopes, is fitted to the exact difference of
    magnitudes, derivatives in closed form, noise whitened by the root of its covariance. What a
    compact body has beyond its dipole is error besides, told by the data's own first fit: the five
    parts of its shape (`shaped_dipole_field`), of standard deviation 0.02 squares of the depth,
    and beyond them the mean over blocks whose tops lie at half the depth of their centre or lower.
    So no interval rests on the body's being a sphere. A second fit with the shape free tells a
    long body. Starts are the best places of a lattice by linear least squares. Of more than 1000
    readings every second, third, ... is used.

    Examples
    --------
    >>> from lodewalk.methods.bodies import ambient_vector, dipole_field, exact_anomaly
    >>> east, north = (part.ravel() for part in np.meshgrid(*[np.arange(-30.0, 31.0, 4.0)] * 2))
    >>> ambient = ambient_vector(strength_nT=50000.0, inclination_deg=60.0)
    >>> field = dipole_field(east, north, 0.0, centre=[3, -2, -12], moment=[300.0, 0.0, 900.0])
    >>> fit = fit_compact(east, north, 0.0 * east, exact_anomaly(field, ambient_nT=ambient),
    ...     ambient_nT=ambient, sd_nT=0.5)
    >>> round(fit.estimates["depth_m"].value, 3), round(fit.cone_deg, 1)
    (12.0, 2.0)
    """
    window = _window(
        (easting_m, northing_m, height_m), anomaly_nT, ambient_nT, noise,
        errors=(sd_nT, line, line_sd_nT, place_sd_m),
    )  # fmt: skip
    few = _too_few(window)
    if few:
        return CompactFit(problem=few, kind="too few")
    tried = [solve(window, start, shape=False, exact=True) for start in starts(window)]
    if not tried:
        return CompactFit(problem="The window is too small for a body below it.", kind="too few")
    plain = min(tried, key=lambda solution: solution.cost)
    if _ran_off(window, plain):
        return CompactFit(problem=NO_BODY, kind="weak")
    free, compact = widened(window, plain.values)
    shaped = solve(free, plain.values, shape=True, exact=True)
    body = solve(compact, plain.values, shape=False, exact=True)
    if _ran_off(window, shaped) or _ran_off(window, body):
        return CompactFit(problem=NO_BODY, kind="weak")
    return _judged(compact, body, shaped)


def _ran_off(window: Window, found: Solution) -> bool:
    """Tell whether a search went to no place, no size or no error: such a body isn't here."""
    if not (np.isfinite(found.values).all() and np.isfinite(found.covariance).all()):
        return True
    wide = float(np.ptp(window.points[:2], axis=1).max())
    away = float(np.hypot(*(found.values[:2] - window.points[:2].mean(axis=1))))
    deep = float(np.exp(min(found.values[2], 700.0)))
    return away > FARTHEST * wide or not 1e-3 * wide < deep < FARTHEST * wide


def _window(
    places: tuple[ArrayLike, ArrayLike, ArrayLike],
    anomaly_nT: ArrayLike,
    ambient_nT: ArrayLike,
    noise: Noise | None,
    *,
    errors: tuple[ArrayLike, ...],
) -> Window:
    """Return the readings that are used, with the root of their covariance.

    `errors` are sd, line, error that a line shares, and error of the place.
    """
    names = ("easting_m", "northing_m", "height_m")
    check_same_length(**dict(zip(names, places, strict=True)), anomaly_nT=anomaly_nT)
    data = np.asarray(anomaly_nT, dtype=float)
    rows = [np.asarray(part, dtype=float) for part in places]
    more = [np.broadcast_to(np.asarray(part, dtype=float), data.shape) for part in errors]
    every = np.vstack([*rows, data, *more])
    if not np.isfinite(every).all() or not (more[0] > 0.0).all() or (every[6:] < 0.0).any():
        raise InputError("A window holds finite values only, and errors above zero.")
    every = every[:, :: max(1, -(-data.size // MOST))]
    noise = noise or Noise()
    root = noise_root(
        every[:3],
        sd=noise.scale * every[4],
        correlated=noise.correlated_nT,
        length=noise.length_m,
        shared=by_line(every[6], every[5]) if every[6].any() else None,
    )
    ambient = np.asarray(ambient_nT, dtype=float)
    return Window(every[:3], every[3], ambient, root, every[5], every[7])


def _too_few(window: Window) -> str:
    """Return why the readings can't tell a body, if they can't."""
    count = window.anomaly.size
    if count < FEWEST:
        return f"{count} readings in the window; {FEWEST} or more are needed."
    offset = window.points[:2] - window.points[:2].mean(axis=1)[:, None]
    spread = np.linalg.svd(offset, compute_uv=False)
    if spread[1] < 0.1 * spread[0]:
        return "The readings lie along one line; lines on both sides of the body are needed."
    return ""


def _judged(window: Window, found: Solution, shaped: Solution) -> CompactFit:
    """Return the fit, or the problem that forbids its numbers."""
    count = window.anomaly.size
    white = window.whitened(np.column_stack([window.anomaly, window.trend()]))
    linear, *_ = np.linalg.lstsq(white[:, 1:], white[:, 0], rcond=None)
    null = float(((white[:, 0] - white[:, 1:] @ linear) ** 2).sum())
    # the share that can't be noise, less what noise alone would exceed once in a hundred
    limit = float(chi2.ppf(0.99, count - 9))
    model = window.whitened(modelled(window, found.values, exact=True)[:, None])
    rest = float(np.sqrt(max(0.0, found.cost - limit) / max(float((model**2).sum()), 1e-300)))
    deep = float(np.exp(found.values[2]))
    square = float(np.exp(2.0 * shaped.values[2]))
    shape, shape_sd = _largest(shaped.values[9:] / square, shaped.covariance[9:, 9:] / square**2)
    checks = (
        ("flat", null - found.cost < LEAST_EXPLAINED, _FLAT),
        ("edge", not _surrounded(window, found.values[:2], deep), _EDGE),
        ("neighbour", rest > LARGEST_REST or not found.converged, _NEIGHBOUR),
        ("long", shape - NINETY * shape_sd > LARGEST_SHAPE, _LONG),
        ("weak", found.covariance[2, 2] > LARGEST_DEPTH_ERROR**2, _WEAK),
    )
    told = CompactFit(rest=rest, shape=shape, misfit=float(np.sqrt(found.cost / count)))
    for kind, holds, text in checks:
        if holds:
            return replace(told, problem=text, kind=kind)
    scale = max(1.0, found.cost / (count - 9)) if found.cost > limit else 1.0
    return _told(window, found, found.covariance * scale, told)


_FLAT = "Nothing in the window stands out of the noise."
_EDGE = (
    "The anomaly is cut by the edge: readings a depth away on every side of the body are needed."
)
_NEIGHBOUR = (
    "One compact body doesn't explain the window: another body is in it, or this one is long."
)
_LONG = "The body is too long or flat for its depth to be a compact one."
_WEAK = "The anomaly is too weak beside the noise to tell the body's depth."


def _told(window: Window, found: Solution, covariance: FloatArray, told: CompactFit) -> CompactFit:
    """Return the numbers with their intervals."""
    values, sd = found.values, np.sqrt(np.diag(covariance))
    moment, size = values[3:6], float(np.linalg.norm(values[3:6]))
    own = covariance[3:6, 3:6]
    unit = moment / size
    flat = float(np.hypot(unit[0], unit[1]))
    by_dip = np.array([-unit[2] * unit[0], -unit[2] * unit[1], flat * flat]) / (flat * size)
    by_turn = np.array([-unit[1], unit[0], 0.0]) / (flat**2 * size)
    size_sd = float(np.sqrt(unit @ own @ unit))
    inclination = np.degrees([np.arcsin(np.clip(unit[2], -1, 1)), np.sqrt(by_dip @ own @ by_dip)])
    declination = np.degrees([np.arctan2(unit[1], unit[0]), np.sqrt(by_turn @ own @ by_turn)])
    to_volume = MAGNETIC_CONSTANT * 1e9 / float(np.linalg.norm(window.ambient))
    deep = float(np.exp(values[2]))
    # the interval of a depth and of a moment is even in the logarithm, so neither is negative
    estimates = {
        "easting_m": _even(values[0], sd[0]),
        "northing_m": _even(values[1], sd[1]),
        "depth_m": _logarithmic(deep, sd[2]),
        "moment_A_m2": _logarithmic(size, size_sd / size),
        "inclination_deg": _even(*inclination),
        "declination_deg": _even(*declination, resolved=bool(declination[1] < 60.0)),
        "volume_susceptibility_m3": _logarithmic(size * to_volume, size_sd / size),
        "level_nT": _even(values[6], sd[6]),
    }
    return replace(
        told,
        estimates=estimates,
        moment=moment,
        moment_covariance=own,
        cone_deg=cone_of(moment, own),
        trend_nT=values[6:9],
        middle=window.middle,
        reach_m=window.reach,
    )


def cone_of(moment: FloatArray, covariance: FloatArray) -> float:
    """Return half the angle of the cone that holds a moment's direction in nine of ten [deg].

    Parameters
    ----------
    moment : array, shape (3,)
        The moment.
    covariance : array, shape (3, 3)
        Its covariance.

    Returns
    -------
    float
        Angle [deg], 180 at the most.

    Notes
    -----
    The square of the error across is a sum of two squares of normal errors; its quantile is that
    of a scaled chi-square of equal mean and variance.

    Examples
    --------
    >>> round(cone_of(np.array([0.0, 0.0, 100.0]), np.eye(3)), 2)
    1.23
    """
    size = float(np.linalg.norm(moment))
    across = np.array(tangents(moment / size)) / size
    shares = np.linalg.eigvalsh(across @ covariance @ across.T)
    mean, square = float(shares.sum()), float((shares**2).sum())
    freedom = mean**2 / max(square, 1e-300)
    radius = np.sqrt(mean * float(chi2.ppf(0.9, freedom)) / freedom)
    return float(min(180.0, np.degrees(radius)))


def _surrounded(window: Window, place: FloatArray, deep: float) -> bool:
    """Tell whether readings lie far enough out on every side."""
    off = window.points[:2] - place[:, None]
    far = np.hypot(*off) >= REACH * deep
    sector = np.floor((np.arctan2(off[0], off[1]) / (2.0 * np.pi) % 1.0) * SECTORS).astype(int)
    return len(np.unique(sector[far])) == SECTORS


def _largest(shape: FloatArray, covariance: FloatArray) -> tuple[float, float]:
    """Return the largest part of a shape along its axes, and its standard deviation."""
    nn, ee, ne, nd, ed = shape
    tensor = np.array([[nn, ne, nd], [ne, ee, ed], [nd, ed, -nn - ee]])
    sizes, axes = np.linalg.eigh(tensor)
    which = int(np.argmax(np.abs(sizes)))
    n, e, d = axes[:, which]
    by_part = np.array([n * n - d * d, e * e - d * d, 2 * n * e, 2 * n * d, 2 * e * d])
    return float(np.abs(sizes[which])), float(np.sqrt(by_part @ covariance @ by_part))


def _even(value: float, sd: float, *, resolved: bool = True) -> Estimate:
    """Return an estimate of normal error."""
    value, sd = float(value), float(sd)
    return Estimate(value, sd, value - NINETY * sd, value + NINETY * sd, resolved)


def _logarithmic(value: float, share: float) -> Estimate:
    """Return an estimate whose logarithm has a normal error."""
    spread = float(np.exp(NINETY * share))
    return Estimate(value, float(value * share), value / spread, value * spread)
