"""The demo against its truth: errors, coverage and faults. The same seed as `make demo`.

Run ``python bench/evidence_demo.py``; it prints one Markdown section.
"""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import polars as pl

import common  # noqa: F401  makes the folder of the tests importable
from demo_truth import off_truth, readings_with_truth
from lodewalk.services.demo_job import demo

SEED = 7
QUIET_DAY = "2026-03-10"
FAULTS = ("spike", "duplicate", "dropout")


@cache
def demo_table() -> pl.DataFrame:
    """Return the readings of the demo with their truth."""
    with TemporaryDirectory() as folder:
        return readings_with_truth(demo(Path(folder, "demo"), seed=SEED))


def section() -> str:
    return "\n".join([*coverage_lines(demo_table()), "", *fault_lines(demo_table())])


def coverage_lines(table: pl.DataFrame) -> list[str]:
    lines = [
        "## The demo survey against its truth",
        "",
        f"Seed {SEED}; kept readings; one constant taken off for the survey. At the true place the "
        "anomaly is compared with the planted one where the sensor really was, at the recorded "
        "place with the planted one where GPS put it, 1 to 1.7 m off; the "
        "stated error is that of the latter.",
        "",
        "| readings | number | median size of error, true place | coverage, true place "
        "| coverage, recorded place |",
        "|---|---:|---:|---:|---:|",
    ]
    kept = table["kept"].to_numpy()
    quiet = (table["day"] == QUIET_DAY).to_numpy()
    off = off_truth(table)
    recorded = off_truth(table, "anomaly_at_recorded_nT_true")
    sd = table["sd_nT"].to_numpy()
    for name, rows in (
        ("quiet day", kept & quiet),
        ("day of the storm", kept & ~quiet),
        ("both", kept),
    ):
        covered = [np.mean(np.abs(part[rows]) <= 1.645 * sd[rows]) for part in (off, recorded)]
        lines.append(
            f"| {name} | {rows.sum():,} | {np.median(np.abs(off[rows])):.3f} nT "
            f"| {covered[0]:.3f} | {covered[1]:.3f} |"
        )
    return lines


def fault_lines(table: pl.DataFrame) -> list[str]:
    lines = ["| planted fault | readings | dropped for it |", "|---|---:|---:|"]
    for fault in FAULTS:
        planted = table.filter(fault_true=fault)
        found = planted["reason"].eq_missing(fault).sum()
        lines.append(f"| {fault} | {planted.height} | {found} |")
    sound = table.filter(pl.col("fault_true").is_null())
    wrong = sound["reason"].is_in(FAULTS).sum()
    lines.append(f"| none | {sound.height:,} | {wrong} |")
    return lines


if __name__ == "__main__":
    print(section())
