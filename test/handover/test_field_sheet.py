"""Field sheets: what they say, and that page and paper say the same."""

import math
import re
from dataclasses import replace
from html.parser import HTMLParser

import polars as pl
import pytest
from matplotlib.text import Text

from lodewalk.cli.site_text import _proton, _pumped
from lodewalk.handover.device import named_for_device
from lodewalk.handover.field_sheet import (
    bearings_deg,
    day_table,
    field_sheet,
    place_table,
    plan_figures,
    sheet_figures,
    sheet_html,
)
from lodewalk.handover.plan_words import FieldNotes, sheet_blocks
from lodewalk.handover.words import CAUTIONS
from lodewalk.records.planning import PlannedLines
from lodewalk.services.site import _sensors
from lodewalk.steps.set_up import CHECKLISTS
from planned_sample import planned

TOLERANCES = {
    "heading_nT": 2.5, "item_nT": 1.25, "check_station_nT": 2.75, "repeat_nT": 2.125,
    "static_nT": 0.375, "chord_nT": 3.5, "chord_s": 75.0,
}  # fmt: skip
NOTES = FieldNotes(TOLERANCES, (), -33.2, 23.0, 22_950.0, 2.0)
NAME = "Serra <b>Quieta</b> & co"


def sheet_of(notes=NOTES, **options):
    plan = planned(**({"count": 12, "days": 2, "name": NAME} | options))
    points, _ = named_for_device(plan.points, name_length=10)
    return field_sheet(replace(plan, points=points), notes, day=1, rover=1)


@pytest.fixture(scope="module")
def sheet():
    return sheet_of()


@pytest.fixture(scope="module")
def page(sheet):
    return sheet_html(sheet)


class Parts(HTMLParser):
    """Tags, attributes and text of a page; fails on a tag that isn't closed in order."""

    EMPTY = ("meta", "img", "br", "link")

    def __init__(self, page):
        super().__init__()
        self.open, self.tags, self.attributes, self.words = [], [], [], []
        self.feed(page)
        assert not self.open

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes.append((tag, dict(attrs)))
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def test_the_page_needs_nothing_else(page):
    parts = Parts(page)
    assert "script" not in parts.tags
    sources = [a[key] for _, a in parts.attributes for key in ("src", "href") if key in a]
    assert all(item.startswith(("data:image/png;base64,", "#")) for item in sources)
    assert "http" not in page.split("</style>")[1]
    assert "url(" not in page
    assert "@import" not in page


def test_the_page_is_well_built_and_prints(page):
    parts = Parts(page)
    ids = [a["id"] for _, a in parts.attributes if "id" in a]
    assert len(ids) == len(set(ids))
    for _, attributes in parts.attributes:
        for key in ("href", "aria-labelledby"):
            target = attributes.get(key, "").removeprefix("#")
            assert not target or target in ids
    assert '<html lang="en">' in page
    assert 'name="viewport" content="width=device-width' in page
    assert "@media print" in page
    assert "@page { size: A4" in page
    assert all(a.get("alt") for tag, a in parts.attributes if tag == "img")
    tables = page.count("<table>")
    assert page.count('<div class="scroll"') == tables + 1  # the map slides too on a phone
    assert "<b>Quieta</b>" not in page
    assert NAME in parts.text


def test_page_and_paper_say_the_same(sheet, page):
    text = Parts(page).text
    figures = sheet_figures(sheet)
    printed = [item.get_text() for figure in figures for item in figure.findobj(Text)]
    printed = " ".join(printed)
    for row in sheet.table.rows:
        for cell in row[1:-1]:
            assert cell in text
            assert cell in printed
    for block in sheet.blocks:
        assert block.title in text
        assert block.title in printed
        for label, words in block.rows:
            assert words in text
            assert label in text
            assert set(words.split()) <= set(printed.split())
    last = figures[-1].findobj(Text)
    assert f"Page {len(figures)} of {len(figures)}" in [item.get_text() for item in last]


