"""Pages of a plan: every text whole and apart, marks where they belong, scale and bearings true."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.text import Text

from lodewalk.errors import InputError
from lodewalk.figures.field_sheet import draw_day_map
from lodewalk.figures.plan_frame import A4, RIM, fitting_scale, with_near
from lodewalk.figures.plan_map import DAY_COLOURS, day_look, draw_plan_map
from lodewalk.figures.sheet_pages import Block, TextTable, draw_blocks, draw_table
from lodewalk.handover.device import named_for_device
from lodewalk.records.planning import PlannedLines
from planned_sample import planned

MM = 25.4
PLANS = {
    "sixty lines in three days": {},
    "sixty lines in a day": {"count": 60, "days": 1},
    "three lines": {"count": 3, "days": 1},
    "wide": {"count": 80, "days": 2, "spacing": 60.0, "length": 300.0},
    "tall": {"count": 4, "days": 2, "spacing": 40.0, "length": 5000.0},
    "slanted": {"count": 30, "days": 9, "azimuth": 37.0},
    "one line": {"count": 1, "days": 1, "azimuth": 90.0},
    "far base and long name": {"count": 9, "days": 3, "far_base": True, "name": "Long name " * 30},
    "two rovers": {"count": 12, "days": 2, "rovers": 2, "draft": True, "declination_deg": None},
}


@pytest.fixture(scope="module", params=PLANS, ids=str)
def survey(request):
    plan = planned(**PLANS[request.param])
    points, _ = named_for_device(plan.points, name_length=10)
    return replace(plan, points=points)


@pytest.fixture(scope="module")
def overview(survey):
    return draw_plan_map(survey)


@pytest.fixture(scope="module")
def sheet(survey):
    day, rover = survey.parties[-1]
    return draw_day_map(survey, day=day, rover=rover, title=survey.name, under="Field sheet")


def quads(figure):
    """Return each shown text with its corners on the page [mm], turned as it stands."""
    figure.set_dpi(300)  # letters have their true widths there
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()
    found = []
    for text in figure.findobj(Text):
        if not (text.get_visible() and text.get_text().strip()):
            continue
        turn = text.get_rotation()
        text.set_rotation(0)
        box = text.get_window_extent(renderer)
        text.set_rotation(turn)
        true = text.get_window_extent(renderer)
        centre = np.array([true.x0 + true.x1, true.y0 + true.y1]) / 2
        half = np.array([box.width, box.height]) / 2
        angle = math.radians(turn)
        spin = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
        found.append((text, (corners @ spin.T + centre) / figure.dpi * MM))
    return found


def overlap(one, two, slack=0.35):
    """Tell whether two quads share more than `slack` millimetres on every axis of either."""
    for quad in (one, two):
        for edge in (quad[1] - quad[0], quad[2] - quad[1]):
            axis = edge / max(np.hypot(*edge), 1e-9)
            a, b = one @ axis, two @ axis
            if min(a.max(), b.max()) - max(a.min(), b.min()) < slack:
                return False
    return True


def assert_whole_and_apart(figure):
    width, height = figure.get_size_inches() * MM
    assert sorted((round(width), round(height))) == sorted(A4)
    shown = quads(figure)
    for text, quad in shown:
        assert text.get_fontsize() >= 7
        assert (quad >= 4).all(), text
        assert (quad <= (width - 4, height - 4)).all(), text
    for (one, a), (two, b) in itertools.combinations(shown, 2):
        assert not overlap(a, b), (one.get_text(), two.get_text())


def test_every_text_of_the_overview_is_whole_and_apart(overview):
    assert_whole_and_apart(overview)


def test_every_text_of_a_day_is_whole_and_apart(sheet):
    assert_whole_and_apart(sheet)


def axes_of(figure):
    return next(axes for axes in figure.axes if axes.get_gid() == "map")


def test_the_scale_is_the_one_stated(overview, sheet):
    for figure in (overview, sheet):
        texts = [text.get_text() for text in figure.texts]
        said = next(text for text in texts if text.startswith("Scale 1:"))
        scale = int(said.split(" printed")[0].removeprefix("Scale 1:").replace(" ", ""))
        axes = axes_of(figure)
        box = axes.get_position()
        width, height = figure.get_size_inches() * MM
        for low, high, size in (
            (*axes.get_xlim(), box.width * width),
            (*axes.get_ylim(), box.height * height),
        ):
            assert (high - low) * 1000 / size == pytest.approx(scale, rel=1e-9)


def test_every_line_lies_on_the_map_and_bears_a_name_or_is_told(survey, sheet):
    axes = axes_of(sheet)
    day, rover = survey.parties[-1]
    rows = list(survey.lines_of(day, rover).iter_rows(named=True))
    for row in rows:
        for end in ("1", "2"):
            assert axes.get_xlim()[0] < row[f"easting_{end}_m"] < axes.get_xlim()[1]
            assert axes.get_ylim()[0] < row[f"northing_{end}_m"] < axes.get_ylim()[1]
    names = {text.get_text() for text in axes.texts}
    wanted = {f"{order}: {row['line']}" for order, row in enumerate(rows, 1)}
    missing = len(wanted - names)
    said = " ".join(text.get_text() for text in sheet.texts)
    assert (f"No room for the names of {missing};" in said) == (missing > 0)
    assert missing <= 0.1 * len(rows)


def test_each_day_is_named_on_the_overview(survey, overview):
    names = [text.get_text() for text in axes_of(overview).texts]
    for day in survey.days:
        assert any(name.startswith(f"day {day}: ") for name in names), day


def test_days_differ_in_colour_or_dashes():
    looks = [day_look(day) for day in range(1, 29)]
    assert len({str(look) for look in looks}) == 28
    assert len(DAY_COLOURS) == len(set(DAY_COLOURS)) == 7


def test_a_base_far_away_is_told_with_its_way():
    """The base lies 9 km west of a small block: 270 degrees, and the map keeps its scale."""
    plan = planned(count=9, days=1, far_base=True)
    figure = draw_day_map(plan, day=1, rover=1, title="A", under="B")
    said = " ".join(text.get_text() for text in figure.texts)
    assert "BASE: off the map, 9.1 km from its middle at 270° from grid north." in said


def test_places_that_shrink_the_map_are_left_out():
    core = np.array([[0.0, 0.0], [1000.0, 1000.0]])
    others = np.array([[1500.0, 500.0], [2500.0, 500.0]])
    places, near = with_near(core, others)
    assert near.tolist() == [True, False]
    assert len(places) == 3


@pytest.mark.parametrize("width", [1.0, 99.0, 713.0, 4321.0, 98765.0])
def test_the_ground_fits_at_a_round_scale(width):
    scale = fitting_scale(width, width / 3, (150.0, 180.0))
    assert width * 1000 / scale <= 150.0 * (1 + 1e-9)
    assert str(scale).rstrip("0") in {"1", "125", "15", "2", "25", "3", "4", "5", "75"}


def test_a_hole_of_the_area_stays_open():
    """Matplotlib fills by the non-zero rule: the hole has to run the other way round."""
    from matplotlib.patches import PathPatch

    figure = draw_plan_map(planned(3, 1))
    patch = next(p for p in axes_of(figure).patches if isinstance(p, PathPatch))
    vertices, codes = patch.get_path().vertices, patch.get_path().codes
    starts = [*np.flatnonzero(codes == 1), len(codes)]
    areas = [
        sum(a[0] * b[1] - a[1] * b[0] for a, b in itertools.pairwise(vertices[i:j] - vertices[0]))
        for i, j in itertools.pairwise(starts)
    ]
    assert len(areas) == 2
    assert areas[0] > 0 > areas[1]


def test_nothing_to_draw_is_refused():
    plan = replace(planned(3, 1), lines=PlannedLines.empty())
    with pytest.raises(InputError, match="without lines"):
        draw_plan_map(plan)
    with pytest.raises(InputError, match="Nothing is walked"):
        draw_day_map(planned(3, 1), day=2, rover=1, title="A", under="B")


def cells(figures):
    return " ".join(text.get_text() for figure in figures for text in figure.findobj(Text))


@pytest.mark.parametrize("letters", [10, 50])
def test_a_long_table_runs_over_pages_and_cuts_nothing(letters):
    rows = tuple(
        (str(n), f"{n:03d}-" + "W" * (letters - 4), f"{n:03d}-" + "M" * (letters - 4), "7240000",
         "600000", "359", "[ ]")
        for n in range(150)
    )  # fmt: skip
    table = TextTable(
        ("No.", "From", "To", "Northing [m]", "Easting [m]", "Grid [°]", "Done"),
        rows, (True, False, False, True, True, True, False),
    )  # fmt: skip
    pages = draw_table(table, "A " * 200, "Under")
    assert len(pages) > 2
    for page in pages:
        assert_whole_and_apart(page)
    told = cells(pages).replace(" ", "")
    assert all(f"{n:03d}-" in told for n in range(150))
    assert told.count("W") == 150 * (letters - 4)
    assert cells(pages).count("Northing") == len(pages)


def test_blocks_flow_over_columns_and_pages_and_lose_nothing():
    rows = tuple((f"Label {n}", f"word{n} " * 25) for n in range(30))
    blocks = [Block("First", rows, tick=True), Block("Last", rows[:3], blanks=4, together=True)]
    pages = draw_blocks(blocks, "Title", "Under", draft=True)
    assert len(pages) > 1
    for page in pages:
        assert_whole_and_apart(page)
        assert "DRAFT" in cells([page])
    for n in range(30):
        assert cells(pages).count(f"word{n} ") + cells(pages).count(f"word{n}\n") >= 24
    boxes = [patch for page in pages for axes in page.axes for patch in axes.patches]
    assert len(boxes) == 30


def test_a_column_keeps_to_the_rim():
    pages = draw_blocks([Block("A", (("", "x " * 4000),))], "Title", "Under")
    low = min(quad[:, 1].min() for page in pages for _, quad in quads(page))
    assert low > RIM - 3 or len(pages) == 1
