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
    """Run until the moment, kill the process there; return the moments that it reached."""
    command = [sys.executable, SCRIPT, path, str(number)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        reached = []
        for line in process.stdout:
            if line.strip() == "stop":
                break
            reached.append(line.strip())
        assert process.poll() is None, "the process must be alive when it is killed"
        process.send_signal(signal.SIGKILL)
    assert process.returncode == -signal.SIGKILL
    return reached


def test_killed_at_twenty_moments_the_next_run_finishes(survey, undisturbed, tmp_path):
    expected, moments = undisturbed
    numbers = chosen(moments)
    assert len(numbers) >= KILLS
    assert sum(not moments[n].startswith("step") for n in numbers) >= 5
    for number in numbers:
        path = tmp_path / f"at-{number}"
        shutil.copytree(survey, path)
        last = kill_at(path, number)[-1].split()
        assert last[:2] == [str(number), moments[number].split()[0]]
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
