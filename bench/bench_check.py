"""Time the check of a day of 30,000 readings with a 1 s base, once the files are read.

The steps run in this process, as `lodewalk check` does it, their kernels compiled. Beside it the
bare arithmetic with polars and numpy on the same tables: the base between its readings, fourth
differences, a running noise. Run ``python bench/bench_check.py``; it prints one Markdown table.
"""

import sys
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import polars as pl

from common import Row, medians, show
from lodewalk.services.add import add_files
from lodewalk.services.demo import write_demo
from lodewalk.services.demo.scenario import DAYS, OUTAGES, Scenario, Walk
from lodewalk.services.new import new_survey
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import run

FORWARD = tuple(f"L{number:02d}" for number in range(1, 22))
BACKWARD = tuple(f"L{number:02d}" for number in range(40, 21, -1))


def one_day() -> Scenario:
    """Return the demo with all its lines on the quiet day and a base each second."""
    day = replace(
        DAYS[0],
        walks=(
            Walk("R1", 12.0 * 3600, (*FORWARD, "T1", "T2")),
            Walk("R2", 12.1 * 3600, (*BACKWARD, "T3")),
        ),
        base_end_s=19.9 * 3600,
    )
    outages = tuple(outage for outage in OUTAGES if outage.date == day.date)
    return replace(Scenario(), days=(day,), outages=outages, base_interval_s=1.0)


def survey(root: Path) -> Path:
    """Write the day and add its files."""
    files = write_demo(root, seed=11, scenario=one_day())
    about = files.settings["survey"]
    path = root / "survey"
    new_survey(path, name=about["name"], crs=about["crs"], settings=files.settings)
    folder = open_folder(path)
    for item in files.files:
        add_files(
            folder, [item.path], role=item.role, instrument=item.instrument,
            columns=item.column_map, time_zone=item.time_zone,
        )  # fmt: skip
    return path


def forget(path: Path) -> None:
    """Take away all products but what was read."""
    for file in (path / "products" / "steps").glob("*"):
        if "_recorded" not in file.name and "_files" not in file.name:
            file.unlink()


def timed_check(path: Path, steps: dict[str, list[float]]) -> None:
    """Check the day, and keep the seconds of each step."""
    for step in run(open_folder(path), to="check"):
        if step.ran and not step.step.startswith("ingest"):
            steps.setdefault(step.step, []).append(step.seconds)


def bare(path: Path) -> np.ndarray:
    """Return a running noise of the corrected field."""
    steps = path / "products" / "steps"
    read = {
        role: (
            pl.read_parquet(steps / f"{role}_recorded.parquet")["raw_nT"].to_numpy(),
            pl.read_parquet(steps / f"{role}_times.parquet")["time_utc"].dt.epoch("us").to_numpy(),
        )
        for role in ("rover", "base")
    }
    (field, time), (base, base_time) = read["rover"], read["base"]
    corrected = field - np.interp(time, base_time, base)
    fourth = np.convolve(corrected, [1, -4, 6, -4, 1], mode="same") / 16
    return pl.Series(fourth).rolling_std(51).to_numpy()


def rows() -> list[Row]:
    """Return the one row of this bench."""
    with TemporaryDirectory() as scratch:
        path = survey(Path(scratch))
        steps: dict[str, list[float]] = {}
        run(open_folder(path), to="check")
        found = medians(
            {"bare": lambda: bare(path), "check": lambda: timed_check(path, steps)},
            before=lambda name: forget(path) if name == "check" else None,
        )
    slowest = sorted(((float(np.median(own)), name) for name, own in steps.items()), reverse=True)
    for seconds, name in slowest:
        print(f"{name:16} {seconds:.2f} s", file=sys.stderr)
    return [
        Row(
            "check of a day of 30,000 readings, base each second, files read",
            found["check"],
            "bare arithmetic with polars and numpy",
            found["bare"],
            "; ".join(f"{name} {seconds:.2f} s" for seconds, name in slowest[:4]),
        )
    ]


if __name__ == "__main__":
    show(rows())
