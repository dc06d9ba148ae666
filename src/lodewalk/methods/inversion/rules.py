"""What a profile must hold before a body is told from it, and a fit before it is believed."""

import numpy as np
from scipy.stats import chi2

from lodewalk.methods.inversion._whitening import whitener
from lodewalk.methods.inversion.models import kind_of
from lodewalk.methods.inversion.results import BodyFit, Noise, Profile

#: Readings beyond the free parameters that a fit needs (common practice).
SPARE = 4
#: Chance with which noise alone passes for an anomaly.
FLAT = 1e-4
#: Depths that a profile must reach past a body's edges on either side (common practice): nearer
#: the ends the regional level takes the place of the anomaly's tails.
REACH = 1.0
#: Relative error of the depth, one standard deviation, past which a depth isn't told.
LOOSE = 1.0


def profile_problem(profile: Profile, kind: str = "dyke", noise: Noise | None = None) -> str:
    """Return why no body can be fitted to a profile: one sentence, empty where one can.

    Parameters
    ----------
    profile : Profile
        The readings.
    kind : str
        Kind of body that is sought.
    noise : Noise, optional
        Noise of the readings; without one, a flat profile is told only where all values are
        equal.

    Returns
    -------
    str
        Too few readings, no length, or no anomaly above the noise (a level and a slope explain the
        readings: chance of 1 in 10,000 that noise alone is taken for an anomaly).

    Examples
    --------
    >>> profile_problem(Profile(np.arange(5.0), np.arange(5.0)))
    'A dyke needs 11 readings or more; the profile has 5.'
    """
    own = kind_of(kind)
    needed = len(own.shape) + own.parts + 2 + SPARE
    distance, anomaly = profile.distance_m, profile.anomaly_nT
    if distance.size < needed:
        return f"A {kind} needs {needed} readings or more; the profile has {distance.size}."
    length = float(np.ptp(distance))
    if not length > 0.0 or np.unique(distance).size < needed:
        return f"A {kind} needs readings at {needed} places or more along the profile."
    base = np.stack([np.ones(distance.size), (distance - distance.mean()) / length])
    white = (lambda rows: rows) if noise is None else whitener(profile, noise)[0]
    direction = np.linalg.qr(white(base).T)[0]
    rest = white(anomaly[None])[0]
    rest = rest - direction @ (direction.T @ rest)
    square = float(rest @ rest)
    if square <= 1e-20 * max(float(anomaly @ anomaly), 1e-300):
        return "The profile is flat: a level and a slope are all that it holds."
    if noise is not None and chi2.sf(square, distance.size - 2) > FLAT and _smooth(rest):
        return "No anomaly stands above the noise: a level and a slope explain the readings."
    return ""


def _smooth(rest: np.ndarray) -> bool:
    """Return whether residuals hold no broad anomaly either, by their sum over neighbours."""
    width = max(rest.size // 10, 1)
    sums = np.convolve(rest, np.full(width, width**-0.5), mode="valid")
    return bool(np.abs(sums).max() < np.sqrt(chi2.isf(FLAT / 10, 1)))


def fit_problem(profile: Profile, fit: BodyFit) -> str:
    """Return why a fit's numbers can't be believed: one sentence, empty where they can.

    Parameters
    ----------
    profile : Profile
        The readings.
    fit : BodyFit
        What was fitted to them.

    Returns
    -------
    str
        The search met an edge, the anomaly is cut by an end of the profile, the profile is too
        short for the depth, or the depth is open to a factor.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 41)
    >>> profile = Profile(x, 500.0 * 5.0 / (x**2 + 25.0))
    >>> from lodewalk.methods.inversion import fit_body
    >>> fit_problem(profile, fit_body(profile, "thin sheet"))
    ''
    """
    if not fit.converged:
        return fit.not_resolved[0] if fit.not_resolved else "The fit did not come to rest."
    position, depth = (fit.estimates[name].value for name in ("position_m", "depth_m"))
    half = fit.estimates["half_width_m"].value if "half_width_m" in fit.estimates else 0.0
    first, last = profile.distance_m[[0, -1]]
    past = min(position - half - first, last - position - half)
    if past < REACH * depth:
        return (
            f"The anomaly is cut by an end of the profile: {max(past, 0.0):.0f} m lie between the "
            f"body and the end, its depth below the sensor comes out at {depth:.0f} m; a longer "
            "profile is needed."
        )
    if fit.estimates["depth_m"].sd > LOOSE * depth:
        return "The readings leave the depth open: its error is larger than itself."
    return ""
