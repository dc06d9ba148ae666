"""A day of 30,000 readings with a 1 s base: how long its check takes once the files are read.

The steps run in this process, as `lodewalk check` does it, their kernels compiled.
"""

import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from lodewalk.services.add import add_files
from lodewalk.services.demo import write_demo
from lodewalk.services.demo.scenario import DAYS, OUTAGES, Scenario, Walk
from lodewalk.services.new import new_survey
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import run

ROUNDS = 5
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


def timed_check(path: Path) -> tuple[dict[str, float], int]:
    """Return the seconds of each step after reading, all products made anew."""
    folder = open_folder(path)
    for file in (folder.products / "steps").glob("*"):
        if "_recorded" not in file.name and "_files" not in file.name:
            file.unlink()
    done = run(folder, to="check")
    rows = len(folder.products.joinpath("check.json").read_text())
    return {s.step: s.seconds for s in done if s.ran and not s.step.startswith("ingest")}, rows


def section() -> str:
    """Return the Markdown section."""
    with tempfile.TemporaryDirectory() as scratch:
        path = survey(Path(scratch))
        timed_check(path)  # compiles
        rounds = []
        for _ in range(ROUNDS):
            started = time.perf_counter()
            steps, _ = timed_check(path)
            rounds.append((time.perf_counter() - started, steps))
        total = float(np.median([sum(steps.values()) for _, steps in rounds]))
        names = rounds[0][1]
        medians = {n: float(np.median([steps[n] for _, steps in rounds])) for n in names}
    slowest = sorted(medians.items(), key=lambda item: -item[1])
    rows = "\n".join(f"| {name} | {seconds:.2f} |" for name, seconds in slowest)
    return (
        "## The check of a day\n\nAbout 30,000 readings of two rovers and a base each second for "
        f"8.5 h; steps after reading, median of {ROUNDS} rounds, written to disk between them: "
        f"{total:.2f} s (limit 2 s).\n\n| step | seconds |\n|---|---:|\n{rows}"
    )


if __name__ == "__main__":
    print(section())
