"""Time the diurnal interpolation: 10 million readings on a base record of 1 s.

Side by side with numpy.interp and with a plain pass over the same bytes (read one array, write
another). Best of five, one thread.
"""

import time
from collections.abc import Callable

import numpy as np
from numba import njit

from lodewalk.methods.corrections.diurnal import interpolate_base

READINGS = 10_000_000


@njit(nogil=True, cache=True)
def plain_pass(values, out):
    for i in range(values.size):
        out[i] = 1.5 * values[i] + 2.0


def best_of(run: Callable[[], object], times: int = 5) -> float:
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def compare(name: str, at: np.ndarray, base_time: np.ndarray, base: np.ndarray) -> None:
    def ours() -> np.ndarray:
        return interpolate_base(at, base_time, base, max_gap_s=5.0)

    assert np.allclose(ours(), np.interp(at, base_time, base), rtol=0, atol=1e-9)
    plain, own = best_of(lambda: plain_pass(at, np.empty(at.size))), best_of(ours)
    library = best_of(lambda: np.interp(at, base_time, base), times=2)
    print(f"| {name} | {own:.3f} s | {own / plain:.2f} | {library:.3f} s | {library / own:.1f} |")


def main() -> None:
    rng = np.random.default_rng(1)
    plain_pass(np.zeros(3), np.zeros(3))
    print("| case | here | over a plain pass | numpy.interp | numpy.interp over here |")
    print("|---|---|---|---|---|")
    for days in (1, 12):
        base_time = 1.7e9 + np.arange(days * 86_400.0)
        base = 48_000 + np.cumsum(rng.normal(size=base_time.size)) / 50
        at = np.sort(rng.uniform(base_time[0], base_time[-1], READINGS))
        compare(f"{days} days, in order", at, base_time, base)
        rng.shuffle(at)
        compare(f"{days} days, shuffled", at, base_time, base)


if __name__ == "__main__":
    main()
