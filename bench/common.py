"""What benches and evidence share: jobs timed in turn, tables, the machine in a few words."""

import json
import os
import platform
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
from scipy.stats import binom

BENCH = Path(__file__).parent
LODEWALK = Path(sys.executable).with_name("lodewalk")
BUSY_LOAD = 0.3
#: Half width of a 90 % interval in standard deviations.
NINETY = 1.645

# Benches and evidence plant what the tests plant, so they import this module first.
sys.path.append(str(BENCH.parent / "test"))


@dataclass(frozen=True)
class Row:
    """A job, and what stands beside it in the same run; times are medians [s]."""

    job: str
    seconds: float
    beside: str
    beside_seconds: float
    note: str = ""


def medians(
    jobs: Mapping[str, Callable[[], object]],
    *,
    rounds: int = 5,
    before: Callable[[str], object] = lambda _: None,
) -> dict[str, float]:
    """Return the median time of each job [s].

    The jobs run in turn, so a busy machine slows all of them; a first round isn't counted.
    `before` gets the name of each job and isn't timed.
    """
    times: dict[str, list[float]] = {name: [] for name in jobs}
    for _ in range(rounds + 1):
        for name, job in jobs.items():
            before(name)
            begin = time.perf_counter()
            job()
            times[name].append(time.perf_counter() - begin)
    return {name: statistics.median(found[1:]) for name, found in times.items()}


def process(*command: object) -> Callable[[], str]:
    """Return a job that runs a program to its end and returns what it printed."""

    def job() -> str:
        words = [str(word) for word in command]
        return subprocess.run(words, check=True, capture_output=True, text=True).stdout

    return job


def show(rows: Sequence[Row]) -> None:
    """Print the rows, as JSON for `run.py` where it asks for it."""
    print(json.dumps([asdict(row) for row in rows]) if sys.argv[1:] == ["--json"] else table(rows))


def spread(shares: Sequence[float]) -> str:
    """Return the mean of the trials, and their 5th and 95th percentile."""
    low, high = np.quantile(shares, [0.05, 0.95])
    return f"{np.mean(shares):.3f} ({low:.2f} to {high:.2f})"


def table(rows: Iterable[Row]) -> str:
    """Return the rows as a Markdown table."""
    lines = [
        "| job | here [s] | beside it | it [s] | here / it | |",
        "|---|---:|---|---:|---:|---|",
    ]
    lines += [
        f"| {row.job} | {row.seconds:#.3g} | {row.beside} | {row.beside_seconds:#.3g} "
        f"| {row.seconds / row.beside_seconds:#.3g} | {row.note} |"
        for row in rows
    ]
    return "\n".join(lines)


def machine(packages: Sequence[str], *, load: float) -> str:
    """Return cores, versions, and whether other work was running before the first job."""
    versions = ", ".join(f"{name} {version(name)}" for name in packages)
    other = f"other work was running: load average {load:.1f} before the first job"
    calm = f"no other work was running (load average {load:.1f} before the first job)"
    return (
        f"{os.cpu_count()} cores, {platform.machine()}; Python {platform.python_version()}, "
        f"{versions}; {other if load > BUSY_LOAD else calm}."
    )


def coverage_row(name: str, parts: Iterable[tuple[np.ndarray, np.ndarray]]) -> str:
    """Return a row of coverage from the errors and stated sd at the places of each survey.

    One place a survey is drawn at random and counted; beside it stand all places of each, and the
    mean sd over the rms of the errors, all surveys together and its median over surveys.
    """
    rng = np.random.default_rng(7)
    one, shares, widths, squares = [], [], [], []
    for error, sd in parts:
        if not error.size:
            continue
        inside = np.abs(error) <= NINETY * sd
        one.append(bool(inside[rng.integers(error.size)]))
        shares.append(float(np.mean(inside)))
        widths.append(np.mean(sd))
        squares.append(np.mean(error**2))
    low, high = binom.ppf([0.005, 0.995], len(one), 0.9) / len(one)
    ratio = np.mean(widths) / np.sqrt(np.mean(squares))
    usual = np.median(np.array(widths) / np.sqrt(squares))
    return (
        f"| {name} | {len(one)} | {np.mean(one):.3f} | {low:.3f} to {high:.3f} | {spread(shares)} "
        f"| {ratio:.2f} | {usual:.2f} |"
    )
