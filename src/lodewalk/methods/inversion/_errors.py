"""Linear errors around a minimum."""

from dataclasses import dataclass

import numpy as np

from lodewalk.methods.inversion._problem import Problem
from lodewalk.validation import FloatArray


@dataclass(frozen=True)
class Errors:
    """Around a minimum: covariance in inner coordinates and weights, residuals, and model.

    `plain` holds the slopes of the model at the readings, not whitened.
    """

    inner: FloatArray
    rest: FloatArray
    model: FloatArray
    plain: FloatArray


def linear_errors(problem: Problem, inner: FloatArray, weights: FloatArray) -> Errors:
    """Return the linear errors around a minimum."""
    rest, slopes = problem.joint(inner, weights)
    size = np.sqrt((slopes**2).sum(axis=1)) + 1e-300
    scaled = slopes / size[:, None]
    # a direction that nothing tells gets a huge variance instead of an error
    value, vector = np.linalg.eigh(scaled @ scaled.T)
    inverse = (vector / np.maximum(value, 1e-13)) @ vector.T
    quiet = problem.unwhitened()
    gone, plain = quiet.joint(inner, weights)
    count = problem.data.size
    return Errors(
        inner=inverse / np.outer(size, size),
        rest=rest,
        model=problem.profile.anomaly_nT - gone[:count],
        plain=plain[:, :count],
    )
