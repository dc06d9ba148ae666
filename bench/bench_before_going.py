"""Time the odds of a survey, the choice of its lines and its files on the demo.

Beside the odds stands one Cholesky factorisation by LAPACK of all blocks that count for a place,
which a plain way needs for each place of each prediction; beside the files, as many empty pages
written by matplotlib. Processor time, in turn, in this process.

Run ``python bench/bench_before_going.py``; it prints one Markdown table.
"""

import io
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from matplotlib.figure import Figure
from scipy.linalg import cholesky
from threadpoolctl import threadpool_limits

from common import Row, show
from lodewalk.figures.save import write_pdf
from lodewalk.services.demo_job import BEFORE_GOING, _write
from lodewalk.services.feasibility import feasibility
from lodewalk.services.plan_files import write_plan_files
from lodewalk.survey.folder import Folder, open_folder
from lodewalk.survey.run import run

#: Blocks that count for a place of the demo, and places at which a prediction puts the body.
BLOCKS, PLACES = 1860, 16
SEED = 3


def processor(job: Callable[[], object], rounds: int = 3) -> float:
    """Return the median of processor time [s], a first round not counted."""
    times = []
    for _ in range(rounds + 1):
        begin = time.process_time()
        job()
        times.append(time.process_time() - begin)
    return float(np.median(times[1:]))


def afresh(folder: Folder, job: Callable[[Folder], object]) -> Callable[[], object]:
    """Return a job that begins without products."""

    def whole() -> object:
        shutil.rmtree(folder.products, ignore_errors=True)
        return job(folder)

    return whole


def plain_prediction() -> None:
    """Factorise the covariance of the blocks of each place."""
    place = np.random.default_rng(0).uniform(0, 400, (BLOCKS, 2))
    away = np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1))
    covariance = 9.0 * (1 + (away / 80) ** 2) ** -1.5 + np.eye(BLOCKS)
    for _ in range(PLACES):
        cholesky(covariance, lower=True, check_finite=False)


def plain_pages(count: int = 9) -> None:
    """Write pages with nothing but a frame."""
    pages = []
    for _ in range(count):
        figure = Figure(figsize=(8.27, 11.69))
        figure.add_subplot()
        pages.append(figure)
    write_pdf(io.BytesIO(), pages)


def rows() -> list[Row]:
    """Return a row for each command before going, and for the choice of lines."""
    with TemporaryDirectory() as place, threadpool_limits(limits=1, user_api="blas"):
        _write(Path(place) / "demo", SEED)
        folder = open_folder(Path(place) / "demo" / BEFORE_GOING)
        odds = processor(afresh(folder, feasibility))
        plan = processor(afresh(folder, lambda own: run(own, to="plan")))
        settings = folder.path / "survey.toml"
        text = settings.read_text(encoding="utf-8")
        settings.write_text(text.replace("# optimise = true", "optimise = false"), encoding="utf-8")
        ruled = open_folder(folder.path)
        rule = processor(afresh(ruled, lambda own: run(own, to="plan")))
        settings.write_text(text, encoding="utf-8")
        run(folder, to="plan")
        files = processor(lambda: write_plan_files(folder))
        plain, pages = processor(plain_prediction), processor(plain_pages)
    beside = f"LAPACK, {PLACES} factorisations of {BLOCKS} blocks: one plain prediction"
    return [
        Row("feasibility of the demo, with its figure", odds, beside, plain, "5 predictions"),
        Row("plan of the demo, lines chosen", plan, beside, plain, "9 predictions"),
        Row("the same by the rule of thumb", rule, beside, plain, "1 prediction"),
        Row("files of the plan", files, "matplotlib, 9 pages with a frame each", pages,
            "PDF, HTML, PNG, GPX, KML, GeoPackage, CSV"),
    ]  # fmt: skip


if __name__ == "__main__":
    show(rows())
