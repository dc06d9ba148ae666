"""Time Euler deconvolution of a 1000 x 1000 grid, beside least squares by array operations.

Run ``python bench/bench_euler.py``; it prints one Markdown table. One window of 10 x 10 nodes at
every node; the plain way solves the same normal equations in batches of rows.
"""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from common import Row, medians, show
from lodewalk.methods.depth.euler import euler_grid

SIDE, WINDOW, SPACING_M = 1000, 10, 5.0


def world(seed: int = 0) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Return the field of 40 upright dipoles, and its gradients by central differences."""
    rng = np.random.default_rng(seed)
    axis = np.arange(SIDE) * SPACING_M
    north, east = np.meshgrid(axis, axis, indexing="ij")
    fields = []
    for down in (-0.5, 0.0, 0.5):
        total = np.zeros((SIDE, SIDE))
        rng = np.random.default_rng(seed)
        for _ in range(40):
            x, y = east - rng.uniform(0, axis[-1]), north - rng.uniform(0, axis[-1])
            depth = rng.uniform(20, 80) - down
            total += depth**3 * (2 * depth**2 - x**2 - y**2) / (x**2 + y**2 + depth**2) ** 2.5
        fields.append(total)
    by_north, by_east = np.gradient(fields[1], SPACING_M)
    return fields[1], {"east": by_east, "north": by_north, "down": fields[2] - fields[0]}


def plain(field: np.ndarray, east: np.ndarray, north: np.ndarray, down: np.ndarray) -> np.ndarray:
    """Solve all windows without a loop over them, a few rows at a time."""
    away = (np.arange(WINDOW) - 0.5 * (WINDOW - 1)) * SPACING_M
    y, x = np.meshgrid(away, away, indexing="ij")
    found = []
    for row in range(0, SIDE - WINDOW + 1, 8):
        part = slice(row, min(row + 8 + WINDOW - 1, SIDE))
        t, tx, ty, tz = (
            sliding_window_view(one[part], (WINDOW, WINDOW)) for one in (field, east, north, down)
        )
        design = np.stack([tx, ty, tz, -t, np.ones(t.shape)], axis=-1)
        design = design.reshape(*t.shape[:2], WINDOW * WINDOW, 5)
        right = (x * tx + y * ty).reshape(*t.shape[:2], WINDOW * WINDOW, 1)
        turned = np.swapaxes(design, -1, -2)
        normal = turned @ design + 1e-12 * np.eye(5)
        found.append(np.linalg.solve(normal, turned @ right)[..., 0])
    return np.concatenate(found)


def main() -> None:
    field, gradients = world()
    times = medians(
        {
            "here": lambda: euler_grid(field, **gradients, spacing_m=SPACING_M, window=WINDOW),
            "plain": lambda: plain(field, *gradients.values()),
        },
        rounds=3,
    )
    note = f"{(SIDE - WINDOW + 1) ** 2} windows; at most 2 s asked for"
    show(
        [
            Row(
                "Euler deconvolution of 1000 x 1000 nodes", times["here"],
                "batched normal equations in numpy", times["plain"], note,
            )
        ]
    )  # fmt: skip


if __name__ == "__main__":
    main()
