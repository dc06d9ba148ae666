"""The field of a profile and its gradients at a raised level, with the noise in mind."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, cholesky

from lodewalk.errors import InputError
from lodewalk.methods.inversion._whitening import covariance_of
from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.validation import FloatArray

#: Fewest readings, and least part of the variance that must be more than noise, for a depth.
LEAST_READINGS = 12
LEAST_SIGNAL = 4.0
#: Layers that are tried, as shares of the profile's length.
LAYERS = 0.5 ** np.arange(2.0, 7.5, 0.75)
REPLICATES = 16
#: Raised by this share of the layer's depth, so that what was smoothed away no longer counts.
RAISED = 0.25


@dataclass(frozen=True)
class Curves:
    """Field and gradients of a profile on even distances, raised above the readings.

    Parameters
    ----------
    distance_m : array, shape (m,)
        Even distances [m].
    raised_m : float
        Height above the profile's reference height [m]; methods take it off their depths.
    field_nT : array, shape (r, m)
        Anomaly without its level [nT]. The first row is of the data; the others are of the
        data with further noise like their own.
    gradient : complex array, shape (r, m)
        Vertical gradient, positive where the field grows downwards, and i times the gradient
        along the profile [nT/m]: a Hilbert pair.
    second : complex array, shape (r, m)
        Rate of `gradient` towards the source [nT/m2].
    layer_m : float
        Depth of the layer of sources that stands for the field [m].
    """

    distance_m: FloatArray
    raised_m: float
    field_nT: FloatArray
    gradient: NDArray[np.complex128]
    second: NDArray[np.complex128]
    layer_m: float


def noise_covariance(profile: Profile, noise: Noise) -> FloatArray:
    """Return the covariance of the errors of a profile's readings.

    Parameters
    ----------
    profile : Profile
        The readings.
    noise : Noise
        Scale of their own errors, and the part that neighbours share.

    Returns
    -------
    array, shape (n, n)
        Covariance [nT2].

    Examples
    --------
    >>> noise_covariance(Profile(np.arange(2.0), np.zeros(2)), Noise(scale=2.0)).tolist()
    [[4.0, 0.0], [0.0, 4.0]]
    """
    return covariance_of(profile, noise)


def read_curves(profile: Profile, *, noise: Noise | None = None) -> Curves:
    """Return the field of a profile and its gradients on even distances, somewhat raised.

    Parameters
    ----------
    profile : Profile
        Readings along a line across the strike; unevenly spaced ones and an uneven sensor are
        allowed.
    noise : Noise, optional
        Their errors; by default each reading's own alone.

    Returns
    -------
    Curves
        Rows for the data, and for replicates of its noise.

    Raises
    ------
    InputError
        For too few readings, a profile without length, or one that is flat within its noise.

    Notes
    -----
    Least-squares collocation with the level free: the field is that of a layer of random
    sources at the depth of greatest likelihood, whose covariance between two readings is
    ``s**2 2 H L / (L**2 + d**2)`` with ``L = 2 H + r1 + r2``, at distance ``d`` and rises ``r``.
    It is the real part of an analytic function, so gradients at any height follow in closed form
    as a Hilbert pair [1]_.

    References
    ----------
    .. [1] Nabighian, M. N. (1972), The analytic signal of two-dimensional magnetic bodies with
       polygonal cross-section, Geophysics, 37(3), 507-517, doi:10.1190/1.1440276 (from memory).

    Examples
    --------
    >>> distance = np.linspace(-100.0, 100.0, 81)
    >>> curves = read_curves(Profile(distance, 1e4 / (distance**2 + 100.0)))
    >>> abs(float(curves.distance_m[np.abs(curves.gradient[0]).argmax()])) < 2.0
    True
    """
    covariance = noise_covariance(profile, noise or Noise())
    problem = profile_problem(profile, covariance)
    if problem:
        raise InputError(problem)
    weights, layer, scale = _weights(profile, covariance)
    raised = RAISED * layer
    length = profile.distance_m[-1] - profile.distance_m[0]
    count = int(np.clip(4 * length / layer, 61, 401)) | 1
    distance = np.linspace(profile.distance_m[0], profile.distance_m[-1], count)
    apart = np.subtract.outer(distance, profile.distance_m)
    place = 1.0 / (2.0 * layer + raised + profile.rise_m + 1j * apart)
    strength = 2.0 * layer * scale * weights
    return Curves(
        distance_m=distance,
        raised_m=raised,
        field_nT=np.real(place @ strength).T,
        gradient=(place**2 @ strength).T,
        second=(2.0 * place**3 @ strength).T,
        layer_m=layer,
    )


def profile_problem(profile: Profile, covariance: FloatArray) -> str:
    """Return why a profile tells no depth at all, empty where it may.

    Examples
    --------
    >>> profile_problem(Profile(np.arange(3.0), np.zeros(3)), np.eye(3))
    'The profile has 3 readings; a depth needs 12 or more.'
    """
    count = profile.distance_m.size
    if count < LEAST_READINGS:
        return f"The profile has {count} readings; a depth needs {LEAST_READINGS} or more."
    if not profile.distance_m[-1] > profile.distance_m[0]:
        return "The profile has no length: all its readings lie at one distance."
    design = np.stack([np.ones(count), profile.distance_m - profile.distance_m.mean()], axis=1)
    left = profile.anomaly_nT - design @ np.linalg.lstsq(design, profile.anomaly_nT)[0]
    factor = cho_factor(covariance, lower=True)
    signal = float(left @ cho_solve(factor, left)) / count
    if signal < LEAST_SIGNAL:
        return (
            f"The profile is flat within its noise: what is left over level and slope is "
            f"{np.sqrt(signal):.1f} times the noise."
        )
    return ""


def _weights(profile: Profile, covariance: FloatArray) -> tuple[FloatArray, float, float]:
    """Return weights of the sources for data and replicates, the layer's depth and variance.

    A slope isn't taken off: it would take a wide body's own with it.
    """
    count = profile.distance_m.size
    length = float(np.ptp(profile.distance_m))
    design = np.ones((count, 1))
    variance = 2.0 * float(np.var(profile.anomaly_nT))
    spacing = length / (count - 1)
    best = (-np.inf, 0.0)
    for layer in length * LAYERS:
        if layer > spacing or best[1] == 0.0:
            best = max(best, (_likelihood(profile, covariance, design, layer, variance), layer))
    layer = best[1]
    total = variance * _kernel(profile, layer) + covariance
    draws = np.random.default_rng(0).standard_normal((count, REPLICATES))
    noisy = cholesky(covariance, lower=True) @ draws
    data = profile.anomaly_nT[:, None] + np.column_stack([np.zeros(count), noisy])
    factor = cho_factor(total, lower=True)
    solved = cho_solve(factor, design)
    trend = np.linalg.solve(design.T @ solved, solved.T @ data)
    return cho_solve(factor, data - design @ trend), layer, variance


def _kernel(profile: Profile, layer: float) -> FloatArray:
    """Return the correlation of the field between the readings."""
    across = np.subtract.outer(profile.distance_m, profile.distance_m)
    along = 2.0 * layer + np.add.outer(profile.rise_m, profile.rise_m)
    return np.asarray(2.0 * layer * along / (along**2 + across**2))


def _likelihood(
    profile: Profile, covariance: FloatArray, design: FloatArray, layer: float, variance: float
) -> float:
    """Return the logarithm of the likelihood of a layer, its level free."""
    try:
        factor = cho_factor(variance * _kernel(profile, layer) + covariance, lower=True)
    except np.linalg.LinAlgError:
        return -np.inf
    solved = cho_solve(factor, design)
    normal = design.T @ solved
    trend = np.linalg.solve(normal, solved.T @ profile.anomaly_nT)
    left = profile.anomaly_nT - design @ trend
    logs = 2.0 * np.log(np.diag(factor[0])).sum() + np.linalg.slogdet(normal)[1]
    return float(-0.5 * (left @ cho_solve(factor, left) + logs))
