"""The reference field of many points: lodewalk beside ppigrf, in time and memory.

Run ``python bench/bench_reference.py``; it prints one Markdown table. Each contender has a process
of its own, since peak memory is kept for the life of a process. ppigrf counts once: its 100 calls
take so long that one run is even enough.
"""

import json
import resource
import statistics
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime

import numpy as np

from common import Row, process, show

POINTS = 1_000_000
# Points a call for ppigrf: 10,000 to 50,000 take the same time, fewer take longer.
PPIGRF_CHUNK = 10_000
Field = tuple[np.ndarray, np.ndarray, np.ndarray]


def places(count: int) -> np.ndarray:
    """Return latitude, longitude and height of points spread evenly over the Earth, as rows."""
    rng = np.random.default_rng(1)
    latitude = np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, count)))
    return np.array([latitude, rng.uniform(-180.0, 180.0, count), rng.uniform(0.0, 9000.0, count)])


def by_lodewalk(points: np.ndarray) -> Field:
    from lodewalk.methods.geomagnetic import igrf_field

    return igrf_field(*points, decimal_year=2025.0)


def by_lodewalk_in_two_threads(points: np.ndarray) -> Field:
    halves = np.array_split(points, 2, axis=1)
    with ThreadPoolExecutor(2) as pool:
        north, east, down = zip(*pool.map(by_lodewalk, halves), strict=True)
    return np.concatenate(north), np.concatenate(east), np.concatenate(down)


def by_ppigrf(points: np.ndarray) -> Field:
    import ppigrf

    field = np.empty_like(points)
    for start in range(0, points.shape[1], PPIGRF_CHUNK):
        part = slice(start, start + PPIGRF_CHUNK)
        latitude, longitude, height = points[:, part]
        east, north, up = ppigrf.igrf(longitude, latitude, height / 1000.0, datetime(2025, 1, 1))
        field[:, part] = north[0], east[0], -up[0]
    return tuple(field)


def peak_megabytes() -> float:
    """Return the largest memory this process has held so far [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def measure(contender: str) -> dict[str, object]:
    """Time one contender in this process."""
    function, repeats = CONTENDERS[contender]
    points = places(POINTS)
    bare = peak_megabytes()
    begin = time.perf_counter()
    function(points[:, :1])
    first = time.perf_counter() - begin
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        field = function(points)
        times.append(time.perf_counter() - begin)
    return {
        "first_s": first,
        "median_s": statistics.median(times),
        "peak_mb": peak_megabytes(),
        "bare_mb": bare,
        "sample": [component[:: POINTS // 1000].tolist() for component in field],
    }


def rows() -> list[Row]:
    """Return one row with one thread and one with two."""
    found = {name: json.loads(process(sys.executable, __file__, name)()) for name in CONTENDERS}
    library = found["ppigrf"]
    apart = np.abs(np.subtract(found["one thread"]["sample"], library["sample"])).max()
    return [
        Row(
            f"reference field at a million points, {name}",
            found[name]["median_s"],
            f"ppigrf, {PPIGRF_CHUNK:,} points a call",
            library["median_s"],
            f"{library['median_s'] / found[name]['median_s']:.0f} times faster; peak "
            f"{found[name]['peak_mb']:.0f} MB against {library['peak_mb']:.0f} MB, "
            f"{library['bare_mb']:.0f} MB of it before any work; at most {apart:.0e} nT apart",
        )
        for name in ("one thread", "two threads")
    ]


CONTENDERS: dict[str, tuple[Callable[[np.ndarray], Field], int]] = {
    "one thread": (by_lodewalk, 5),
    "two threads": (by_lodewalk_in_two_threads, 5),
    "ppigrf": (by_ppigrf, 1),
}

if __name__ == "__main__":
    if sys.argv[-1] in CONTENDERS:
        print(json.dumps(measure(sys.argv[1])))
    else:
        show(rows())
