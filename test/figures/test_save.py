import gc
import io
import weakref

import matplotlib as mpl
import pytest
from matplotlib.figure import Figure
from PIL import Image

from lodewalk.errors import InputError
from lodewalk.figures import (
    draw_anomaly_map,
    draw_day,
    draw_line_profile,
    draw_sheet,
    draw_stacked_profiles,
    pdf_bytes,
    png_bytes,
    write_pdf,
)

ANGLES = {"convergence_deg": 0.3, "declination_deg": -20.0}
UNJUDGED = {"minutes": None, "check": None, "datum_nT": None, "zone": "UTC"}


def all_figures(scenario):
    s = scenario
    return [
        draw_anomaly_map(s.grid, s.readings, title="Map", crs_title="EPSG:31982", **ANGLES),
        draw_day(s.base, s.lines, s.findings, day="2026-03-10", **UNJUDGED),
        draw_stacked_profiles(s.readings, s.lines),
        draw_line_profile(s.readings, line="L1075"),
        *draw_sheet(s.grid, s.readings, scale=5000, title_block={"Survey": "Sheet"}, **ANGLES),
    ]


def test_bytes_are_the_same_each_time_whatever_the_callers_settings(scenario):
    before = dict(mpl.rcParams)
    first = all_figures(scenario)
    pngs, pdf = [png_bytes(figure, dpi=60) for figure in first], pdf_bytes(first)
    with mpl.rc_context(
        {
            "font.size": 20,
            "lines.linewidth": 5,
            "axes.grid": True,
            "savefig.bbox": "tight",
            "pdf.compression": 0,
        }
    ):
        again = all_figures(scenario)
        assert [png_bytes(figure, dpi=60) for figure in again] == pngs
        assert pdf_bytes(again) == pdf
    assert dict(mpl.rcParams) == before


def test_no_time_and_no_version_inside(scenario):
    figure = draw_line_profile(scenario.readings, line="L1000")
    png, pdf = png_bytes(figure, dpi=60), pdf_bytes([figure])
    assert not Image.open(io.BytesIO(png)).text
    for word in (b"CreationDate", b"ModDate", b"Producer", b"atplotlib"):
        assert word not in pdf


def test_png_has_the_size_that_was_asked_for():
    png = png_bytes(Figure(figsize=(3, 2)), dpi=100)
    assert Image.open(io.BytesIO(png)).size == (300, 200)


def test_pdf_has_one_page_for_each_figure():
    assert pdf_bytes([Figure(), Figure(), Figure()]).count(b"/Type /Page ") == 3


@pytest.mark.parametrize("dpi", [0, -1, 5000, float("nan")])
def test_a_foolish_resolution_is_refused(dpi):
    with pytest.raises(InputError, match="dots an inch"):
        png_bytes(Figure(), dpi=dpi)


def test_no_figure_is_refused():
    with pytest.raises(InputError, match="at least one figure"):
        pdf_bytes([])


def test_a_file_holds_the_same_bytes_page_by_page(scenario, tmp_path):
    path = tmp_path / "lines.pdf"
    lines = ("L1000", "L1075")
    write_pdf(path, (draw_line_profile(scenario.readings, line=line) for line in lines))
    whole = pdf_bytes([draw_line_profile(scenario.readings, line=line) for line in lines])
    assert path.read_bytes() == whole


def test_a_figure_is_let_go_once_its_page_is_written(tmp_path):
    held = weakref.WeakSet()
    most = []

    def figures():
        for _ in range(6):
            gc.collect()
            most.append(len(held))
            figure = Figure(figsize=(1, 1))
            held.add(figure)
            yield figure
            del figure

    write_pdf(tmp_path / "pages.pdf", figures())
    # The writer may still hold the page before.
    assert max(most) <= 1


def test_no_page_leaves_no_file(tmp_path):
    with pytest.raises(InputError, match="at least one figure"):
        write_pdf(tmp_path / "none.pdf", iter(()))
    assert not list(tmp_path.iterdir())
