"""Time short commands from start to end, each beside a general-purpose program of like work.

Run ``python bench/bench_start.py``; it prints one Markdown table.
"""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from common import LODEWALK, Row, medians, process, show
from lodewalk.services.run import run
from lodewalk.steps.declarations import STEPS
from planted_survey import drawn, make_survey, places, write_survey

HELP = """
import typer
app = typer.Typer(rich_markup_mode=None, add_completion=False)
@app.command()
def hello(name: str): "Say hello."
app()
"""
FIELD = """
import datetime, ppigrf
print(ppigrf.igrf(-50.4, -24.9, 0.8, datetime.datetime(2026, 11, 25)))
"""


def rows() -> list[Row]:
    """Return a row for each command."""
    python = sys.executable
    with TemporaryDirectory() as folder:
        path = Path(folder)
        write_survey(path, places(), drawn(0), seed=0)
        survey = make_survey(path)
        run(survey)
        site = ("--lat", "-24.9", "--lon", "-50.4", "--height", "800", "--date", "2026-11-25")
        jobs = {
            "help": process(LODEWALK, "--help"),
            "typer": process(python, "-c", HELP, "--help"),
            "site": process(LODEWALK, "site", *site),
            "ppigrf": process(python, "-c", FIELD),
            "run": process(LODEWALK, "run", survey.path),
            "make": process("make", "-C", made(path)),
            "python": process(python, "-c", "pass"),
        }
        found = medians(jobs, rounds=9)
    alone = f"Python alone starts in {found['python']:.3f} s"
    one_command = "a program of one command with the same library"
    like_graph = f"make: {len(STEPS)} targets, nothing to do, by file time alone"
    return [
        Row("lodewalk --help", found["help"], one_command, found["typer"], alone),
        Row("lodewalk site", found["site"], "ppigrf at one point", found["ppigrf"]),
        Row("lodewalk run, nothing to do", found["run"], like_graph, found["make"]),
    ]


def made(folder: Path) -> Path:
    """Write a Makefile with as many targets as there are steps, each made already."""
    names = [step.name for step in STEPS]
    rules = [f"all: {' '.join(names)}", *(f"{name}: Makefile" for name in names)]
    (folder / "Makefile").write_text("\n".join(rules) + "\n")
    for name in names:
        (folder / name).touch()
    return folder


if __name__ == "__main__":
    show(rows())
