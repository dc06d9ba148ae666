"""Share of spikes that are found, by their size and by how steep the field is where they stand.

Spikes of one reading are put into the true readings of the demo, fence and boulders and noise
included, one in each 40 readings; and spikes of one or two readings into walks over dipoles at
0.3 to 5 m below ground, as the test of `find_spikes` makes them. Run
``python bench/evidence_spikes.py``; it prints one Markdown section.
"""

import runpy
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import polars as pl

from common import BENCH
from evidence_demo import demo_table
from lodewalk.methods.checks.spikes import find_spikes

SIZES_NT = (5.0, 10.0, 30.0, 100.0, 300.0)
STEEPNESS_NT_M = (0.0, 0.5, 2.0, 5.0, 20.0, np.inf)
EVERY = 40
ROUNDS = 4
NOISE_NT = 0.3
OF_TEST = runpy.run_path(str(BENCH.parent / "test/methods/checks/test_spikes.py"))
PARTS = ("reference_nT_true", "anomaly_nT_true", "external_nT_true", "noise_nT_true")


@dataclass(frozen=True)
class Walked:
    """The true readings of one file in order of time, and where spikes may be put."""

    time_s: np.ndarray
    field_nT: np.ndarray
    steepness_nT_m: np.ndarray
    on_line: np.ndarray


def walked(part: pl.DataFrame) -> Walked:
    names = ("easting_m", "northing_m", "anomaly_nT")
    east, north, anomaly = (part[f"{name}_true"].to_numpy() for name in names)
    # A rover that stands still has no steepness to speak of.
    step = np.maximum(np.hypot(np.diff(east), np.diff(north)), 0.2)
    slope = np.abs(np.diff(anomaly)) / step
    return Walked(
        part["time_utc"].dt.epoch("us").to_numpy() / 1e6,
        sum(part[name].to_numpy() for name in PARTS),
        np.maximum(np.append(slope, 0.0), np.append(0.0, slope)),
        part["line_true"].str.contains("^[LT]").fill_null(value=False).to_numpy(),
    )


def trial(size_nT: float, files: list[Walked], seed: int) -> tuple[np.ndarray, ...]:
    """Return steepness of each reading, whether it got a spike, and whether it was dropped."""
    rng = np.random.default_rng([seed, int(size_nT)])
    parts = []
    for file in files:
        at = np.arange(EVERY, file.field_nT.size - EVERY, EVERY)
        at += rng.integers(0, EVERY // 4, at.size)
        at = at[file.on_line[at]]
        spikes = np.zeros(file.field_nT.size)
        spikes[at] = size_nT * rng.choice([-1.0, 1.0], at.size)
        dropped = find_spikes(file.field_nT + spikes, time_s=file.time_s)
        parts.append((file.steepness_nT_m, spikes != 0, dropped))
    return tuple(np.concatenate(part) for part in zip(*parts, strict=True))


def over_dipoles(seed: int) -> tuple[np.ndarray, ...]:
    """Return what `trial` does for a walk over shallow dipoles, a reading a metre."""
    rng = np.random.default_rng(seed)
    field = OF_TEST["walk_over_dipoles"](rng, every=60)
    spikes = OF_TEST["isolated_spikes"](rng, field.size, 10 * NOISE_NT)
    dropped = find_spikes(field + rng.normal(scale=NOISE_NT, size=field.size) + spikes)
    return np.abs(np.gradient(field)), spikes != 0, dropped


def section() -> str:
    table = demo_table().filter(pl.col("fault_true").ne_missing("duplicate")).sort("time_utc")
    files = [walked(part) for _, part in table.group_by("file", maintain_order=True)]
    edges = STEEPNESS_NT_M[:-1]
    classes = [f"{low:g} to {high:g} nT/m" for low, high in pairwise(edges)]
    classes.append(f"over {edges[-1]:g} nT/m")
    lines = [
        "## Spikes by size and steepness",
        "",
        "Share of the spikes that are found where the field changes by so many nT/m, and share of "
        "the sound readings that are dropped. In the demo (seed as above; noise 0.23 nT, a reading "
        "each 1.1 m) most sources are smooth; over dipoles 0.3 to 5 m below ground, one in 60 m "
        "(noise 0.3 nT, a reading a metre) they are not, and there a spike looks like a source.",
        "",
        "| spikes | " + " | ".join(classes) + " | sound readings dropped |",
        "|---" * (len(classes) + 2) + "|",
    ]
    for size in SIZES_NT:
        parts = [trial(size, files, seed) for seed in range(ROUNDS)]
        lines.append(table_line(f"demo, {size:g} nT", parts))
    dipoles = [over_dipoles(seed) for seed in range(24)]
    return "\n".join([*lines, table_line("shallow dipoles, 3 to 9 nT", dipoles)])


def table_line(name: str, parts: list[tuple[np.ndarray, ...]]) -> str:
    """Return the shares found by steepness, and the share of sound readings dropped."""
    steep, planted, dropped = (np.concatenate(part) for part in zip(*parts, strict=True))
    place = np.digitize(steep, STEEPNESS_NT_M) - 1
    cells = [share(dropped[planted & (place == n)]) for n in range(len(STEEPNESS_NT_M) - 1)]
    return f"| {name} | " + " | ".join(cells) + f" | {dropped[~planted].mean():.2%} |"


def share(found: np.ndarray) -> str:
    """Return the share with the number that it rests on."""
    return f"{found.mean():.2f} of {found.size}" if found.size else ""


if __name__ == "__main__":
    print(section())
