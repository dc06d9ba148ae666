"""Time equivalent sources: choice and fit of 200,000 and of a million readings, errors beside them.

Readings at uneven 1 to 2 m on lines 25 m apart and tie lines, dipoles 10 to 100 m below the
sensor (even in the logarithm), noise 0.5 nT, the truth known. Depth, damping and rounds come from
left-out lines alone, and so do tension and damping of minimum curvature, which the note has beside
it: its seconds, and both errors against the truth. Beside the whole stands scipy's Clough-Tocher
surface of means over 5 m squares, at the same nodes. Each size runs in a process of its own, whose
memory is looked at before the others start. Run ``python bench/bench_equivalent_sources.py``; it
prints one Markdown table (with ``--json``, as ``run.py`` asks, 200,000 readings only). Other
readings and seeds with ``--one READINGS SEED``; more depths of the dipoles, as ratios of the
errors, with ``--depths``.
"""

import json
import os
import resource
import sys
import time
from dataclasses import asdict, dataclass

import numpy as np
from numba import njit
from scipy.interpolate import CloughTocher2DInterpolator

from common import Row, process, show
from lodewalk.methods.gridding.block_means import block_means
from lodewalk.methods.gridding.choose_layer import choose_layer
from lodewalk.methods.gridding.choose_surface import choose_surface
from lodewalk.methods.gridding.equivalent_sources import fit_layer
from lodewalk.methods.gridding.ground import Region
from lodewalk.methods.gridding.interface import grid_readings
from lodewalk.methods.gridding.line_folds import line_folds
from lodewalk.methods.gridding.piece_folds import piece_folds

LINE_SPACING_M = 25.0
TIE_SPACING_M = 250.0
NOISE_NT = 0.5
NODES_M = 5.0
BODIES_PER_M2 = 6e-5
#: Nodes left out at the edges, 40 m.
RIM = 8
SIZES = (200_000, 1_000_000)
SEED = 1


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


def clough_tocher(found: Survey) -> np.ndarray:
    means = block_means(
        found.east / NODES_M, found.north / NODES_M, found.value, weight=np.ones(found.east.size)
    )
    surface = CloughTocher2DInterpolator(
        np.column_stack([means.column, means.row]), means.value, fill_value=0.0
    )
    axis = np.arange(found.truth.shape[0])
    return surface(*np.meshgrid(axis, axis))


def minimum_curvature(found: Survey) -> np.ndarray:
    """Return the surface of least curvature with what left-out lines choose."""
    places = found.east, found.north
    choice = choose_surface(
        *places, found.value, sd=np.ones(found.east.size),
        lines=line_folds(*places, found.line, line_spacing_m=LINE_SPACING_M),
        pieces=piece_folds(*places, found.line, length_m=LINE_SPACING_M),
        line_spacing_m=LINE_SPACING_M,
    )  # fmt: skip
    return grid_readings(
        *places, found.value, west_m=0.0, south_m=0.0, spacing_m=NODES_M,
        shape=found.truth.shape, reach_m=10 * LINE_SPACING_M, method="minimum curvature",
        tension=choice.tension, damping_m2=choice.damping_m2,
        tension_length_m=choice.tension_length_m,
    )  # fmt: skip


def timed(job):
    begin = time.perf_counter()
    result = job()
    return time.perf_counter() - begin, result


def chosen(found: Survey):
    return choose_layer(
        found.east, found.north, found.value, line=found.line, line_spacing_m=LINE_SPACING_M
    )


def fitted(found: Survey, choice) -> np.ndarray:
    layer = fit_layer(
        found.east, found.north, found.value, depth_m=choice.depth_m, damping=choice.damping,
        layers=choice.layers, rounds=choice.rounds,
    )  # fmt: skip
    return layer.on_grid(Region(0.0, 0.0, found.truth.shape), spacing_m=NODES_M)


def compile_all() -> None:
    small = survey(3000)
    fitted(small, chosen(small))
    minimum_curvature(small)


def row(readings: int, seed: int) -> Row:
    compile_all()
    found = survey(readings, seed=seed)
    processor = time.process_time()
    choosing, choice = timed(lambda: chosen(found))
    fitting, grid = timed(lambda: fitted(found, choice))
    processor = time.process_time() - processor
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    load = os.getloadavg()[0]
    bending, bent = timed(lambda: minimum_curvature(found))
    other_seconds, other = timed(lambda: clough_tocher(found))
    error, beside = found.rms(grid), found.rms(bent)
    return Row(
        f"equivalent sources, {found.east.size:,} readings to {found.truth.size:,} nodes",
        choosing + fitting,
        "scipy, Clough-Tocher",
        other_seconds,
        f"choice {choosing:.1f} s ({len(choice.trials)} trials: depth {choice.depth_m:.1f} m, "
        f"damping {choice.damping:g}, rounds {choice.rounds}), fit {fitting:.1f} s; processor "
        f"{processor:.0f} s, load average {load:.1f}; {memory:.2f} GiB at most; rms against the "
        f"truth {error:.2f} nT, scipy {found.rms(other):.2f}, minimum curvature {beside:.2f} in "
        f"{bending:.1f} s: {error / beside:.2f} of it",
    )


def by_depth() -> None:
    """Print the ratio of the errors for dipoles between two depths in line spacings."""
    for low, high in ((0.4, 0.6), (0.6, 1), (1, 1.5), (1.5, 2.5), (0.4, 4), (0.8, 4), (1.2, 4)):
        ratios = []
        for seed in (1, 2, 3):
            depths = low * LINE_SPACING_M, high * LINE_SPACING_M
            found = survey(15_000, depths=depths, seed=seed)
            error = found.rms(fitted(found, chosen(found)))
            ratios.append(error / found.rms(minimum_curvature(found)))
        print(f"{low} to {high} line spacings:", *(f"{ratio:.2f}" for ratio in ratios), flush=True)


def rows(sizes) -> list[Row]:
    return [
        Row(**json.loads(process(sys.executable, __file__, "--one", size, SEED)()))
        for size in sizes
    ]


def main() -> None:
    if sys.argv[1:] == ["--depths"]:
        by_depth()
    elif sys.argv[1:2] == ["--one"]:
        print(json.dumps(asdict(row(int(sys.argv[2]), int(sys.argv[3])))))
    else:
        show(rows(SIZES[:1] if sys.argv[1:] == ["--json"] else SIZES))


if __name__ == "__main__":
    main()
