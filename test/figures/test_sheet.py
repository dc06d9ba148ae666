import re

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.figures.save import pdf_bytes
from lodewalk.figures.sheet import draw_sheet
from lodewalk.records.grid import Grid

BLOCK = {
    "Survey": "Total-field anomaly of an invented block",
    "CRS": "SIRGAS 2000 / UTM zone 22S (EPSG:31982)",
    "Datum": "22904.0 nT at 2026-03-09T15:00:00Z; the absolute level rests on the base",
    "Dates": "2026-03-09 to 2026-03-11",
}
ANGLES = {"convergence_deg": -0.42, "declination_deg": -19.87}


def sheets(scenario, scale, **options):
    return draw_sheet(
        scenario.grid, scenario.readings, scale=scale, title_block=BLOCK, **ANGLES, **options
    )


@pytest.mark.parametrize("scale", [1000, 2000, 2500, 5000, 10_000])
def test_a_metre_on_the_ground_has_its_millimetres_on_paper(scenario, look, scale):
    for figure in sheets(scenario, scale)[:2]:
        figure.canvas.draw()
        axes = look.axes(figure, "map")
        box = axes.get_window_extent()
        for pixels, ground in ((box.width, axes.get_xlim()), (box.height, axes.get_ylim())):
            paper_mm = pixels / figure.dpi * 25.4
            assert paper_mm / np.ptp(ground) == pytest.approx(1000 / scale, rel=1e-9)


@pytest.mark.parametrize("scale", [1000, 2000, 5000])
def test_every_text_is_whole_and_apart(scenario, look, scale):
    for figure in sheets(scenario, scale):
        look.readable(figure)


def test_pdf_pages_have_the_size_of_the_paper(scenario):
    pdf = pdf_bytes(sheets(scenario, 2000))
    sizes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", pdf)
    assert [tuple(float(v) for v in size) for size in sizes] == [
        pytest.approx((420 / 25.4 * 72, 297 / 25.4 * 72), abs=1e-3)
    ]


@pytest.mark.parametrize(("scale", "paper"), [(5000, (297, 210)), (2000, (420, 297))])
def test_the_smallest_paper_that_holds_the_survey_is_taken(scenario, scale, paper):
    figures = sheets(scenario, scale)
    assert len(figures) == 1
    assert figures[0].get_size_inches() * 25.4 == pytest.approx(paper)


def test_several_sheets_cover_all_ground_once(scenario, look):
    figures = sheets(scenario, 1000)
    assert len(figures) > 1
    windows = [(*look.axes(f, "map").get_xlim(), *look.axes(f, "map").get_ylim()) for f in figures]
    for node in ((600_000, 7_240_000), (600_600, 7_240_396), (600_301, 7_240_201)):
        holding = [w for w in windows if w[0] <= node[0] < w[1] and w[2] <= node[1] < w[3]]
        assert len(holding) == 1
    assert all(look.axes(f, "index of sheets").patches for f in figures)
    second = [text.get_text() for text, _ in look.texts(figures[1])]
    assert f"2 of {len(figures)}" in second
    assert windows[0][3] == max(window[3] for window in windows)
    assert windows[0][0] == min(window[0] for window in windows)


@pytest.mark.parametrize("scale", [2000, 5000])
def test_crosses_stand_each_hundred_metres(scenario, look, scale):
    axes = look.axes(sheets(scenario, scale)[0], "map")
    crosses = next(line for line in axes.lines if line.get_gid() == "crosses")
    east, north = np.unique(crosses.get_xdata()), np.unique(crosses.get_ydata())
    assert set(np.diff(east)) == set(np.diff(north)) == {100.0}
    assert not np.any(east % 100)


def test_title_block_says_what_it_was_given_and_the_caution(scenario, look):
    words = " ".join(text.get_text() for text, _ in look.texts(sheets(scenario, 5000)[0]))
    for part in (*BLOCK.values(), "1:5000", "1 of 1", "Not a clearance for explosives"):
        assert part in words


def test_colours_are_the_same_on_all_sheets(scenario, look):
    figures = sheets(scenario, 1000)
    limits = [
        {t.get_text() for t, _ in look.texts(f) if "% of cells" in t.get_text()} for f in figures
    ]
    assert all(limit == limits[0] for limit in limits)


@pytest.mark.parametrize("scale", [50, 0, -2000, 1_000_000])
def test_a_scale_out_of_range_is_refused(scenario, scale):
    with pytest.raises(InputError, match="scale of a sheet"):
        sheets(scenario, scale)


def test_an_unknown_paper_is_refused(scenario):
    with pytest.raises(InputError, match="A4, A3"):
        sheets(scenario, 2000, paper="B5")


def test_too_many_sheets_are_refused():
    grid = Grid(np.zeros((100, 100)), 0.0, 0.0, 100.0, "EPSG:32722", "nT", "anomaly")
    from lodewalk.records.products import Readings

    with pytest.raises(InputError, match="more than 60 sheets"):
        draw_sheet(grid, Readings.empty(), scale=500, title_block=BLOCK, **ANGLES)
