"""Where a fit begins: places, depths and widths tried over the profile, the best kept."""

import numpy as np

from lodewalk.methods.inversion._problem import Problem
from lodewalk.methods.inversion.models import kind_of, shape_curves
from lodewalk.validation import FloatArray

#: Readings that the scan looks at, places and depths along it, and starts that are kept.
LOOKED, PLACES, DEPTHS, KEPT = 64, 24, 9, 4
#: Half widths in depths, thicknesses in depths.
WIDTHS, THICKNESSES = (0.1, 0.7, 1.5, 4.0), (0.7, 4.0)


def starts_of(problem: Problem) -> list[FloatArray]:
    """Return inner coordinates to begin from, the best first.

    Each candidate is judged by the sum of squares with its weights solved, correlation of the
    noise left out; of those kept no two lie close together.
    """
    inner = _candidates(problem)
    shapes = np.array([problem.shape(one)[0] for one in inner])
    costs = _costs(problem, shapes)
    kept: list[int] = []
    for number in np.argsort(costs, kind="stable"):
        if all(_apart(problem, inner[number], inner[other]) for other in kept):
            kept.append(int(number))
        if len(kept) == KEPT:
            break
    return [inner[number] for number in kept]


def _candidates(problem: Problem) -> FloatArray:
    """Return the inner coordinates of every candidate, shape (m, free)."""
    distance, length = problem.profile.distance_m, problem.length
    step = length / (distance.size - 1)
    choices = {
        "position_m": np.linspace(distance[0], distance[-1], PLACES + 2)[1:-1],
        "depth_m": np.log(np.geomspace(0.7 * step, 0.4 * length, DEPTHS)),
        "half_width_m": np.log1p(np.square(WIDTHS) / 0.5),
        "bottom_depth_m": np.array([np.nan, *np.log(THICKNESSES)])[1:],
        "dip_deg": np.array([50.0, 90.0, 130.0]),
    }
    grid = np.meshgrid(*(choices[name] for name in problem.names), indexing="ij")
    found = np.stack([part.ravel() for part in grid], axis=-1)
    names = list(problem.names)
    if "bottom_depth_m" in names and "depth_m" in names:
        found[:, names.index("bottom_depth_m")] += found[:, names.index("depth_m")]
    low, high = problem.bounds
    return np.asarray(np.clip(found, low, high))


def _costs(problem: Problem, shapes: FloatArray) -> FloatArray:
    """Return the sum of squares of each shape over some of the readings."""
    profile = problem.profile
    rows = np.unique(np.linspace(0, profile.distance_m.size - 1, LOOKED).round().astype(int))
    distance, rise = profile.distance_m[rows], profile.rise_m[rows]
    weight = 1.0 / np.hypot(problem.noise.scale * profile.sd_nT[rows], problem.noise.correlated_nT)
    columns, _ = shape_curves(problem.kind, distance, rise, shapes, slopes=False)
    columns = problem.turned(kind_of(problem.kind).parts) @ columns * weight
    base = np.stack([weight, (distance - problem.middle) / problem.length * weight])
    base = np.linalg.qr(base.T)[0].T
    data = profile.anomaly_nT[rows] * weight
    data = data - (base @ data) @ base
    columns = columns - (columns @ base.T) @ base
    size = np.sqrt((columns**2).sum(axis=-1, keepdims=True)) + 1e-300
    columns = columns / size
    matrix = columns @ np.swapaxes(columns, -1, -2) + 1e-10 * np.eye(columns.shape[-2])
    pull = columns @ data
    weights = np.linalg.solve(matrix, pull[..., None])[..., 0]
    return np.asarray(data @ data - (weights * pull).sum(axis=-1))


def _apart(problem: Problem, one: FloatArray, other: FloatArray) -> bool:
    """Return whether two starts lie far enough apart to lead to different minima."""
    near = {"position_m": 0.11 * problem.length, "dip_deg": 30.0, "half_width_m": 1.2}
    limits = np.array([near.get(name, 0.8) for name in problem.names])
    return bool((np.abs(one - other) > limits).any())
