"""The least error that any unbiased fit of a body to a profile can have."""

from collections.abc import Mapping

import numpy as np

from lodewalk.methods.inversion._whitening import whitener
from lodewalk.methods.inversion.models import Ambient, body_curve
from lodewalk.methods.inversion.results import Noise, Profile


def floor(
    kind: str,
    profile: Profile,
    parameters: Mapping[str, float],
    *,
    noise: Noise | None = None,
    ambient: Ambient | None = None,
) -> dict[str, float]:
    """Return the Cramer-Rao floor of each parameter of a body, level and slope free.

    Parameters
    ----------
    kind : str
        Kind of body.
    profile : Profile
        Where readings are taken, and their errors; the anomaly isn't looked at.
    parameters : mapping of str to float
        The true body, as for `body_curve`.
    noise : Noise, optional
        Noise; by default the readings' own `sd_nT`, independent.
    ambient : Ambient, optional
        As for `body_curve`.

    Returns
    -------
    dict of str to float
        Least standard deviation by name, in each parameter's unit.

    Raises
    ------
    InputError
        As for `body_curve`, or for noise that isn't one.

    Notes
    -----
    Roots of the diagonal of the inverse of ``J.T C**-1 J``, with ``J`` the derivatives of the model
    and ``C`` the covariance of the noise (any textbook on estimation).

    Examples
    --------
    >>> sheet = {"position_m": 0, "depth_m": 10, "strength_nT_m": 100, "index_angle_deg": -50}
    >>> profile = Profile(np.linspace(-100, 100, 81), np.zeros(81), sd_nT=np.full(81, 0.1))
    >>> round(floor("thin sheet", profile, sheet)["depth_m"], 2)
    0.1
    """
    _, slopes = body_curve(
        kind, profile.distance_m, parameters, rise_m=profile.rise_m, ambient=ambient
    )
    ramp = profile.distance_m - profile.distance_m.mean()
    rows = np.stack([*slopes.values(), np.ones(ramp.size), ramp])
    white = whitener(profile, noise or Noise())[0](rows)
    size = np.sqrt((white**2).sum(axis=1))
    # by the triangle of a factorisation, which keeps the digits that a matrix of products loses
    triangle = np.linalg.qr((white / size[:, None]).T, mode="r")
    inverse = np.linalg.solve(triangle, np.eye(len(size)))
    sd = np.sqrt((inverse**2).sum(axis=1)) / size
    return dict(zip((*slopes, "level_nT", "slope_nT_m"), map(float, sd), strict=True))