def test_every_tolerance_is_that_of_the_settings(page):
    text = Parts(page).text
    for name, value in TOLERANCES.items():
        assert f"{value:g} {'s' if name == 'chord_s' else 'nT'}" in text, name
    assert "5 readings within 1 m of its sensor lie within 2 nT" in text
    assert "15 minutes before the rover's first reading to 15 minutes after its last" in text


def test_checklists_and_cautions_are_those_of_the_program(page):
    text = Parts(page).text
    for items in CHECKLISTS.values():
        assert all(item.text in text for item in items)
    assert all(fact.label in text and fact.value in text for fact in CAUTIONS)
    cautions = text[text.rindex("Cautions") :]
    assert cautions.index("Local rules first") < cautions.index("Lightning")
    for word in ("explosives", "buried services", "implant", "thunder", "live conductors", "owner"):
        assert word in text


def test_whom_to_call_is_told_or_left_to_write():
    names = ("Office, +00 000 000", "Land owner, +00 111 111")
    told = next(b for b in sheet_blocks(replace(NOTES, call=names)) if b.title == "Whom to call")
    empty = next(b for b in sheet_blocks(NOTES) if b.title == "Whom to call")
    assert [words for _, words in told.rows] == list(names)
    assert not empty.rows
    assert empty.blanks >= 4


@pytest.mark.parametrize(
    ("inclination", "words"),
    [(-33.2, "33° above the horizontal"), (61.6, "62° below the horizontal")],
)
def test_the_field_points_up_in_the_south_and_down_in_the_north(inclination, words):
    blocks = sheet_blocks(replace(NOTES, inclination_deg=inclination))
    assert any(words in text for block in blocks for _, text in block.rows)


def test_the_sensor_lies_as_the_site_command_says():
    """A coil's axis across the field: level east-west; never along it, whatever the dip."""
    dip = -39.2
    rows = dict(next(b for b in sheet_blocks(replace(NOTES, inclination_deg=dip))).rows)
    assert (
        "The field (not the sensor) points to magnetic north, 39° above"
        in (rows["Orientation and tuning"])
    )
    coil = rows["Proton sensor: axis of its coil"]
    assert coil.startswith("Axis best level, along magnetic east-west")
    # sin² of the angle between an upright axis and the field: cos² of the dip, 60 %.
    assert f"upright: at least {math.cos(math.radians(dip)) ** 2:.0%}" in coil
    assert "60%" in coil
    spoken = {text.strip() for row in _site_rows() for text in row[1:]}
    tilts = rows["Optically pumped sensor: tilt from upright"]
    assert coil.split(";")[0].removeprefix("Axis ") in spoken
    assert any(text in tilts and "to the field out and back" in text for text in spoken)


def _site_rows():
    """Return the rows of `lodewalk site` at a place where the field dips by 39.2 degrees."""
    sensors = _sensors(-39.2)
    return [*_proton(_Told(sensors)), *_pumped(_Told(sensors))]


class _Told:
    """What the rows of the sensors need of a site."""

    precession_Hz = tuning_uT = 1.0

    def __init__(self, sensors):
        self.sensors = sensors


def test_the_repeat_line_is_asked_for_only_where_there_is_one():
    def words(**options):
        sheet = sheet_of(**options)
        return " ".join(f"{label} {text}" for block in sheet.blocks for label, text in block.rows)

    plan = planned(12, 2)
    bare = PlannedLines(plan.lines.frame.filter(pl.col("kind") != "repeat"))
    sheet = field_sheet(replace(plan, lines=bare), NOTES, day=1, rover=1)
    assert not any("Repeat line" in label for block in sheet.blocks for label, _ in block.rows)
    assert "first and last of each day" in words()
    assert "50 m or more apart" in words(rovers=2)
    assert "50 m or more apart" not in words()


def test_power_lines_on_the_way_stand_among_the_day_s_cautions():
    notes = replace(NOTES, crossings={(1, 1): ("L001A to L001B",), (2, 1): ("L009A to L009B",)})
    rows = next(b for b in sheet_of(notes).blocks if b.title == "Cautions").rows
    label, words = rows[0]
    assert "power line" in label
    assert "L001A to L001B" in words
    assert "L009A" not in words
    assert "keep the distance that the operator prescribes" in words
    assert "Today" not in sheet_of().blocks[-2].rows[0][0]


