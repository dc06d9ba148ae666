"""What the place of readings and a curved regional field do to the fit of a body."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lodewalk.methods.inversion.constraints import Constraint
from lodewalk.methods.inversion.neighbours import Beside
from lodewalk.methods.inversion.posterior import Setting, made_ready
from lodewalk.methods.inversion.results import NINETY, Estimate, Noise, Profile
from lodewalk.methods.inversion.whitening import whitening
from lodewalk.validation import FloatArray

#: Odds from which a curved regional field, or a straight one, is taken alone (common practice).
SURE = 5.0


def with_slope(profile: Profile, noise: Noise, beside: Beside) -> Profile:
    """Return a profile whose error of the place rests on the slope of the fitted curve.

    The slope of the readings themselves holds their noise, so that a shift of all places would
    no longer look like a shift of the body: the place would come out too sure.

    Parameters
    ----------
    profile : Profile
        With its `place_sd_m`; at 0 it comes back as it is.
    noise : Noise
        What the curves are fitted under.
    beside : Beside
        Curves of the body and of its neighbours.

    Returns
    -------
    Profile
        With another `place_nT` [nT].

    Examples
    --------
    >>> x = np.arange(-20.0, 21.0)
    >>> rows = 900.0 / (x**2 + 100.0)[None, :]
    >>> beside = Beside(np.zeros((0, 41)), np.zeros(41), rows)
    >>> found = with_slope(Profile(x, rows[0] + 5.0, place_sd_m=2.0), Noise(), beside)
    >>> bool(abs(found.place_nT - 2.0 * np.gradient(rows[0], x)).max() < 1e-6)
    True
    """
    if profile.place_sd_m == 0.0:
        return profile
    distance = profile.distance_m
    rows = np.vstack([np.ones(distance.size), distance, beside.body_rows, beside.rows])
    size = np.sqrt((rows**2).sum(axis=1, keepdims=True)) + 1e-300
    rows = rows / size
    white = whitening(profile, noise)
    weights = np.linalg.lstsq(white(rows).T, white(profile.anomaly_nT), rcond=1e-10)[0]
    # readings of one place would make the slope infinite
    own = np.append(True, np.diff(distance) > 1e-6 * np.ptp(distance))
    slope = np.gradient((weights @ rows)[own], distance[own])
    place_nT = profile.place_sd_m * np.interp(distance, distance[own], slope)
    return replace(profile, place_nT=place_nT)


def over_regionals(
    profile: Profile,
    noises: Sequence[tuple[float, Noise]],
    beside: Beside,
    constraints: Sequence[Constraint],
    off: FloatArray | None = None,
) -> list[tuple[float, Setting]]:
    """Return a profile made ready for each noise and each regional field that is likely.

    Parameters
    ----------
    profile : Profile
        The readings.
    noises : sequence of (float, Noise)
        Noises with their weights.
    beside : Beside
        Curves of the body and of neighbours that are fitted along.
    constraints : sequence of Constraint
        What is known from elsewhere.
    off : array, shape (k, n), optional
        Errors that the readings share, as for `made_ready`.

    Returns
    -------
    list of (float, Setting)
        Weights, which add up to 1: level and slope, level, slope and curvature, or both.

    Notes
    -----
    A stronger body beyond the window leaves a curved field, which a straight line can't take
    off. The odds on a curvature are those of one more linear parameter under a prior as
    informative as one reading, ``exp(fall of the misfit / 2) / sqrt(n)`` (Schwarz) [1]_.

    References
    ----------
    .. [1] Schwarz, G. (1978), Estimating the dimension of a model, The Annals of Statistics, 6(2),
       461-464, doi:10.1214/aos/1176344136.
    """
    bowl = bowl_of(profile)
    found = []
    for weight, noise in noises:
        odds = curvature_odds(profile, noise, np.vstack([beside.body_rows, beside.rows]), bowl)
        for share, rows in (
            (1.0 / (1.0 + odds), beside.rows),
            (odds / (1.0 + odds), np.vstack([beside.rows, bowl])),
        ):
            if share < 1.0 / (1.0 + SURE):
                continue
            own = rows if len(rows) else None
            setting = made_ready(profile, noise, constraints=constraints, beside=own, off=off)
            found.append((weight * share, setting))
    total = sum(weight for weight, _ in found)
    return [(weight / total, setting) for weight, setting in found]


def bowl_of(profile: Profile) -> FloatArray:
    """Return a bowl over a profile: 0 in its middle and 1 at the ends."""
    distance = profile.distance_m
    middle, half = 0.5 * (distance[0] + distance[-1]), 0.5 * max(np.ptp(distance), 1e-9)
    return np.asarray(((distance - middle) / half) ** 2)


def curved(profile: Profile) -> FloatArray:
    """Return a bowl as large as the range of a profile's readings: one of any size [nT].

    Where bodies beyond a profile are seen in it, what is known of them tells little of how curved
    their field is: the ends, bottoms and bodies that nobody knows of curve it as well.

    Examples
    --------
    >>> curved(Profile(np.array([-1.0, 0.0, 1.0]), np.array([0.0, 8.0, 2.0]))).tolist()
    [8.0, 0.0, 8.0]
    """
    return bowl_of(profile) * float(np.ptp(profile.anomaly_nT))


def curvature_odds(profile: Profile, noise: Noise, rows: FloatArray, bowl: FloatArray) -> float:
    """Return the odds on a regional field with this curve beside level and slope.

    Parameters
    ----------
    profile, noise : Profile, Noise
        Readings and their error.
    rows : array, shape (m, n)
        Curves of the bodies and their changes with the bodies' shapes.
    bowl : array, shape (n,)
        The curve, of any amplitude.

    Returns
    -------
    float

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 101)
    >>> errors = np.random.default_rng(1).normal(0.0, 1.0, 101)
    >>> none = np.zeros((0, 101))
    >>> curvature_odds(Profile(x, errors), Noise(), none, x**2) < 1.0
    True
    >>> curvature_odds(Profile(x, errors + 4e-3 * x**2), Noise(), none, x**2) > 100.0
    True
    """
    distance = profile.distance_m
    every = np.vstack([np.ones(distance.size), distance, rows, bowl])
    every = every / (np.sqrt((every**2).sum(axis=1, keepdims=True)) + 1e-300)
    white = whitening(profile, noise)
    both = white(np.vstack([every, profile.anomaly_nT - profile.anomaly_nT.mean()]))
    # of the triangle: what the curve explains of what the rest leaves, and what it leaves itself
    triangle = np.asarray(np.linalg.qr(both.T, mode="r"))
    gain, left = (float(part) for part in triangle[-2:, -1] ** 2)
    half = 0.5 * gain
    if np.isfinite(noise.known):
        half = 0.5 * (noise.known + 1.0) * np.log1p(gain / max(left, noise.known))
    return float(np.exp(min(half, 50.0)) / np.sqrt(distance.size))


def at_least(place: Estimate, sd_m: float) -> Estimate:
    """Return a place whose error is no less than that of the readings' places.

    Parameters
    ----------
    place : Estimate
        Place on the profile [m].
    sd_m : float
        Standard deviation of the readings' places, which share most of it [m].

    Returns
    -------
    Estimate

    Examples
    --------
    >>> at_least(Estimate(3.0, 0.1, 2.8, 3.2), 1.0).sd
    1.0
    """
    reach = NINETY * sd_m
    return Estimate(
        place.value,
        max(place.sd, sd_m),
        min(place.low, place.value - reach),
        max(place.high, place.value + reach),
        place.resolved,
    )
