"""Many thick dykes fitted to readings at the same places, thousands a second."""

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.inversion._dyke_kernel import lowest_dykes
from lodewalk.methods.inversion._problem import Problem
from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.validation import FloatArray


def quick_dykes(
    profile: Profile, anomalies_nT: FloatArray, noise: Noise | None = None
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Return the dykes that fit many rows of readings best, each from its readings alone.

    Parameters
    ----------
    profile : Profile
        Places, heights and errors of the readings; its own anomaly isn't looked at.
    anomalies_nT : array, shape (m, n)
        Readings to fit, one row each [nT].
    noise : Noise, optional
        Noise, its shared part none; by default the readings' own `sd_nT`.

    Returns
    -------
    inner : array, shape (m, 3)
        Position [m], logarithm of the depth below the lowest sensor, and scale of the squared half
        width ``u``: ``u = 0.5 (depth below the lowest sensor)**2 (exp(scale) - 1)``.
    cost : array, shape (m,)
        Sum of the squared residuals over their variance.
    rested : array of bool, shape (m,)
        Whether the search came to rest.

    Raises
    ------
    InputError
        For noise that neighbours share.

    Notes
    -----
    The model and steps of `fit_body`, in a compiled kernel: a thin sheet from a few linear
    solutions, three widths in its place, damped Gauss-Newton steps, and a scan of the profile where
    that ends above what the differences of neighbouring readings let expect.

    Examples
    --------
    >>> from lodewalk.methods.inversion import body_curve
    >>> x = np.linspace(-100.0, 100.0, 200)
    >>> dyke = {"position_m": 5, "depth_m": 10, "half_width_m": 8, "strength_nT_m": 500}
    >>> curve, _ = body_curve("dyke", x, {**dyke, "index_angle_deg": -50})
    >>> inner, cost, rested = quick_dykes(Profile(x, curve), curve[None])
    >>> round(float(np.exp(inner[0, 1])), 3)
    10.0
    """
    used = noise or Noise()
    if used.correlated_nT:
        raise InputError("The quick fit takes independent noise only.", value=used.correlated_nT)
    problem = Problem(profile, "dyke", used)
    base = np.ascontiguousarray(np.linalg.qr(problem.base.T)[0].T)
    weight = 1.0 / (used.scale * profile.sd_nT)
    data = np.atleast_2d(np.asarray(anomalies_nT, dtype=float)) * weight
    data = np.ascontiguousarray(data - (data @ base.T) @ base)
    low, high = problem.bounds
    rise = profile.rise_m - problem.lowest
    shapes, costs = lowest_dykes(profile.distance_m, rise, weight, base, data, low, high)
    return shapes, np.abs(costs), costs > 0.0
