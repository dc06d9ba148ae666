"""A Dask scheduler with two worker processes does the parts: same results, also when one dies."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import numpy as np
import psutil
import pytest
from typer.testing import CliRunner

from cluster_parts import blas_threads, dividing, dozing, gated, refusing, wait_for, weighed
from lodewalk.adapters import cluster as adapter
from lodewalk.adapters.cluster import connected
from lodewalk.cli.main import app
from lodewalk.errors import CancelledError, ClusterError, InputError
from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.steps.context import Context
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import run
from lodewalk.survey.state import read_state
from small_survey import CRS, write_small_survey

HOST = Path(__file__).parents[1] / "cluster_host.py"


@contextmanager
def hosted(folder, workers):
    """Yield the address of a scheduler in a process of its own; leave no process behind."""
    paths = [str(HOST.parent), os.environ.get("PYTHONPATH", "")]
    host = subprocess.Popen(
        [sys.executable, HOST, folder, str(workers)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(paths)},
    )
    started = []
    try:
        answered = host.stdout.readline().strip()
        started = psutil.Process(host.pid).children(recursive=True)
        yield answered
        if host.poll() is None:
            started += psutil.Process(host.pid).children(recursive=True)
    finally:
        host.communicate()
        _gone, alive = psutil.wait_procs(started, timeout=60)
        for process in alive:
            process.kill()
        assert not alive


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    with hosted(tmp_path_factory.mktemp("dask"), 2) as answered:
        yield answered


@pytest.fixture
def cluster(address):
    with connected(address) as found:
        yield found


def test_results_are_those_of_threads_bit_by_bit(cluster):
    rng = np.random.default_rng(4)
    do, parts = partial(weighed, rng.normal(size=20_000)), list(rng.normal(size=(7, 20_000)))
    here, there = Context().map(do, parts), Context(executor=cluster).map(do, parts)
    for own, other in zip(here, there, strict=True):
        assert own[0].tobytes() == other[0].tobytes()
        assert own[1] == other[1]
    assert Context(executor=cluster).map(do, []) == []


def test_a_worker_killed_half_way_changes_nothing(cluster, tmp_path):
    gate = tmp_path / "gate"
    pids = sorted(cluster.client.run(os.getpid).values())
    assert len(pids) == 2
    results = cluster.results(partial(gated, str(gate), 6), range(12), check=lambda: None)
    found = [next(results) for _ in range(6)]
    # Each worker is in the middle of a part then.
    wait_for(lambda: len(list(tmp_path.glob("gate-*"))) == 2)
    os.kill(pids[0], signal.SIGKILL)
    gate.touch()
    found += results
    np.testing.assert_array_equal(found, np.full((12, 3), np.arange(12)[:, None]) ** 2 / 7)
    assert pids[0] not in cluster.client.run(os.getpid).values()


def test_a_cancelled_run_drops_the_parts_that_wait(cluster, tmp_path):
    gate = tmp_path / "gate"
    context = Context(executor=cluster, cancelled=Path(f"{gate}-1").exists)
    with pytest.raises(CancelledError):
        context.map(partial(gated, str(gate), 1), range(40))
    gate.touch()
    # The workers are free again for what comes next, and never began the later parts.
    assert Context(executor=cluster).map(abs, range(4)) == [0, 1, 2, 3]
    assert not Path(f"{gate}-39").exists()


def test_our_errors_come_out_as_they_are_and_the_first_one(cluster):
    with pytest.raises(InputError, match=r"^Parts must be below two. Found 2. Count again.$"):
        Context(executor=cluster).map(refusing, range(6))


def test_a_mistake_in_a_part_comes_out_as_one_line(cluster):
    said = r"^A worker failed at part 3 of 3: ZeroDivisionError: division by zero\.$"
    with pytest.raises(ClusterError, match=said):
        Context(executor=cluster).map(dividing, [2, 1, 0])


def test_what_can_not_be_sent_is_told(cluster):
    with pytest.raises(ClusterError, match="A part can't be sent to a worker"):
        Context(executor=cluster).map(lambda part: part, [1])


def test_blas_has_one_thread_inside_parts(cluster):
    told = Context(executor=cluster).map(blas_threads, [0, 1])
    assert told == [[1] * len(found) for found in told]
    assert all(told)


def digests(path):
    state = read_state(open_folder(path))
    return {name: s.digest for made in state.values() for name, s in made.products.items()}


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    """A survey with its raw files, not yet run."""
    root = tmp_path_factory.mktemp("job")
    truth = write_small_survey(root)
    new_survey(root / "survey", name="Small", crs=CRS)
    folder = open_folder(root / "survey")
    add_files(folder, [truth.base], role="base")
    add_files(folder, [truth.rover], role="rover")
    return folder.path


@pytest.mark.parametrize("method", ["minimum curvature", "equivalent sources"])
def test_threads_and_cluster_give_the_same_digests(survey, address, tmp_path, method):
    found = []
    ways = ({"workers": 1}, {"workers": 2}, {"scheduler": address})
    for number, way in enumerate(ways):
        path = shutil.copytree(survey, tmp_path / str(number))
        text = (path / "survey.toml").read_text()
        assert "[grid]" in text
        (path / "survey.toml").write_text(text.replace("[grid]", f'[grid]\nmethod = "{method}"'))
        run(open_folder(path), **way)
        found.append(digests(path))
    assert found[0] == found[1] == found[2]


def test_the_command_takes_a_scheduler(survey, address, tmp_path):
    path = shutil.copytree(survey, tmp_path / "survey")
    words = ["run", str(path), "--to", "reference", "--json", "--scheduler"]
    shown = CliRunner().invoke(app, [*words, address], catch_exceptions=False)
    assert all(step["ran"] for step in json.loads(shown.stdout)["steps"])
    shown = CliRunner().invoke(app, [*words, "somewhere"])
    assert isinstance(shown.exception, InputError)
    assert "A scheduler's address is tcp://HOST:PORT. Found 'somewhere'." in str(shown.exception)


def test_an_address_without_a_scheduler_is_told(monkeypatch):
    monkeypatch.setattr(adapter, "CONNECT_S", 0.5)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        nobody = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        with (
            pytest.raises(ClusterError, match=f"No Dask scheduler answers at {nobody} .*firewall"),
            connected(nobody),
        ):
            pass


def test_a_scheduler_without_workers_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(adapter, "CONNECT_S", 5.0)
    with (
        hosted(tmp_path, 0) as address,
        pytest.raises(ClusterError, match=f"has no worker. Start one with: dask worker {address}"),
        connected(address),
    ):
        pass


def test_a_scheduler_whose_last_worker_left_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(adapter, "ALONE_S", 1.0)
    with hosted(tmp_path, 1) as address, connected(address) as cluster:
        cluster.client.retire_workers(list(cluster.client.scheduler_info()["workers"]))
        with pytest.raises(ClusterError, match="The scheduler has had no worker for 1 s"):
            Context(executor=cluster).map(abs, [1, 2])


def test_a_scheduler_that_goes_away_half_way_is_told(tmp_path):
    with hosted(tmp_path / "dask", 1) as address, connected(address) as cluster:
        results = cluster.results(partial(dozing, str(tmp_path)), range(5), check=lambda: None)
        next(results)
        wait_for((tmp_path / "1").exists)
        os.kill(cluster.client.run_on_scheduler(os.getpid), signal.SIGKILL)
        with pytest.raises(ClusterError, match="connection to the scheduler was lost"):
            list(results)


def test_other_versions_are_told(address, monkeypatch):
    monkeypatch.setattr(adapter, "versions", lambda: real() | {"numpy": "0.9"})
    said = r"The worker tcp://\S+ has numpy \S+ \(here 0.9\). Install the versions of req"
    with pytest.raises(ClusterError, match=said), connected(address):
        pass


def test_a_worker_of_other_versions_that_came_later_refuses(cluster, monkeypatch):
    monkeypatch.setattr(adapter, "versions", lambda: real() | {"scipy": "0.9"})
    with pytest.raises(ClusterError, match=r"A worker has scipy \S+ \(here 0.9\)"):
        Context(executor=cluster).map(abs, [1])


def test_without_dask_the_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(ClusterError, match=r"pip install 'lodewalk\[cluster\]'"),
        connected("tcp://127.0.0.1:8786"),
    ):
        pass


@pytest.mark.parametrize("text", ["", "tcp://", "tcp://host", "http://host:80", "tcp://a b:1"])
def test_what_is_no_address_is_refused(text):
    with pytest.raises(InputError, match="A scheduler's address is"), connected(text):
        pass


real = adapter.versions
