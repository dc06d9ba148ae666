"""From map to rocks, as the report says it."""

import re
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from lodewalk.handover.assemble import Records, assemble
from lodewalk.handover.content import Provenance, ReportFigure, Undrawn
from lodewalk.handover.report import build_report
from lodewalk.handover.rocks import best_bodies, best_pick, rock_figures, rocks_of
from lodewalk.records import Document, Grid, GridSet
from lodewalk.records.interpreted import Bodies, Curves, Picks, ProfileReadings
from planted_rocks import CRS, LINES, planted_rocks


@pytest.fixture(scope="module")
def records():
    return planted_rocks()


@pytest.fixture(scope="module")
def section(records, job):
    return section_of(records, job)


def section_of(records, job):
    """Return the section on rocks of a report without figures, and the report."""
    parts = Records(rocks=records)
    page = build_report(assemble(job, parts, provenance=Provenance(), with_figures=False))
    part = page[page.index('<h2 id="rocks">') :]
    return part[: part.index("</section>")]


def cells(section, name):
    """Return the cells of the first row that begins with a name."""
    row = re.search(rf'<th scope="row"[^>]*>{name}</th>(.*?)</tr>', section)[1]
    return [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", row)]


def test_the_table_of_depths_tells_joint_fit_picks_and_methods(section):
    """14 m with an sd of 2 %: 13.54 to 14.46. Planted: half slope 20 % short, Euler 30 % deep."""
    kind, strike, _, depth, picks, spread, methods = cells(section, "R1")
    assert (kind, strike, depth) == ("ridge", "128.0° ± 2.5°", "14.0 m (13.5 to 14.5)")
    assert (picks, spread) == (f"{len(LINES)} of {len(LINES)}", "14.0 m (14.0 to 14.0)")
    assert methods.replace("\xa0", " ") == "half slope −20 %, fit 0 %, Euler +30 %"


def test_every_pick_and_method_is_folded_away(section):
    folded = section[section.index("<details>") : section.index("</details>")]
    rows = re.findall(r"<tr><th.*?</tr>", folded)[1:]
    assert len(rows) == 6 * 2 * len(LINES)
    assert "(tilt depth)" in folded
    assert "The tilt never passes 45 degrees." in folded


def test_a_dip_is_told_under_a_magnetisation_only(section, job):
    table = section[section.index("<h3>Bodies") :]
    assert cells(table, "R1")[4:] == ["index angle alone", "not stated"]
    told = section_of(planted_rocks(magnetisation="along the present field"), job)
    table = told[told.index("<h3>Bodies") :]
    assert cells(table, "R1")[3:] == [
        "−40° (−45 to −35)",
        "76° (66 to 86), under remanence 36 to 116",
        "along the present field",
    ]


def test_what_is_not_resolved_is_said(section):
    table = section[section.index("<h3>Bodies") :]
    assert cells(table, "R1")[:3] == [
        "dyke (0.98)",
        "14.0 m (13.5 to 14.5)",
        "17.0 m (13.7 to 20.3)",
    ]
    assert cells(table, "R2")[0] == "thin sheet, not sure (0.70)"
    assert cells(table, "R2")[2] == "not resolved (below 11.2 m)"
    assert "R2: The width: any width up to the upper end fits as well." in section


def test_offsets_are_told_with_their_interval(section):
    """31 m, sd 4 m: ± 6.6."""
    assert "R1 and R2 are offset by 31 ± 7 m (90 %) to the right" in section


def test_the_cautions_are_there(section):
    words = " ".join(re.sub(r"<[^>]+>", " ", section).split())
    for text in ("No hole should be sited on this section alone", "licensed to practise",
                 "Steel and buried services", "top of rock that is magnetised"):  # fmt: skip
        assert text in words


def test_the_words_of_the_trade_are_explained(records, job):
    page = build_report(assemble(job, Records(rocks=records), provenance=Provenance()))
    words = page[page.index('<h2 id="words">') :]
    for word in ("index angle", "joint fit", "structural index", "reduction to the pole"):
        assert f"<dt>{word}</dt>" in words
    assert "stops at the corrected anomaly" not in page
    assert (
        page.index('<h2 id="map">') < page.index('<h2 id="rocks">') < page.index('<h2 id="days">')
    )


def test_a_report_without_an_interpretation_says_so(job):
    page = build_report(assemble(job, Records(), provenance=Provenance()))
    assert "no interpretation has been made" in page
    assert "stops at the corrected anomaly" in page


def test_parts_that_could_not_be_made_say_why(records):
    tables = ("lineaments", "points", "faults", "picks", "profiles", "curves", "depths", "bodies")
    nothing = {name: type(getattr(records, name)).empty() for name in tables}
    why = Document({"problem": "There is no grid."})
    bare = replace(records, **nothing, trace_notes=why, fit_notes=None, transform_notes=why)
    told = rocks_of(bare)
    assert told.missing == (
        "no transform of the grid. There is no grid.",
        "no lineament. There is no grid.",
        "no body and no depth was made.",
    )
    assert not told.told
    assert rock_figures(bare) == []


def test_a_refused_transform_is_told_with_its_alternative(records):
    grid = Grid(np.zeros((3, 3)), 0.0, 0.0, 5.0, CRS, "nT", "upward_continued")
    refused = {"reduced_to_pole": "refused at an inclination of 0 degrees; reduced to the equator."}
    told = rocks_of(
        replace(
            records,
            transforms=GridSet((grid,)),
            transform_notes=Document({"refused": refused, "warnings": ["The anomaly is strong."]}),
        )
    )
    assert told.transforms == (
        "Transforms made of the grid: upward continued.",
        "Reduced to the pole: refused at an inclination of 0 degrees; reduced to the equator.",
        "The anomaly is strong.",
    )


def test_uneven_ground_and_a_damped_reduction_are_told(records):
    notes = {
        "surface": {"taken": "equivalent sources", "why": "It departs from a plane by 12 m."},
        "damped": {"told": True, "why": "Waves are held back."},
    }
    told = rocks_of(replace(records, transform_notes=Document(notes))).transforms
    assert told[-2:] == (
        "Made from equivalent sources at the sensor's heights. It departs from a plane by 12 m.",
        "Reduced to the pole, damped: Waves are held back.",
    )
    level = {"surface": {"taken": "plane", "why": "-"}, "damped": {"told": False, "why": "-"}}
    assert rocks_of(replace(records, transform_notes=Document(level))).transforms == told[:-2]


def test_the_best_pick_is_the_surest(records):
    """Planted: sd grows from 5 % of the depth on the first line to 11 % on the last."""
    assert best_pick(records, "R1") == "R1-L01"
    shy = Bodies(
        records.bodies.frame.with_columns(
            depth_sd_m=pl.when(pl.col("pick") == "R1-L01").then(9.0).otherwise("depth_sd_m")
        )
    )
    assert best_pick(replace(records, bodies=shy), "R1") == "R1-L02"
    assert best_pick(records, "S1") is None


@pytest.mark.parametrize(
    "change",
    [{"depth_m": pl.lit(-0.4)}, {"easting_m": pl.col("easting_m") + 60.0}],
    ids=["above ground", "far from its pick"],
)
def test_a_body_that_is_of_something_else_is_not_the_best(records, change):
    """R1's windows reach 80 m to either side."""
    first = pl.col("pick") == "R1-L01"
    stray = {
        name: pl.when(first).then(value).otherwise(pl.col(name)) for name, value in change.items()
    }
    bodies = Bodies(records.bodies.frame.with_columns(**stray))
    assert best_pick(replace(records, bodies=bodies), "R1") == "R1-L02"


def test_without_a_joint_fit_the_surest_pick_stands_for_a_lineament(records):
    lone = Bodies(records.bodies.frame.filter(pl.col("pick").is_not_null()))
    rows = best_bodies(replace(records, bodies=lone))
    assert [row["body"] for row in rows] == ["R1-L01", "R2-L01"]
    assert rocks_of(replace(records, bodies=lone)).depths[0].depth == "no joint fit"


def test_picks_without_a_depth_are_counted_by_reason(records):
    first = pl.col("line").is_in(["L01", "L02"])
    problem = pl.when(first).then(pl.lit("Cut by the end of the line."))
    picks = Picks(records.picks.frame.with_columns(problem=problem))
    assert rocks_of(replace(records, picks=picks)).without == (
        "4 picks, such as R1-L01: Cut by the end of the line.",
    )


def test_what_a_fit_refused_is_told_once_with_an_example(records):
    """Sentences that differ in numbers and sides alone are one reason."""
    picks = {
        "R1-L01": {
            "problem": "Two bodies lie in one window: one of 108 nT stands 2 m to the right."
        },
        "R1-L02": {
            "problem": "Two bodies lie in one window: one of 46.8 nT stands 9 m to the left."
        },
        "R1-L03": {"problem": None},
    }
    told = rocks_of(replace(records, fit_notes=Document({"picks": picks})))
    assert told.without == (f"2 picks, such as R1-L01: {picks['R1-L01']['problem']}",)


def test_each_lineament_has_a_section_and_a_profile_along(records):
    made = rock_figures(records)
    assert [figure.title for figure in made] == [
        "Section of R1, at its best resolved pick R1-L01",
        "Depth along R1",
        "Section of R2, at its best resolved pick R2-L01",
        "Depth along R2",
    ]
    assert all(isinstance(figure, ReportFigure) and figure.section == "rocks" for figure in made)
    assert "14.0 m (12.8 to 15.2) below ground" in made[0].alt
    assert len(rock_figures(records, most=1)) == 2


def test_a_section_that_can_not_be_drawn_says_why(records):
    bare = replace(records, profiles=ProfileReadings.empty(), curves=Curves.empty())
    reasons = [item.reason for item in rock_figures(bare, most=1) if isinstance(item, Undrawn)]
    assert reasons == ["The pick's profile has no reading."]


def test_what_became_of_a_known_fact_is_told(records, job):
    text = "BH1: the top at 14 m below ground; holds in the fit at R1-L01."
    notes = Document({"problem": None, "facts": [{"text": text}]})
    shown = section_of(replace(records, fit_notes=notes), job)
    assert text in shown[shown.index("known from boreholes") :]


def test_a_refused_lineament_is_marked_and_left_out_of_faults_and_rose(records):
    rose = {"edges_deg": [0.0, 180.0], "length_m": [1.0], "mean_deg": None, "number": 1}
    notes = Document({"refused_lineaments": ["R2"], "rose": rose})
    traced = Document({"problem": None, "rose": rose | {"number": 2}})
    told = replace(records, pick_notes=notes, trace_notes=traced)
    section = rocks_of(told)
    kinds = {row.name: row.kind for row in section.depths}
    assert kinds == {"R1": "ridge", "R2": "ridge, refused"}
    assert section.traced[:2] == (
        "Traced from the grid: 1 ridge, 1 spot.", "Refused by a decision: R2.",
    )  # fmt: skip
    assert not any("offset" in words for words in section.traced)
    assert told.rose["number"] == 1
    assert records.refused == frozenset()
    assert any("offset" in words for words in rocks_of(records).traced)