def test_what_the_base_breaks_stands_in_its_set_up_with_a_test():
    words = "it lies 69 m from a road or track, nearer than 100 m"
    blocks = {b.title: b.rows for b in sheet_blocks(replace(NOTES, base_doubts=(words,)))}
    label, text = blocks["Set up the base"][0]
    assert "BASE" in label
    assert words[1:] in text
    assert "within 3.5 nT of a chord" in text
    assert words in dict(blocks["Before the first reading"])["Place of the base"]
    assert "BASE" not in str({b.title: b.rows for b in sheet_blocks(NOTES)}["Set up the base"][0])


def test_the_last_page_has_cautions_on_the_left_and_lines_to_write_on_the_right(sheet):
    """Both columns of the page are used: the rules to write on reach the foot of the right one."""
    page = sheet_figures(sheet)[-1]
    texts = {item.get_text(): item for item in page.findobj(Text)}
    place = texts["Notes of the day"].get_position()
    axes = texts["Notes of the day"].axes
    width, height = axes.get_xlim()[1], axes.get_ylim()[1]
    assert place[0] > width / 2
    assert place[1] > 0.9 * height
    ruled = [line.get_ydata()[0] for line in axes.lines if line.get_xdata()[0] > width / 2]
    assert min(ruled) < 10.0


def test_nothing_is_claimed_where_nothing_is_known():
    text = " ".join(words for block in sheet_blocks(FieldNotes()) for _, words in block.rows)
    assert "None" not in text
    assert "horizontal" not in text


def test_lines_stand_in_order_with_the_ends_as_walked(sheet):
    """The bearing of a row is that from its start to its end, by the coordinates printed."""
    lines = sheet.survey.lines_of(1, 1)
    assert [row[0] for row in sheet.table.rows] == [str(n + 1) for n in range(lines.height)]
    assert [row[1] for row in sheet.table.rows] == lines["line"].to_list()
    for row in sheet.table.rows:
        east_1, north_1, east_2, north_2, length = (float(cell) for cell in row[5:10])
        bearing = math.degrees(math.atan2(east_2 - east_1, north_2 - north_1)) % 360
        assert abs((bearing - float(row[10]) + 180) % 360 - 180) <= 1.5
        assert math.hypot(east_2 - east_1, north_2 - north_1) == pytest.approx(length, abs=2)
        assert row[3].endswith(("-000", "-0000", "-0"))
        assert row[-1] == "[ ]"


def test_bearings_turn_by_convergence_and_declination():
    """On a grid turned 0.42 degrees west of true north, a compass 19.87 west reads 19.45 more."""
    plan = planned(3, 1)
    grid, true, magnetic = bearings_deg(plan, 10.0)
    assert (grid, round(true, 2), round(magnetic, 2)) == (10.0, 9.58, 29.45)
    assert bearings_deg(replace(plan, declination_deg=None), 0.0)[2] is None
    unknown = sheet_of(declination_deg=None)
    assert {row[12] for row in unknown.table.rows} == {"–"}


def test_the_whole_plan_has_map_days_and_places():
    plan = planned(12, 3, rovers=2, draft=True)
    pages = list(plan_figures(plan))
    assert len(pages) == 3
    assert [row[0] for row in day_table(plan).rows] == ["1", "1", "2", "2", "3", "3"]
    total = sum(float(row[4]) for row in day_table(plan).rows)
    assert total == pytest.approx(plan.lines.frame["length_m"].sum() / 1000, abs=0.03)
    assert [row[0] for row in place_table(plan).rows] == ["BASE", "BASE-2", "CHECK", "TURNS"]
    for page in pages:
        assert "DRAFT" in [item.get_text() for item in page.findobj(Text)]


def test_titles_name_day_date_and_rover():
    assert re.fullmatch(r"Day 1, 2026-03-09: Serra.*", sheet_of().title)
    assert sheet_of(dates=()).title.startswith("Day 1: ")
    assert ", rover 1: " in sheet_of(rovers=2).title
