"""Time equivalent sources: a fit of 200,000 and of a million readings, accuracy beside it.

Readings at uneven 1 to 2 m on lines 25 m apart and tie lines, dipoles 10 to 100 m below the
sensor (even in the logarithm), noise 0.5 nT, the truth known. Depth and damping come from left-out
lines alone. Beside it scipy's Clough-Tocher surface of means over 5 m squares, at the same nodes;
the note has the errors of both and of minimum curvature, the latter with the damping that the truth
likes best. Run ``python bench/bench_equivalent_sources.py``; it prints one Markdown table. More
depths of the dipoles, as ratios of the errors, with ``--depths`` instead.
"""

import resource
import sys
import time
from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.interpolate import CloughTocher2DInterpolator

from common import Row, show
from lodewalk.methods.gridding.block_means import block_means
from lodewalk.methods.gridding.equivalent_sources import choose_layer, fit_layer
from lodewalk.methods.gridding.ground import Region
from lodewalk.methods.gridding.minimum_curvature import minimum_curvature

LINE_SPACING_M = 25.0
TIE_SPACING_M = 250.0
NOISE_NT = 0.5
NODES_M = 5.0
BODIES_PER_M2 = 6e-5
#: Nodes left out at the edges, 40 m.
RIM = 8
MILLION = 1_000_000


@njit(nogil=True, cache=True)
def dipoles(east, north, centre_e, centre_n, depth, peak, towards):
    """Return the anomaly of dipoles along the field, of about unit peak times `peak`."""
    out = np.zeros(east.size)
    for i in range(east.size):
        for k in range(depth.size):
            e, n, z = east[i] - centre_e[k], north[i] - centre_n[k], depth[k]
            square = e * e + n * n + z * z
            along = towards[0] * n + towards[1] * e - towards[2] * z
            ratio = z / np.sqrt(square)
            out[i] += peak[k] * ratio**3 * (3 * along * along / square - 1)
    return out


@dataclass(frozen=True)
class Survey:
    """Readings, their lines, and the anomaly at the nodes of a square."""

    east: np.ndarray
    north: np.ndarray
    line: np.ndarray
    value: np.ndarray
    truth: np.ndarray

    def rms(self, grid: np.ndarray) -> float:
        return float(np.sqrt(np.mean((grid - self.truth)[RIM:-RIM, RIM:-RIM] ** 2)))


def survey(readings: int, *, depths=(10.0, 100.0), seed: int = 1) -> Survey:
    rng = np.random.default_rng(seed)
    side = np.sqrt(readings * 1.5 / (1 / LINE_SPACING_M + 1 / TIE_SPACING_M)) // NODES_M * NODES_M
    east, north, line = [], [], []
    for spacing, first in ((LINE_SPACING_M, 0), (TIE_SPACING_M, 100_000)):
        for number in range(int(side / spacing) + 1):
            along = np.cumsum(rng.uniform(1, 2, int(side / 1.4)))
            along = along[along < side]
            across = number * spacing + 0.5 * np.sin(along / 40 + number)
            east.append(along if first else across)
            north.append(across if first else along)
            line.append(np.full(along.size, first + number))
    e, n, number = (np.concatenate(part) for part in (east, north, line))
    count = int(BODIES_PER_M2 * side**2)
    towards = np.array([0.75, -0.2, -0.63])
    bodies = (
        *rng.uniform(0, side, (2, count)),
        np.exp(rng.uniform(*np.log(depths), count)),
        30 * rng.normal(size=count),
        towards / np.linalg.norm(towards),
    )
    axis = np.arange(int(side / NODES_M) + 1) * NODES_M
    node_e, node_n = np.meshgrid(axis, axis)
    truth = dipoles(node_e.ravel(), node_n.ravel(), *bodies).reshape(node_e.shape)
    value = dipoles(e, n, *bodies) + rng.normal(0, NOISE_NT, e.size)
    return Survey(e, n, number, value, truth)


def blocks(found: Survey, scale: float):
    return block_means(
        found.east / NODES_M, found.north / NODES_M, found.value / scale,
        weight=np.ones(found.east.size),
    )  # fmt: skip


def clough_tocher(found: Survey) -> np.ndarray:
    means = blocks(found, 1.0)
    surface = CloughTocher2DInterpolator(
        np.column_stack([means.column, means.row]), means.value, fill_value=0.0
    )
    axis = np.arange(found.truth.shape[0])
    return surface(*np.meshgrid(axis, axis))


def best_minimum_curvature(found: Survey) -> float:
    scale = float(np.abs(found.value).max())
    means, wanted = blocks(found, scale), np.ones(found.truth.shape, dtype=bool)
    return min(
        found.rms(scale * minimum_curvature(means, wanted, damping=d).reshape(wanted.shape))
        for d in (0.003, 0.03, 0.3)
    )


def timed(job):
    begin = time.perf_counter()
    result = job()
    return time.perf_counter() - begin, result


def fitted(found: Survey, choice) -> np.ndarray:
    layer = fit_layer(
        found.east, found.north, found.value, depth_m=choice.depth_m, damping=choice.damping,
        rounds=choice.rounds,
    )  # fmt: skip
    return layer.on_grid(Region(0.0, 0.0, found.truth.shape), spacing_m=NODES_M)


def row(readings: int) -> Row:
    found = survey(readings)
    other_seconds, other = timed(lambda: clough_tocher(found))
    choosing, choice = timed(
        lambda: choose_layer(
            found.east, found.north, found.value, line=found.line, line_spacing_m=LINE_SPACING_M
        )
    )
    seconds, grid = timed(lambda: fitted(found, choice))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    bent = best_minimum_curvature(found)
    return Row(
        f"equivalent sources, {found.east.size:,} readings: fit and {found.truth.size:,} nodes",
        seconds,
        "scipy, Clough-Tocher",
        other_seconds,
        f"choosing depth {choice.depth_m:.1f} m, damping {choice.damping:g}, rounds "
        f"{choice.rounds}: {choosing:.1f} s, {len(choice.trials)} trials; {memory:.2f} GiB "
        f"at most; rms against the truth {found.rms(grid):.2f} nT, scipy "
        f"{found.rms(other):.2f}, minimum curvature {bent:.2f}: {found.rms(grid) / bent:.2f}",
    )


def by_depth() -> None:
    """Print the ratio of the errors for dipoles between two depths in line spacings."""
    for low, high in ((0.4, 0.6), (0.6, 1), (1, 1.5), (1.5, 2.5), (0.4, 4), (0.8, 4), (1.2, 4)):
        ratios = []
        for seed in (1, 2, 3):
            depths = low * LINE_SPACING_M, high * LINE_SPACING_M
            found = survey(15_000, depths=depths, seed=seed)
            choice = choose_layer(
                found.east, found.north, found.value, line=found.line, line_spacing_m=LINE_SPACING_M
            )
            ratios.append(found.rms(fitted(found, choice)) / best_minimum_curvature(found))
        print(f"{low} to {high} line spacings:", *(f"{ratio:.2f}" for ratio in ratios), flush=True)


def rows() -> list[Row]:
    small = survey(3000)
    fit_layer(small.east, small.north, small.value, depth_m=20.0, damping=0.01, rounds=1)
    return [row(200_000), row(MILLION)]


if __name__ == "__main__":
    if sys.argv[1:] == ["--depths"]:
        by_depth()
    else:
        show(rows())
