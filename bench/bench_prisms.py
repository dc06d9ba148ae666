"""Many prisms at many points: lodewalk beside the plain sum over corners in numpy.

The plain sum is what a textbook has: for each prism and corner three logarithms and three arc
tangents of arrays over all points. Run ``python bench/bench_prisms.py``; it prints
a Markdown table.
"""

import numpy as np

from common import Row, medians, show
from lodewalk.methods.bodies import prisms_field
from lodewalk.methods.bodies.dipole import FIELD_CONSTANT

PRISMS, POINTS = 100, 4000


def plain_sum(east, north, height, *, bounds, magnetisation):
    """Return the field of prisms as plain sums over their corners."""
    total = np.zeros((3, east.size))
    for block, own in zip(bounds, magnetisation, strict=True):
        parts = np.zeros((6, east.size))
        for i, j, k in np.ndindex(2, 2, 2):
            x, y, z = block[i] - east, block[2 + j] - north, block[4 + k] - height
            r = np.sqrt(x * x + y * y + z * z)
            sign = (-1.0) ** (i + j + k + 1)
            parts[0] -= sign * np.arctan2(y * z, x * r)
            parts[1] -= sign * np.arctan2(x * z, y * r)
            parts[2] -= sign * np.arctan2(x * y, z * r)
            parts[3] += sign * np.log(z + r)
            parts[4] += sign * np.log(y + r)
            parts[5] += sign * np.log(x + r)
        xx, yy, zz, xy, xz, yz = parts
        total[0] += xy * own[1] + yy * own[0] - yz * own[2]
        total[1] += xx * own[1] + xy * own[0] - xz * own[2]
        total[2] -= xz * own[1] + yz * own[0] - zz * own[2]
    return FIELD_CONSTANT * total


def main() -> None:
    rng = np.random.default_rng(8)
    low = rng.uniform([-50.0, -50.0, -60.0], [40.0, 40.0, -20.0], (PRISMS, 3))
    bounds = np.stack([low, low + rng.uniform(1.0, 15.0, low.shape)], axis=2).reshape(-1, 6)
    own = rng.normal(0.0, 1.0, (PRISMS, 3))
    where = (*rng.uniform(-70.0, 70.0, (2, POINTS)), rng.uniform(0.5, 10.0, POINTS))
    jobs = {
        "here": lambda: np.array(prisms_field(*where, bounds=bounds, magnetisation=own)),
        "plain": lambda: plain_sum(*where, bounds=bounds, magnetisation=own),
    }
    apart = float(np.abs(jobs["here"]() - jobs["plain"]()).max())
    found = medians(jobs, rounds=7)
    ratio = found["plain"] / found["here"]
    show(
        [
            Row(
                f"Field of {PRISMS} prisms at {POINTS:,} points",
                found["here"],
                "plain sum over corners, numpy",
                found["plain"],
                f"{ratio:.1f} times as fast, 3 is the limit set; {apart:.0e} nT apart at the most",
            )
        ]
    )


if __name__ == "__main__":
    main()
