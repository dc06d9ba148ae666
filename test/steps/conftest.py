"""A survey in a temporary folder to which a test adds files by their text."""

from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest
from threadpoolctl import threadpool_limits

from evening_survey import Evening, make_evening
from lodewalk.services.add import add_files
from lodewalk.services.check import check
from lodewalk.services.new import new_survey
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from lodewalk.survey.store import read_product
from small_survey import CRS


@dataclass
class Bench:
    """A survey under test."""

    root: Path

    @property
    def path(self):
        return self.root / "survey"

    def add(self, name, text, role, instrument=None, **more):
        source = self.root / name
        source.write_text(text if isinstance(text, str) else "\n".join(text) + "\n")
        return add_files(open_folder(self.path), [source], role=role, instrument=instrument, **more)

    def set(self, section, **values):
        """Add a section of settings, or lines to a section that is there."""
        lines = "\n".join(f"{name} = {value}" for name, value in values.items())
        file = self.path / "survey.toml"
        text, head = file.read_text(), f"[{section}]"
        if f"\n{head}\n" in text:
            file.write_text(text.replace(f"\n{head}\n", f"\n{head}\n{lines}\n"))
        else:
            file.write_text(f"{text}\n{head}\n{lines}\n")

    def run(self, to=None):
        return run(open_folder(self.path), to=to)

    def readings(self):
        return pl.read_parquet(self.path / "products" / "readings.parquet")

    def product(self, name):
        return read_product(open_folder(self.path), name)

    def findings(self, kind):
        found = check(open_folder(self.path)).findings
        return [item for item in found if item.kind == kind]

    def lines(self):
        return [line for day in check(open_folder(self.path)).days for line in day.lines]


@pytest.fixture(scope="session")
def bench_at():
    """Return the survey in a folder, a new one where there is none."""

    def at(root):
        if not (root / "survey").exists():
            new_survey(root / "survey", name="Bench", crs=CRS)
        return Bench(root)

    return at


@pytest.fixture
def bench(bench_at, tmp_path):
    return bench_at(tmp_path)


@pytest.fixture(scope="session")
def evening(tmp_path_factory):
    """Return one evening's survey, checked once; tests must leave its folder as it is."""
    return Evening(make_evening(tmp_path_factory.mktemp("evening")))


@pytest.fixture(autouse=True, scope="session")
def one_blas_thread():
    """Keep BLAS to one thread, as a run does."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield
