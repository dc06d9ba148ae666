"""A body of a kind at a given shape, told with its curve, band and linear errors."""

from dataclasses import replace

import numpy as np

from lodewalk.methods.inversion.fit import _told, problem_of
from lodewalk.methods.inversion.results import BodyFit, Noise, Profile
from lodewalk.validation import FloatArray


def told_at(
    kind: str, profile: Profile, noise: Noise, shape: tuple[float, ...], beside_nT: FloatArray
) -> BodyFit:
    """Return the fit of a kind with place, depth and extent [m] at their best.

    Parameters
    ----------
    kind : str
        A kind; a ``thin sheet`` has its width here, as a dyke has.
    profile : Profile
        Readings.
    noise : Noise
        Their error.
    shape : tuple of float
        Place, depth and extent [m]: half width, or height of a step.
    beside_nT : array, shape (n,)
        Curve of the neighbours at the readings [nT].

    Returns
    -------
    BodyFit
        Its band holds the linear errors.
    """
    own = "dyke" if kind == "thin sheet" else kind
    alone = replace(profile, anomaly_nT=profile.anomaly_nT - beside_nT)
    problem = problem_of(alone, own, noise=noise)
    place, depth, extent = shape
    values = {
        "dyke": (place, depth, extent**2),
        "step": (place, depth, depth + extent, 90.0),
    }.get(own, (place, depth))
    point = problem.at(problem.inner(np.array(values)))
    fit = _told(problem, point.inner, point.weights, True, (), linear=True)
    return replace(
        fit,
        model_nT=fit.model_nT + beside_nT,
        low_nT=fit.low_nT + beside_nT,
        high_nT=fit.high_nT + beside_nT,
    )
