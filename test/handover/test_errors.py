"""How sure the numbers are, as the report says it."""

import re
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from lodewalk.handover.assemble import Records, assemble
from lodewalk.handover.content import Provenance, ReportFigure, Undrawn
from lodewalk.handover.errors import (
    budget_terms,
    error_figures,
    map_error_facts,
    map_error_words,
    position_words,
)
from lodewalk.handover.report import build_report
from lodewalk.records.document import Document
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

NAMES = ("sensor", "diurnal", "clock", "position", "heading", "level")
SHARED = ("reading", "line", "day", "line", "survey", "line")
NOTES = {"judged": 321, "overall": 1.25, "problem": None, "depth_m": 11.0, "variance_nT2": 17.0}


@pytest.fixture(scope="module")
def budget():
    """Return a budget in which the position is the largest part at most readings."""
    shares, largest = (0.1, 0.25, 0.05, 0.4, 0.15, 0.05), (0.2, 0.1, 0.0, 0.7, 0.0, 0.0)
    rows = zip(NAMES, SHARED, shares, largest, strict=True)
    return Document(
        {
            "parts": [
                {
                    "part": name,
                    "shared_by": shared,
                    "median_nT": 0.1,
                    "share_of_variance": share,
                    "largest_at_share_of_readings": most,
                }
                for name, shared, share, most in rows
            ]
        }
    )


@pytest.fixture(scope="module")
def error(scenario):
    """Return a standard error beside the invented grid."""
    return replace(scenario.grid, values=np.abs(scenario.grid.values) / 20 + 0.3, name="error")


def small(values):
    """Return a standard error of nodes ten metres apart."""
    return Grid(np.array(values, dtype=float), 1000.0, 2000.0, 10.0, "EPSG:31982", "nT", "error")


def at(readings, east, north):
    """Return as many readings as there are places, all used."""
    return Readings(
        readings.frame[: len(east)].with_columns(
            easting_m=pl.Series(np.array(east, dtype=float)),
            northing_m=pl.Series(np.array(north, dtype=float)),
            anomaly_nT=pl.lit(1.0),
            kept=pl.lit(True),
        )
    )


def test_terms_say_share_and_of_which_readings(scenario, budget):
    terms = {term.name: term for term in budget_terms(scenario.readings, budget)}
    assert (terms["Diurnal"].share, terms["Diurnal"].largest) == (0.25, 0.1)
    assert terms["Diurnal"].shared_by == "the readings of a line"
    assert terms["Heading"].shared_by == "the whole survey"
    assert terms["Together"].share is None
    assert all(term.share is None for term in budget_terms(scenario.readings, None))


def test_the_typical_error_is_told_on_lines_and_overall(scenario):
    """Readings within five metres of the nodes with 1 and 2 nT: their median is 1.5; of 1 2 3 4 5
    6 it is 3.5. One reading lies off the grid, one on a masked node."""
    grid = small([[1, 2, 3], [4, 5, 6], [np.nan, np.nan, np.nan]])
    readings = at(scenario.readings, [1001, 1014.0, 5000, 1000], [2004, 1996.0, 2000, 2020])
    (fact,) = map_error_facts(grid, readings)
    assert fact.value == "1.5 nT on lines, 3.5 nT overall"
    (fact,) = map_error_facts(grid, Readings.empty())
    assert fact.value == "3.5 nT"
    assert map_error_facts(None, readings) == ()
    assert map_error_facts(small([[np.nan]]), readings) == ()


POSITION = {"factor": 0.5, "log_sd": 0.1, "crossings": 9}


def test_the_words_on_positions_have_a_90_percent_interval():
    """0.4353 times and over exp(1.645 x 0.156) = 1.2925: 0.337 and 0.563."""
    level = {"position": {"factor": 0.4353, "log_sd": 0.156, "crossings": 108}}
    (text,) = position_words(Document(level))
    assert "0.44 of what is stated of them (90 % interval 0.34 to 0.56), by 108 cross" in text
    assert position_words(Document(level | {"position": None})) == ()
    assert position_words(None) == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "against 321 block means of readings that were left out"),
        ({}, "One factor of 1.25 on the variance"),
        ({"judged": 0, "overall": 1.0}, "Too little could be left out"),
        (
            {"judged": None, "problem": "No reading has a noise."},
            "no map of the standard error. No",
        ),
    ],
)
def test_the_words_on_the_map(change, words):
    (text,) = map_error_words(Document(NOTES | change))
    assert words in text


def figures(job, **parts):
    usual = {"budget": None, "grid": None, "error": None, "height_m": 0.0, "declination_deg": None}
    return error_figures(job, **usual | parts)


def test_both_figures_have_words_for_those_who_can_not_see(job, scenario, budget, error):
    made = figures(job, readings=scenario.readings, budget=budget, grid=scenario.grid, error=error)
    assert [figure.title for figure in made] == [
        "Standard error of the map",
        "Largest part of the error",
    ]
    assert all(isinstance(figure, ReportFigure) and figure.section == "errors" for figure in made)
    assert "greatest at easting" in made[0].alt
    assert "absolute level" in made[0].caption
    assert made[1].alt.endswith(
        "position at 70 %, sensor at 20 %, diurnal at 10 % of the readings."
    )


def test_a_grid_higher_up_has_no_error_of_its_own(job, scenario, error):
    (figure,) = figures(job, readings=scenario.readings, error=error, height_m=20.0)
    assert "at the height of the sensor, not 20.0 m above it" in figure.caption


def test_what_can_not_be_drawn_says_why(job, scenario, budget):
    dots = Readings(scenario.readings.frame[::364])
    empty = small([[np.nan]])
    made = figures(job, readings=dots, budget=budget, error=empty)
    assert [item.reason for item in made if isinstance(item, Undrawn)] == [
        "The grid error has no value to draw.",
        "No line has two readings with an error.",
    ]
    assert figures(job, readings=Readings.empty(), budget=budget) == []


def test_the_page_shows_table_sentences_and_figures(job, scenario, budget, error):
    records = Records(
        readings=scenario.readings,
        lines=scenario.lines,
        grid=scenario.grid,
        error_grid=error,
        error_notes=Document(NOTES),
        budget=Document(budget.values | {"position": POSITION}),
    )
    page = build_report(assemble(job, records, provenance=Provenance(), most_lines=0))
    part = page[page.index('id="errors"') :]
    part = part[: part.index("</section>")]
    (row,) = re.findall(r'<tr><th scope="row">Sensor</th>(.*?)</tr>', part)
    assert re.findall(r"<td[^>]*>([^<]*)</td>", row)[2:5] == [
        "10.0",
        "20",
        "none: each reading has its own",
    ]
    for words in ("Position errors are 0.50 of", "against 321 block means", "Share [%]"):
        assert words in part
    assert part.count("<img ") == 2
    assert "nT overall" in page[: page.index('id="errors"')]
