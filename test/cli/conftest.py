import hashlib
import shutil
from dataclasses import dataclass

import pytest

from lodewalk.cli import main as program
from small_survey import CRS, write_small_survey


@dataclass(frozen=True)
class Shown:
    """What a command showed and how it ended."""

    code: int
    out: str
    err: str


@pytest.fixture
def lodewalk(monkeypatch, capsys):
    """Run the program as the shell would, but in this process."""

    def call(*words):
        monkeypatch.setattr("sys.argv", ["lodewalk", *map(str, words)])
        capsys.readouterr()
        code = 0
        try:
            program.main()
        except SystemExit as end:
            code = end.code or 0
        shown = capsys.readouterr()
        return Shown(code, shown.out, shown.err)

    return call


@pytest.fixture
def refused(lodewalk):
    """Run a command that must be refused, and return the one line that says why."""

    def call(folder, *words, but=("journal", "products")):
        before = tree(folder, but=but)
        shown = lodewalk(*words)
        assert shown.code == 1, shown
        assert shown.out == ""
        assert shown.err.startswith("lodewalk: ")
        assert shown.err.count("\n") == 1
        assert shown.err.endswith("\n")
        assert tree(folder, but=but) == before
        return shown.err

    return call


def tree(root, *, but=()):
    """Return every file below a folder with the hash of its bytes."""
    return {
        path.relative_to(root).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(root.rglob("*"))
        if path.is_file() and path.name != ".lock" and path.relative_to(root).parts[0] not in but
    }


@dataclass(frozen=True)
class Small:
    """A small survey: its folder, raw files and truth."""

    path: object
    truth: object


@pytest.fixture(scope="session")
def small_job(tmp_path_factory):
    """A small survey that was run once; not to be changed."""
    from lodewalk.services.add import add_files
    from lodewalk.services.new import new_survey
    from lodewalk.services.run import run
    from lodewalk.survey.folder import open_folder

    root = tmp_path_factory.mktemp("small")
    truth = write_small_survey(root)
    new_survey(root / "survey", name="Small", crs=CRS)
    folder = open_folder(root / "survey")
    add_files(folder, [truth.base], role="base")
    add_files(folder, [truth.rover], role="rover")
    run(folder)
    return Small(root / "survey", truth)


@pytest.fixture
def small(small_job, tmp_path):
    """A copy of the small survey to harm."""
    shutil.copytree(small_job.path, tmp_path / "survey")
    return Small(tmp_path / "survey", small_job.truth)


@pytest.fixture
def empty(lodewalk, tmp_path):
    """An empty survey."""
    path = tmp_path / "empty"
    assert lodewalk("new", path, "--name", "Empty", "--crs", CRS).code == 0
    return path
