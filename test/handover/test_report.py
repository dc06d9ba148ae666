import base64
import itertools
import re
from html.parser import HTMLParser

import pytest

from lodewalk.handover.assemble import Records, assemble
from lodewalk.handover.content import Job, LineRow, Provenance, ReportContent
from lodewalk.handover.report import build_report

VOID = {"meta", "img", "br", "link", "hr", "input"}


class Reader(HTMLParser):
    """Collects elements and checks that they are closed in order."""

    def __init__(self):
        super().__init__()
        self.elements, self.stack, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.stack.append(tag)

    def handle_endtag(self, tag):
        assert self.stack.pop() == tag

    def handle_data(self, data):
        self.text.append(data)

    def all(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]


def read(page):
    reader = Reader()
    reader.feed(page)
    assert not reader.stack
    return reader


def words(page):
    return " ".join(" ".join(read(page).text).split())


def test_it_needs_no_script_and_no_other_resource(page):
    reader = read(page)
    assert {"script", "link", "iframe", "object"}.isdisjoint(tag for tag, _ in reader.elements)
    for _, attrs in reader.elements:
        assert not any(name.startswith("on") for name in attrs)
        assert attrs.get("src", "data:").startswith("data:")
        assert attrs.get("href", "#").startswith("#")
    style = page[page.index("<style>") : page.index("</style>")]
    assert "url(" not in style
    assert "@import" not in style


def test_no_two_landmarks_have_the_same_name(page):
    names = [
        attrs["aria-label"] for _, attrs in read(page).elements if attrs.get("role") == "region"
    ]
    names += re.findall(r'<h2 id="\w+">(.*?)</h2>', page)
    assert sorted(set(names)) == sorted(names)


def test_text_is_escaped(page):
    assert "<b>block</b>" not in page
    assert "Serra Quieta &lt;b&gt;block&lt;/b&gt; &amp; co" in page
    assert "&lt;script&gt;alert(&#34;no&#34;)" in page


def test_structure_for_screen_readers(page):
    reader = read(page)
    assert reader.all("html")[0]["lang"] == "en"
    assert len(reader.all("h1")) == 1
    assert len(reader.all("main")) == 1
    levels = [int(tag[1]) for tag, _ in reader.elements if re.fullmatch(r"h[1-6]", tag)]
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    ids = [attrs["id"] for _, attrs in reader.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    targets = [attrs["href"][1:] for attrs in reader.all("a")]
    assert set(targets) <= set(ids)
    assert all(attrs["aria-labelledby"] in ids for attrs in reader.all("section"))
    assert all(attrs.get("scope") in ("col", "row") for attrs in reader.all("th"))
    for _, attrs in reader.elements:
        if attrs.get("class") == "scroll":  # can be reached and slid with the keyboard
            assert attrs["tabindex"] == "0"
            assert attrs["aria-label"]


def test_contents_list_every_section(page):
    reader = read(page)
    targets = [attrs["href"][1:] for attrs in reader.all("a")]
    for section in reader.all("section"):
        assert section["aria-labelledby"] in targets


def test_figures_are_png_with_words_for_those_who_can_not_see(page, content):
    images = read(page).all("img")
    # map, stacked profiles, three days, two lines
    assert len(images) == len(content.figures) == 7
    for attrs in images:
        assert base64.b64decode(attrs["src"].split(",", 1)[1]).startswith(b"\x89PNG")
        assert len(attrs["alt"]) > 30


def test_verdicts_show_sign_and_word(page):
    text = words(page)
    for mark in ("✓ keep", "? doubt", "✗ re-walk", "✗ loss", "i information"):
        assert mark in text


@pytest.mark.parametrize(
    "part",
    [
        "not a clearance for explosives or for buried services",
        "licensed specialists",
        "located by the responsible body",
        "Lightning",
        "power lines",
        "livestock",
        "working alone",
        "implant",
        "local codes",
    ],
)
def test_cautions(page, part):
    assert part.lower() in words(page).lower()


@pytest.mark.parametrize(
    "part",
    [
        "a" * 64,
        "chord.limit",
        "22912.3 nT",
        "−19.87°",
        "datum of 22904.0 nT",
        "move the whole map up or down by one constant",
        "Not estimated: clock, position, heading, levelling.",
        "Grid north lies 0.42° west of true north",
        "local time is America/Sao_Paulo",
        "the base had a gap",
        "2.0 m above ground, assumed",
        "no depth, dip or shape of a source",
    ],
)
def test_what_it_says(page, part):
    assert part in words(page)


def test_only_changed_settings_stand_under_changed(page):
    start = page.index("Settings changed from their default")
    changed = page[start : page.index("All settings")]
    assert "chord.limit" in changed
    assert "grid.spacing" not in changed
    assert "grid.spacing" in page


@pytest.mark.parametrize(
    ("azimuth", "words"), [(359.7, "0"), (359.4, "359"), (0.2, "0"), (180.0, "180"), (None, "–")]
)
def test_an_azimuth_is_below_360_once_rounded(azimuth, words):
    line = LineRow("L1", "rover 1", "2026-03-09", "14:00", "14:06", 9, 9, 1.0, azimuth, 0.3, False)
    page = build_report(ReportContent(Job("x", "EPSG:1", "y"), Provenance(), lines=(line,)))
    row = next(row for row in page.split("<tr>") if row.startswith('<th scope="row" class="t">L1'))
    # numbers of the row: readings, kept, length, azimuth, noise
    assert re.findall(r'<td class="n">([^<]*)</td>', row)[3] == words


def test_missing_parts_are_said_plainly():
    job = Job("Bare", "EPSG:32722", "WGS 84 / UTM zone 22S")
    text = words(build_report(assemble(job, Records(), provenance=Provenance())))
    for part in (
        "Missing: no map",
        "Missing: no base record",
        "Missing: no reading has been corrected yet",
        "Missing: no error budget",
        "No datum has been set",
        "Missing: no lines",
        "Missing: no raw file",
        "Missing: no step has been recorded",
    ):
        assert part in text


def test_a_missing_grid_is_said_beside_the_profiles(scenario, job, provenance):
    records = Records(readings=scenario.readings, lines=scenario.lines)
    content = assemble(job, records, provenance=provenance, most_lines=0)
    text = words(build_report(content))
    assert "Missing: no gridded map" in text
    assert "Stacked profiles" in text
    assert "not judged" in text


def test_the_same_content_gives_the_same_page(page, content):
    assert build_report(content) == page


def test_empty_content_is_a_page():
    read(build_report(ReportContent(Job("x", "EPSG:1", "y"), Provenance())))


def test_it_prints_on_a4_and_fits_a_narrow_screen(page):
    style = page[page.index("<style>") : page.index("</style>")]
    assert "@page { size: A4" in style
    assert "@media (max-width: 40rem)" in style
    assert 'content="width=device-width, initial-scale=1"' in page
