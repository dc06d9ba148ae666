"""What a body and its neighbours explain of a profile, for telling the noise beside them."""

import numpy as np

from lodewalk.methods.depth.curves import noise_covariance, profile_problem
from lodewalk.methods.depth.window_fit import Window, best_window_fit, weighed
from lodewalk.methods.inversion.models import kind_of, shape_curves
from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.validation import FloatArray

#: Rounds of fit and scale of the noise.
ROUNDS = 2


def window_rows(profile: Profile, kind: str = "dyke", *, about_m: float = 0.0) -> FloatArray:
    """Return the curves of a body and its neighbours, with their changes, for `pooled_noises`.

    Parameters
    ----------
    profile : Profile
        Readings across the strike.
    kind : str
        Kind of the long body that is fitted; neighbours are thin sheets.
    about_m : float
        Where on the profile the body is looked for [m].

    Returns
    -------
    array, shape (m, n)
        Two curves of the body, its changes with place, depth and width, then curves and changes
        of each neighbour; no rows where the profile holds no body.

    Notes
    -----
    Neighbours left out would count as noise that readings share over the whole profile, in
    which the body itself is lost.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 41)
    >>> window_rows(Profile(x, 500.0 * 5.0 / (x**2 + 25.0)), "thin sheet").shape
    (4, 41)
    """
    scale = 1.0
    for _ in range(ROUNDS):
        covariance = noise_covariance(profile, Noise(scale))
        if profile_problem(profile, covariance):
            return np.zeros((0, profile.distance_m.size))
        window = Window(profile, covariance, about_m=about_m)
        fit = best_window_fit(window, kind)
        scale *= float(np.sqrt(max(fit.cost / fit.freedom, 1e-12)))
    own = len(kind_of(kind).shape)
    sheets = fit.shape[own:].reshape(-1, 2)
    curves, weights = weighed(window, fit)
    rows, first = [], 0
    for name, shape in ((kind, fit.shape[:own]), *(("thin sheet", sheet) for sheet in sheets)):
        own_parts = slice(first, first + kind_of(name).parts)
        _, slopes = shape_curves(name, profile.distance_m, profile.rise_m, shape)
        rows += [curves[own_parts], np.einsum("k,qkn->qn", weights[own_parts], slopes)]
        first = own_parts.stop
    return np.concatenate(rows)
