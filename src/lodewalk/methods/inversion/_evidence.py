"""The evidence for a kind of body, from the curvature at its minimum and stated priors."""

import numpy as np

from lodewalk.methods.inversion._errors import Errors
from lodewalk.methods.inversion._problem import Problem
from lodewalk.validation import FloatArray

#: Largest curve before the fit in parts of the range of the readings.
LARGEST = 3.0


def laplace(problem: Problem, inner: FloatArray, errors: Errors) -> float:
    """Return the natural logarithm of the evidence by the curvature at a minimum.

    Priors: position even over the profile; depth and thickness even in their logarithm from a
    spacing of the readings to the profile's length, half width likewise from a tenth of a spacing;
    dip even over 170 degrees; each curve's weight even within such sizes that the curve's range is
    up to three times that of the readings; level within three ranges, slope likewise over the
    length. What is known beforehand stands as it is.
    """
    _, determinant = np.linalg.slogdet(errors.inner)
    span = LARGEST * float(np.ptp(problem.profile.anomaly_nT))
    distance = problem.profile.distance_m
    logarithm = float(np.log(distance.size - 1))
    widths = {
        "position_m": np.log(problem.length),
        "depth_m": np.log(logarithm),
        "half_width_m": np.log(logarithm + np.log(10.0)),
        "bottom_depth_m": np.log(logarithm),
        "dip_deg": np.log(170.0),
    }
    columns, _ = problem.curves(inner)
    volume = sum(float(widths[name]) for name in problem.names)
    reach = span / np.ptp(columns, axis=1)
    if len(reach) == 1:
        volume += float(np.log(2.0 * reach[0]))
    else:
        volume += float(np.log(np.pi * reach[0] * reach[1]))
        volume += float(np.log(2.0 * reach[2:]).sum())
    volume += 2.0 * float(np.log(2.0 * span))
    known = -sum(np.log(sd) + 0.5 * np.log(2.0 * np.pi) for _, sd in problem.prior.values())
    count = problem.data.size
    cost = float(errors.rest @ errors.rest)
    density = -0.5 * (cost + problem.log_determinant + count * np.log(2.0 * np.pi))
    return float(
        density + 0.5 * determinant + 0.5 * len(errors.inner) * np.log(2 * np.pi) - volume + known
    )
