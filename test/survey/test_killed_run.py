"""A run killed at any moment leaves a folder that the next run finishes with the same digests."""

import shutil
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import run
from lodewalk.survey.state import read_state
from small_survey import CRS, write_small_survey

SCRIPT = Path(__file__).with_name("stopping_run.py")
KILLS = 20


def digests(folder):
    state = read_state(folder)
    assert all(made.complete for made in state.values())
    return {name: s.digest for made in state.values() for name, s in made.products.items()}


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    """A survey with its raw files, not yet run."""
    root = tmp_path_factory.mktemp("killed")
    truth = write_small_survey(root, lines=4)
    new_survey(root / "survey", name="small", crs=CRS)
    folder = open_folder(root / "survey")
    add_files(folder, [truth.base], role="base")
    add_files(folder, [truth.rover], role="rover")
    return folder.path


@pytest.fixture(scope="module")
def undisturbed(survey, tmp_path_factory):
    """The digests of an undisturbed run and the names of its moments."""
    path = tmp_path_factory.mktemp("undisturbed") / "survey"
    shutil.copytree(survey, path)
    shown = subprocess.run(
        [sys.executable, SCRIPT, path, "-1"], capture_output=True, text=True, check=True
    )
    moments = [line.split(" ", 1)[1] for line in shown.stdout.splitlines()]
    return digests(open_folder(path)), moments


def chosen(moments):
    """Return moments spread over the run, more than five of them inside a write or rename."""
    steps = [n for n, name in enumerate(moments) if name.startswith("step")]
    writes = [n for n, name in enumerate(moments) if not name.startswith("step")]
    spread = [writes[round(p)] for p in np.linspace(0, len(writes) - 1, KILLS - 8)]
    return sorted({*(steps[round(p)] for p in np.linspace(0, len(steps) - 1, 8)), *spread})


def kill_at(path, number):
    """Run until the moment and kill the process there."""
    with started(path, [number]) as process:
        reach(process)
        kill(process)


def started(path, numbers):
    """Start a run that stands still at some moments."""
    command = [sys.executable, SCRIPT, path, ",".join(map(str, numbers))]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def reach(process):
    """Wait until the run stands still; return number and first word of that moment."""
    last = ""
    for line in process.stdout:
        if line.strip() == "stop":
            break
        last = line.strip()
    assert process.poll() is None, "the process must be alive when it stands still"
    return last.split()[:2]


def kill(process):
    """Kill a run that stands still."""
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert process.returncode == -signal.SIGKILL


def left_at(path, numbers, moments, keep):
    """Return the folder as a kill at each moment leaves it: a copy while the run stands still.

    A kill writes nothing, so the files are those of the moment; one run serves all of them.
    """
    copies = {}
    with started(path, numbers) as process:
        for number in numbers:
            assert reach(process) == [str(number), moments[number].split()[0]]
            copies[number] = shutil.copytree(path, keep / f"at-{number}")
            if number != numbers[-1]:
                process.stdin.write("\n")
                process.stdin.flush()
        kill(process)
    return copies


def test_killed_at_twenty_moments_the_next_run_finishes(survey, undisturbed, tmp_path):
    expected, moments = undisturbed
    numbers = chosen(moments)
    assert len(numbers) >= KILLS
    assert sum(not moments[n].startswith("step") for n in numbers) >= 5
    running = shutil.copytree(survey, tmp_path / "running")
    for number, path in left_at(running, numbers, moments, tmp_path).items():
        folder = open_folder(path)
        run(folder)
        assert digests(folder) == expected, moments[number]
        assert not list(path.rglob("*.lodewalk-part")), "leftovers are cleared away"
        assert not any(item.ran for item in run(folder))
        shutil.rmtree(path)


def test_a_run_killed_many_times_over_still_ends(survey, undisturbed, tmp_path):
    expected, _moments = undisturbed
    path = tmp_path / "survey"
    shutil.copytree(survey, path)
    for number in (2, 5, 9, 14):
        kill_at(path, number)
    run(open_folder(path))
    assert digests(open_folder(path)) == expected


def test_one_and_two_threads_give_the_same_digests(survey, undisturbed, tmp_path):
    for workers in (1, 2):
        path = tmp_path / str(workers)
        shutil.copytree(survey, path)
        run(open_folder(path), workers=workers)
        assert digests(open_folder(path)) == undisturbed[0]
