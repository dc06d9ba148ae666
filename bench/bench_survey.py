"""Time the whole run of a survey of 100,000 readings: new, unchanged, and with one setting changed.

Beside it, `plain_run.py` does the bare arithmetic on the same files with general-purpose
libraries. Each job is a process of its own with compiled kernels kept. Run
``python bench/bench_survey.py``; it prints one Markdown table.
"""

import json
import shutil
import sys
from itertools import cycle
from pathlib import Path
from tempfile import TemporaryDirectory

from common import BENCH, LODEWALK, Row, medians, process, show
from planted_survey import Planted, make_survey, places, write_survey

LINES, READINGS_A_LINE, STEP_M = 100, 1000, 1.1
SPACINGS = cycle((4.0, 5.0))
NEW, SAME, CHANGED, PLAIN = "new", "same", "changed", "plain"
EXPECTED = {SAME: set(), CHANGED: {"grid", "summary"}}


def rows() -> list[Row]:
    """Return a row for each state of the survey."""
    with TemporaryDirectory() as folder:
        path = Path(folder)
        at = places(LINES, length_m=(READINGS_A_LINE - 1) * STEP_M, step_m=STEP_M)
        write_survey(path, at, Planted(2.0, 15.0, 0.1), seed=1, base_interval_s=10)
        survey = make_survey(path).path

        def prepare(name: str) -> None:
            if name == NEW:
                shutil.rmtree(survey / "products", ignore_errors=True)
            if name == CHANGED:
                set_spacing(survey / "survey.toml", next(SPACINGS))

        run = process(LODEWALK, "run", survey, "--json")
        jobs = {
            NEW: lambda: check(run(), NEW, at.line.size),
            SAME: lambda: check(run(), SAME, at.line.size),
            CHANGED: lambda: check(run(), CHANGED, at.line.size),
            PLAIN: process(sys.executable, BENCH / "plain_run.py", path),
        }
        found = medians(jobs, rounds=3, before=prepare)
    beside = "a plain script: arithmetic and grid only"
    return [
        Row("whole run of 100,000 readings, nothing made yet", found[NEW], beside, found[PLAIN]),
        Row(
            "again, nothing changed",
            found[SAME],
            f"{beside}, all of it again",
            found[PLAIN],
            f"{found[SAME] / found[NEW]:.2f} of the whole run",
        ),
        Row(
            "again, grid spacing changed",
            found[CHANGED],
            f"{beside}, all of it again",
            found[PLAIN],
            f"{found[CHANGED] / found[NEW]:.2f} of the whole run",
        ),
    ]


def set_spacing(settings: Path, spacing_m: float) -> None:
    """Write the spacing of the grid into the settings."""
    lines = settings.read_text().splitlines()
    own = [line for line in lines if not line.startswith("spacing_m = ")]
    own.insert(own.index("[grid]") + 1, f"spacing_m = {spacing_m}")
    settings.write_text("\n".join(own) + "\n")


def check(shown: str, name: str, readings: int) -> None:
    """Make sure that the run did what its time is given for."""
    result = json.loads(shown)
    ran = {step["step"] for step in result["steps"] if step["ran"]}
    assert result["readings"]["total"] == readings
    assert ran == EXPECTED.get(name, {step["step"] for step in result["steps"]}), ran


if __name__ == "__main__":
    show(rows())
