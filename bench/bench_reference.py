"""The reference field of many points: lodewalk beside ppigrf, in time and memory.

Run ``python bench/bench_reference.py [--points 1000000] [--repeats 5]``. Each contender has a
process of its own, since peak memory is kept for the life of a process. Prints a markdown table.
"""

import argparse
import json
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime

import numpy as np

# Points a call for ppigrf: 10,000 to 50,000 take the same time, fewer take longer.
PPIGRF_CHUNK = 10_000
Field = tuple[np.ndarray, np.ndarray, np.ndarray]

CONTENDERS = ("lodewalk", "lodewalk, two threads", f"ppigrf, {PPIGRF_CHUNK:,} a call")


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


def measure(contender: str, count: int, repeats: int) -> dict[str, object]:
    """Time one contender in this process."""
    functions: tuple[Callable[[np.ndarray], Field], ...]
    functions = (by_lodewalk, by_lodewalk_in_two_threads, by_ppigrf)
    function = functions[CONTENDERS.index(contender)]
    points = places(count)
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
        "sample": [component[:: max(1, count // 1000)].tolist() for component in field],
    }


def measure_apart(contender: str, count: int, repeats: int) -> dict:
    """Run `measure` in a process of its own."""
    command = [sys.executable, __file__, "--contender", contender]
    command += ["--points", str(count), "--repeats", str(repeats)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return json.loads(done.stdout)


def report(count: int, repeats: int) -> None:
    """Measure all and print the table."""
    results = {name: measure_apart(name, count, repeats) for name in CONTENDERS}
    slowest = results[CONTENDERS[-1]]
    print(f"{count:,} points, one epoch, degree 13; median of {repeats} runs\n")
    print("| | one point, first call [s] | all points [s] | points/s | times faster | peak [MB] |")
    print("|---|---|---|---|---|---|")
    for name, result in results.items():
        seconds = result["median_s"]
        print(
            f"| {name} | {result['first_s']:.2f} | {seconds:.3f} | {count / seconds:,.0f} "
            f"| {slowest['median_s'] / seconds:.1f} | {result['peak_mb']:.0f} |"
        )
    apart = np.subtract(results[CONTENDERS[0]]["sample"], slowest["sample"])
    print(f"\nBefore any work a process holds {slowest['bare_mb']:.0f} MB, the points among it.")
    print(f"Largest difference of a component: {np.abs(apart).max():.1e} nT.")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--contender", choices=CONTENDERS, help="measure this one only, as JSON")
    options = parser.parse_args()
    if options.contender:
        print(json.dumps(measure(options.contender, options.points, options.repeats)))
    else:
        report(options.points, options.repeats)


if __name__ == "__main__":
    main()
