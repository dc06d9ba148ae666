"""Shapes that are tried before a search, and the curves of bodies for it."""

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.depth._window_kernel import CODES, body_curves
from lodewalk.methods.inversion.models import kind_of, shape_curves
from lodewalk.methods.inversion.results import Profile
from lodewalk.validation import FloatArray


def scan_of(
    profile: Profile, kind: str, *, about_m: float, factor: FloatArray
) -> tuple[FloatArray, NDArray[np.int_], FloatArray]:
    """Return the shapes that are tried, the readings that count, and an orthonormal basis each.

    What a shape takes of an anomaly's squares is that of its products with the shape's basis.
    """
    half = 0.5 * float(np.ptp(profile.distance_m))
    rows = np.flatnonzero(np.abs(profile.distance_m - about_m) < 0.5 * half)
    if rows.size < 10:
        rows = np.arange(profile.distance_m.size)
    tried = _tried(kind, half, about_m)
    columns = curves_of(kind, profile.distance_m[rows], profile.rise_m[rows], tried)
    weight = 1.0 / np.sqrt((factor[rows] ** 2).sum(axis=1))
    base = np.stack([weight, (profile.distance_m[rows] - about_m) / half * weight])
    base = np.linalg.qr(base.T)[0].T
    columns = columns * weight
    columns = columns - (columns @ base.T) @ base
    normal = columns @ np.swapaxes(columns, -1, -2)
    normal += 1e-9 * np.trace(normal, axis1=1, axis2=2)[:, None, None] * np.eye(normal.shape[1])
    return tried, rows, np.linalg.solve(np.linalg.cholesky(normal), columns) * weight


def curves_of(kind: str, distance: FloatArray, rise: FloatArray, shapes: FloatArray) -> FloatArray:
    """Return the curves of many shapes, shape (s, k, n)."""
    parts = kind_of(kind).parts
    columns = np.empty((len(shapes), parts, distance.size))
    slopes = np.empty((shapes.shape[1], parts, distance.size))
    for own, found in zip(shapes, columns, strict=True):
        body_curves(CODES[kind], distance, rise, own, found, slopes)
    return columns


def sheets_of(profile: Profile, places: FloatArray) -> FloatArray:
    """Return the curves of thin sheets, each of a place and depth, shape (s, 2, n)."""
    columns, _ = shape_curves(
        "thin sheet", profile.distance_m, profile.rise_m, places, slopes=False
    )
    return columns


def _tried(kind: str, half: float, about: float) -> FloatArray:
    """Return the shapes that are tried."""
    choices = {
        "position_m": about + half * np.linspace(-0.3, 0.3, 13),
        "depth_m": half * np.geomspace(0.04, 0.5, 9),
        "half_width_m": np.array([0.02, 0.8, 4.0]),
        "bottom_depth_m": np.array([2.0, 5.0]),
        "dip_deg": np.array([90.0]),
    }
    names = kind_of(kind).shape
    grid = np.meshgrid(*(choices[name] for name in names), indexing="ij")
    found = np.stack([part.ravel() for part in grid], axis=-1)
    for name, power in (("half_width_m", 2), ("bottom_depth_m", 1)):
        if name in names:
            found[:, names.index(name)] *= found[:, 1] ** power
    return found
