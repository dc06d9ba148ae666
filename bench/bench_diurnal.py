"""Time the diurnal interpolation: 10 million readings on a base record of 1 s, in one thread.

Side by side with numpy.interp, and with a plain pass over the same bytes (read one array, write
another). Run ``python bench/bench_diurnal.py``; it prints one Markdown table.
"""

import numpy as np
from numba import njit

from common import Row, medians, show
from lodewalk.methods.corrections.diurnal import interpolate_base

READINGS = 10_000_000


@njit(nogil=True, cache=True)
def plain_pass(values, out):
    for i in range(values.size):
        out[i] = 1.5 * values[i] + 2.0


def compare(name: str, at: np.ndarray, base_time: np.ndarray, base: np.ndarray) -> Row:
    def ours() -> np.ndarray:
        return interpolate_base(at, base_time, base, max_gap_s=5.0)

    assert np.allclose(ours(), np.interp(at, base_time, base), rtol=0, atol=1e-9)
    jobs = {
        "ours": ours,
        "plain": lambda: plain_pass(at, np.empty(at.size)),
        "numpy": lambda: np.interp(at, base_time, base),
    }
    found = medians(jobs, rounds=3)
    return Row(
        f"diurnal interpolation, 10 million readings, {name}",
        found["ours"],
        "numpy.interp",
        found["numpy"],
        f"{found['ours'] / found['plain']:.1f} plain passes over the same bytes",
    )


def rows() -> list[Row]:
    rng = np.random.default_rng(1)
    plain_pass(np.zeros(3), np.zeros(3))
    found = []
    for days in (1, 12):
        base_time = 1.7e9 + np.arange(days * 86_400.0)
        base = 48_000 + np.cumsum(rng.normal(size=base_time.size)) / 50
        at = np.sort(rng.uniform(base_time[0], base_time[-1], READINGS))
        length = "1 day" if days == 1 else f"{days} days"
        found.append(compare(f"{length}, in order", at, base_time, base))
        rng.shuffle(at)
        found.append(compare(f"{length}, shuffled", at, base_time, base))
    return found


if __name__ == "__main__":
    show(rows())
