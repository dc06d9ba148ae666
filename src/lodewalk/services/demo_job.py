"""The demo: write the invented survey, run the whole job, say where to look."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from time import perf_counter

from numba.core.event import install_timer

from lodewalk.errors import CancelledError, FolderError
from lodewalk.services.add import add_files
from lodewalk.services.decide import decide
from lodewalk.services.demo import write_demo
from lodewalk.services.demo.scenario import Scenario
from lodewalk.services.demo.write import DemoFile
from lodewalk.services.new import new_survey
from lodewalk.services.report import report
from lodewalk.services.run import run
from lodewalk.steps.context import Reporter
from lodewalk.survey.folder import Folder, open_folder

#: Sub-folder with the same survey as it was before anyone walked: nothing planned yet.
BEFORE_GOING = "before-going"


@dataclass(frozen=True)
class DemoResult:
    """Where the demo survey lies and how long each part took.

    `compile_seconds` is what the other times hold of compiling kernels: 0 once they are cached.
    """

    folder: str
    before_going: str
    truth: str
    map: str
    report: str
    readings_total: int
    readings_kept: int
    write_seconds: float
    run_seconds: float
    report_seconds: float
    compile_seconds: float


def demo(
    directory: Path,
    *,
    seed: int,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> DemoResult:
    """Write the demo survey with its truth and run the whole job on it.

    Parameters
    ----------
    directory : Path
        A new or empty folder.
    seed : int
        The same seed gives the same files.
    reporter, cancelled
        As for a run.

    Raises
    ------
    FolderError
        When the folder is not empty.
    CancelledError
        When it was stopped; nothing of it is left then.
    """
    if directory.exists() and any(directory.iterdir()):
        raise FolderError(f"{directory} is not empty. Choose another folder for the demo.")
    there = directory.exists()
    try:
        return _made(directory, seed, reporter, cancelled)
    except CancelledError:
        # Half a demo would look like a survey, and its folder couldn't be taken again.
        shutil.rmtree(directory, ignore_errors=True)
        if there:
            directory.mkdir(exist_ok=True)
        raise


def _made(
    directory: Path, seed: int, reporter: Reporter | None, cancelled: Callable[[], bool]
) -> DemoResult:
    """Write the demo and run the job on it."""
    compiled: list[float] = []
    marks = [perf_counter()]
    with install_timer("numba:compile", compiled.append):
        _write(directory, seed)
        marks.append(perf_counter())
        folder = open_folder(directory)
        ran = run(folder, reporter=reporter, cancelled=cancelled)
        marks.append(perf_counter())
        made = report(folder, reporter=reporter, cancelled=cancelled)
        marks.append(perf_counter())
    seconds = [round(after - before, 2) for before, after in pairwise(marks)]
    assert ran.readings is not None
    return DemoResult(
        folder=str(directory),
        before_going=str(directory / BEFORE_GOING),
        truth=str(directory / "truth"),
        map=made.map or "",
        report=made.report,
        readings_total=ran.readings.total,
        readings_kept=ran.readings.kept,
        write_seconds=seconds[0],
        run_seconds=seconds[1],
        report_seconds=seconds[2],
        compile_seconds=round(sum(compiled), 2),
    )


def _write(directory: Path, seed: int) -> None:
    """Write the survey's raw files and add them to a new folder."""
    import tempfile

    with tempfile.TemporaryDirectory() as scratch:
        files = write_demo(Path(scratch), seed=seed)
        about = files.settings["survey"]
        new_survey(directory, name=about["name"], crs=about["crs"], settings=files.settings)
        folder = open_folder(directory)
        for name in ("incoming", "truth"):
            (Path(scratch) / name).rename(directory / name)
        _add(folder, directory, files.files, Path(scratch))
        _confirm_clocks(folder)
        about = files.beliefs["survey"]
        before = directory / BEFORE_GOING
        new_survey(before, name=about["name"], crs=about["crs"], settings=files.beliefs)
        _add(open_folder(before), directory, files.before_going, Path(scratch))


def _add(folder: Folder, directory: Path, files: tuple[DemoFile, ...], scratch: Path) -> None:
    """Add files, which were moved from the scratch folder, to a survey."""
    for item in files:
        column_map = item.column_map
        add_files(
            folder,
            [directory / item.path.relative_to(scratch)],
            role=item.role,
            instrument=item.instrument,
            columns=directory / column_map.relative_to(scratch) if column_map else None,
            time_zone=item.time_zone,
        )


def _confirm_clocks(folder: Folder) -> None:
    """Let the crew confirm what the check proposes: one logger kept GPS time.

    The check finds it again in the times as recorded, whatever was decided.
    """
    for rover in Scenario().rovers:
        if rover.clock_offset_s:
            decide(
                folder,
                kind="clock",
                instrument=rover.name,
                offset_s=rover.clock_offset_s,
                reason="the logger kept GPS time, as the lines against the handheld's track show",
                who=rover.carried_by,
            )
