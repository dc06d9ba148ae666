"""Depths from profiles and grids, and one answer of them."""

from lodewalk.methods.depth.answer import answer_depth
from lodewalk.methods.depth.curves import Curves, noise_covariance, read_curves
from lodewalk.methods.depth.euler import EulerSolutions, euler_grid
from lodewalk.methods.depth.results import DepthAnswer, DepthRule
from lodewalk.methods.depth.rules import (
    euler_profile,
    half_slope,
    local_wavenumber,
    tilt_depth,
    total_gradient_width,
)
from lodewalk.methods.depth.spectral import spectral_depth
from lodewalk.methods.depth.structural_index import structural_index

__all__ = [
    "Curves",
    "DepthAnswer",
    "DepthRule",
    "EulerSolutions",
    "answer_depth",
    "euler_grid",
    "euler_profile",
    "half_slope",
    "local_wavenumber",
    "noise_covariance",
    "read_curves",
    "spectral_depth",
    "structural_index",
    "tilt_depth",
    "total_gradient_width",
]
