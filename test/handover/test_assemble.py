import dataclasses
import datetime as dt
import re

import numpy as np
import polars as pl
import pytest
from matplotlib.figure import Figure

from lodewalk.errors import InputError
from lodewalk.handover import pictures
from lodewalk.handover.assemble import Records, assemble
from lodewalk.handover.pictures import chosen_lines
from lodewalk.handover.report import build_report
from lodewalk.handover.tables import (
    correction_sizes,
    datum_facts,
    days_of,
    dropped_reasons,
    error_terms,
    finding_rows,
    level_facts,
    level_words,
    line_rows,
    site_facts,
    stages,
    total_km,
)
from lodewalk.records.document import Document
from lodewalk.records.products import Findings, Lines, Minutes, Readings


@pytest.fixture(scope="module")
def three(make):
    """Return four readings of which three are used, with numbers for a pocket calculator."""
    readings, _ = make.readings(1)
    return Readings(
        readings.frame[:4].with_columns(
            raw_nT=pl.Series([110.0, 104.0, 113.0, 999.0]),
            diurnal_nT=pl.Series([3.0, -4.0, 5.0, 7.0]),
            reference_nT=pl.lit(100.0),
            anomaly_nT=pl.Series([7.0, 8.0, 8.0, 892.0]),
            sd_sensor_nT=pl.Series([0.3, 0.3, 0.6, 9.0]),
            sd_diurnal_nT=pl.Series([0.4, 0.4, 0.8, 9.0]),
            sd_nT=pl.Series([0.5, 0.5, 1.0, 13.0]),
            kept=pl.Series([True, True, True, False]),
            reason=pl.Series([None, None, None, "spike"], dtype=pl.String),
        )
    )


def test_sizes_of_corrections_by_hand(three):
    """3, -4, 5: rms is the root of (9 + 16 + 25) / 3; mean 4/3, so sd is the root of 134/9."""
    diurnal, reference, *others = correction_sizes(three)
    assert (diurnal.count, diurnal.least, diurnal.median, diurnal.most) == (3, -4.0, 3.0, 5.0)
    assert diurnal.rms == pytest.approx(np.sqrt(50 / 3))
    assert diurnal.sd == pytest.approx(np.sqrt(134 / 9))
    assert (reference.least, reference.rms, reference.sd) == (100.0, 100.0, 0.0)
    assert [other.used for other in others] == [False] * 4


def test_stages_end_at_the_anomaly(three):
    names = [stage.name for stage in stages(three)]
    assert names == ["As recorded", "Less diurnal", "Less reference field", "Anomaly"]
    recorded, less_diurnal, less_both, anomaly = stages(three)
    assert (recorded.least, recorded.most) == (104.0, 113.0)
    assert (less_diurnal.least, less_diurnal.most) == (107.0, 108.0)
    assert (less_both.least, less_both.most) == (anomaly.least, anomaly.most) == (7.0, 8.0)


def test_error_terms_that_are_all_zero_are_not_estimated(three):
    terms = {term.name: term for term in error_terms(three)}
    assert terms["Sensor"].median == 0.3
    assert terms["Together"].median == 0.5
    assert [name for name, term in terms.items() if not term.estimated] == [
        "Clock",
        "Position",
        "Heading",
        "Levelling",
    ]


def test_reasons_of_unused_readings_are_counted(scenario, three):
    assert [(fact.label, fact.value) for fact in dropped_reasons(three)] == [("spike", "1")]
    counts = [int(fact.value) for fact in dropped_reasons(scenario.readings)]
    assert counts == sorted(counts, reverse=True)


def test_site_has_labels_units_and_keeps_what_it_does_not_know():
    facts = site_facts(
        Document(
            {
                "total_field_nT": 22912.34,
                "declination_deg": -19.871,
                "note": "hill",
                "height_m": None,
                "model": "IGRF-14",
            }
        )
    )
    pairs = [(fact.label, fact.value) for fact in facts]
    assert pairs == [
        ("Model", "IGRF-14"),
        ("Total field", "22912.3 nT"),
        ("Declination", "−19.87°"),
        ("note", "hill"),
    ]


def test_datum_is_told_from_the_value_to_what_it_rests_on():
    datum = Document(
        {
            "end_utc": "2026-03-09T15:30:00Z",
            "spread_nT": 0.25,
            "start_utc": "2026-03-09T14:30:00Z",
            "instrument": "base",
            "rests_on": "the quietest hours",
            "epoch_utc": "2026-03-09T15:00:00Z",
            "datum_nT": 22904.04,
        }
    )
    assert [(fact.label, fact.value) for fact in datum_facts(datum)] == [
        ("Datum", "22904.0 nT"),
        ("Epoch", "2026-03-09 15:00:00 UTC"),
        ("Rests on", "the quietest hours"),
        ("Base", "base"),
        ("Quietest from", "2026-03-09 14:30:00 UTC"),
        ("to", "2026-03-09 15:30:00 UTC"),
        ("Spread", "0.25 nT"),
    ]


def test_a_datum_that_was_set_has_no_quietest_hours():
    datum = Document({"datum_nT": 22900.0, "rests_on": "the datum that was set", "start_utc": None})
    assert [fact.label for fact in datum_facts(datum)] == ["Datum", "Rests on"]


def test_heading_errors_get_a_row_a_rover_and_one_figure(job, provenance):
    eight = [
        {"heading_deg": 45 * n, "correction_nT": -1.26 if n == 1 else 0.0, "sd_nT": 0.2}
        for n in range(8)
    ]
    counts = {"turn": 8, "crossing": 0, "neighbour": 3}
    rover = {
        "instrument": "R1",
        "headings": eight,
        "curve": eight,
        "stands": [],
        "evidence": counts,
    }
    records = Records(heading=Document({"applied": True, "rovers": [rover]}))
    content = assemble(job, records, provenance=provenance)
    (row,) = content.heading
    assert row.cells[:2] == ("0.0 ± 0.3", "−1.3 ± 0.3")  # 1.645 of 0.2
    assert row.evidence == "8 stands of turn-around tests, 3 lines between neighbours"
    assert len(content.figures_of("heading")) == 1
    off = Records(heading=Document({"applied": False, "rovers": [rover]}))
    text = assemble(job, off, provenance=provenance, with_figures=False).heading_text
    assert text.startswith("The heading correction is turned off")
    assert "taken off" not in assemble(job, Records(), provenance=provenance).heading_text


def test_level_without_datum():
    assert "No datum has been set" in level_words(None, None)[0]


def test_days_keep_their_verdicts_and_missing_values_fall_out(check):
    days = days_of(check, lines=None, base=None)
    assert [day.verdict for day in days] == ["keep", "doubt", "keep"]
    assert (days[0].range_nT, days[0].activity) == (61.4, "quiet 12-15 h")


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        ({9: "quiet", 12: "quiet", 15: "storm"}, "quiet 09-15 h, storm 15-18 h"),
        ({9: "quiet", 15: "quiet"}, "quiet 09-12 h, quiet 15-18 h"),
        ({0: "unknown", 3: "active", 21: "storm"}, "active 03-06 h, storm 21-24 h"),
        ({9: "quiet", 12: "unknown", 15: "quiet"}, "quiet 09-12 h, quiet 15-18 h"),
        ({9: "unknown", 12: "unknown"}, "unknown"),
        ({}, ""),
    ],
)
def test_neighbouring_hours_of_one_activity_are_joined(hours, words):
    activity = [
        {"start_utc": f"2026-03-10T{hour:02d}:00:00Z", "activity": word, "range_nT": 9.0}
        for hour, word in hours.items()
    ]
    day = {"date": "2026-03-10", "verdict": "keep", "base": {"activity": activity}, "lines": []}
    assert days_of(Document({"days": [day]}), lines=None, base=None)[0].activity == words


def test_days_without_check_are_not_judged(scenario):
    days = days_of(None, lines=scenario.lines, base=scenario.base)
    assert [(day.date, day.verdict) for day in days] == [
        ("2026-03-09", ""),
        ("2026-03-10", ""),
        ("2026-03-11", ""),
    ]


def test_lines_get_their_verdict_of_the_day(scenario, check):
    rows = {row.line: row for row in line_rows(scenario.lines, check)}
    assert (rows["L1300"].verdict, rows["L1300"].reasons) == ("re-walk", ("the base had a gap",))
    assert rows["L1000"].start == "14:00"
    assert total_km(list(rows.values())) == pytest.approx(10.0)


@pytest.fixture(scope="module")
def walked_twice(make):
    """Return one line walked at 14:00 and at 15:00 by one rover, and at 15:00 by another."""
    _, lines = make.readings(1)
    later = pl.col("start_utc", "end_utc").dt.offset_by("1h")
    other = [later, pl.lit("rover 2").alias("instrument")]
    frames = [lines.frame, lines.frame.with_columns(later), lines.frame.with_columns(other)]
    return Lines(pl.concat(frames))


def told(verdict, **keys):
    """Return what the check says of one passage of L1000."""
    return {"line": "L1000", "verdict": verdict, "reasons": [], "length_m": 400.0, **keys}


def verdicts_of(lines, *entries):
    check = Document({"days": [{"date": "2026-03-09", "verdict": "doubt", "lines": list(entries)}]})
    return {(row.instrument, row.start): row.verdict for row in line_rows(lines, check)}


def test_each_passage_has_its_own_verdict(walked_twice):
    first, second = "2026-03-09T14:00:00.000Z", "2026-03-09T15:00:00.000Z"
    assert verdicts_of(
        walked_twice,
        told("doubt", instrument="rover 2", start_utc=second),
        told("re-walk", instrument="rover 1", start_utc=first),
        told("keep", instrument="rover 1", start_utc=second),
    ) == {
        ("rover 1", "14:00"): "re-walk",
        ("rover 1", "15:00"): "keep",
        ("rover 2", "15:00"): "doubt",
    }


def test_a_passage_that_was_not_judged_borrows_no_verdict(walked_twice):
    entry = told("keep", instrument="rover 1", start_utc="2026-03-09T14:00:00.000Z")
    assert verdicts_of(walked_twice, entry) == {
        ("rover 1", "14:00"): "keep",
        ("rover 1", "15:00"): "",
        ("rover 2", "15:00"): "",
    }


def test_a_verdict_without_time_or_instrument_is_for_the_line_of_the_day(walked_twice):
    assert set(verdicts_of(walked_twice, told("doubt")).values()) == {"doubt"}
    of_one = verdicts_of(walked_twice, told("doubt", instrument="rover 2"))
    assert [place for place, verdict in of_one.items() if verdict] == [("rover 2", "15:00")]


def test_a_start_between_two_milliseconds_is_found(make):
    _, lines = make.readings(1)
    later = Lines(lines.frame.with_columns(pl.col("start_utc").dt.offset_by("24000600us")))
    for text in ("14:00:24.000Z", "14:00:24.001Z"):  # cut off or rounded
        entry = told("keep", instrument="rover 1", start_utc=f"2026-03-09T{text}")
        assert list(verdicts_of(later, entry).values()) == ["keep"]


def test_a_line_is_as_grave_as_its_worst_passage(walked_twice):
    rows = line_rows(walked_twice, None)
    other = dataclasses.replace(rows[0], line="L1025", verdict="doubt")
    rows = (rows[0], other, dataclasses.replace(rows[1], verdict="re-walk"))
    assert chosen_lines(rows, most=2) == ["L1000", "L1025"]


def test_lines_shown_one_by_one_are_the_grave_and_then_the_noisy(scenario, check):
    rows = line_rows(scenario.lines, check)
    assert chosen_lines(rows, most=3)[0] == "L1300"
    assert len(chosen_lines(rows, most=3)) == 3
    assert chosen_lines(rows, most=0) == []


def test_gravest_findings_come_first_and_their_number_is_kept(scenario, job, provenance):
    rows = finding_rows(scenario.findings, most=2)
    assert [row.severity for row in rows] == ["loss", "doubt"]
    assert rows[0].span == "2026-03-10 14:36:00 to 14:45:00"
    assert rows[0].place == "base.csv, line 44"
    content = assemble(
        job, Records(findings=scenario.findings), provenance=provenance, most_findings=1
    )
    assert (len(content.findings), content.findings_total) == (1, 3)


def test_a_finding_without_time_and_place(scenario):
    frame = scenario.findings.frame[:1].with_columns(
        pl.lit(None, dtype=pl.String).alias("file"),
        pl.lit(None, dtype=pl.Int64).alias("line_in_file"),
        pl.lit(None, dtype=pl.Datetime("us", "UTC")).alias("start_utc"),
        pl.lit(dt.datetime(2026, 3, 9, tzinfo=dt.UTC))
        .cast(pl.Datetime("us", "UTC"))
        .alias("end_utc"),
    )
    (row,) = finding_rows(Findings(frame), most=5)
    assert (row.span, row.place) == ("to 2026-03-09 00:00:00", "")


def test_summary_counts_what_is_used(content):
    facts = {fact.label: fact.value for fact in content.summary}
    assert facts["Lines"] == "25, 10.0 km walked"
    assert facts["Days"] == "3"
    used, total = (int(part) for part in facts["Readings used"].split(" of "))
    assert total == 9100  # 25 lines of 364 readings
    assert used == total - sum(int(fact.value) for fact in content.dropped)


def test_figures_can_be_left_out(scenario, job, provenance):
    records = Records(readings=scenario.readings, lines=scenario.lines, grid=scenario.grid)
    assert assemble(job, records, provenance=provenance, with_figures=False).figures == ()


def test_a_line_without_position_is_in_the_table_but_has_no_figure(scenario, job, provenance):
    lost = pl.col("line") == "L1300"
    readings = Readings(
        scenario.readings.frame.with_columns(
            pl.when(~lost).then(pl.col(name)).alias(name) for name in ("easting_m", "northing_m")
        )
    )
    noisier = pl.when(lost).then(9.0).otherwise(pl.col("noise_nT")).alias("noise_nT")
    lines = Lines(scenario.lines.frame.with_columns(noisier))
    content = assemble(
        job, Records(readings=readings, lines=lines), provenance=provenance, most_lines=1
    )
    assert [figure.title for figure in content.figures_of("line")] == ["Profile of line L1000"]
    assert "L1300" in {row.line for row in content.lines}


def test_a_grid_of_nothing_gives_no_map(scenario, job, provenance):
    from lodewalk.records.grid import Grid

    grid = Grid(np.full((3, 3), np.nan), 0.0, 0.0, 10.0, "EPSG:31982", "nT", "anomaly")
    records = Records(readings=scenario.readings, lines=scenario.lines, grid=grid)
    content = assemble(job, records, provenance=provenance, most_lines=0)
    assert [figure.title for figure in content.figures] == ["Stacked profiles"]


def test_same_records_same_content(scenario, job, provenance, check):
    records = Records(scenario.readings, scenario.lines, grid=scenario.grid, check=check)
    one, two = (assemble(job, records, provenance=provenance, most_lines=1) for _ in range(2))
    assert one == two


@pytest.mark.parametrize(
    ("function", "section", "title"),
    [
        ("draw_anomaly_map", "map", "map"),
        ("draw_stacked_profiles", "map", "stacked profiles"),
        ("draw_day", "days", "day page of 2026-03-09"),
        ("draw_line_profile", "lines", "profile of line L1300"),
    ],
)
def test_a_figure_that_cannot_be_drawn_is_named_where_it_would_stand(
    function, section, title, scenario, job, provenance, check, monkeypatch
):
    def draw(*_, **__):
        raise InputError("Too few to draw <here>.", value=3)

    for name in ("anomaly_map", "stacked_profiles", "day", "line_profile"):
        monkeypatch.setattr(pictures, f"draw_{name}", lambda *_, **__: Figure(figsize=(1, 1)))
    monkeypatch.setattr(pictures, function, draw)
    s = scenario
    records = Records(s.readings, s.lines, s.findings, s.base, s.grid, s.datum, s.site, check)
    page = build_report(assemble(job, records, provenance=provenance, most_lines=1))
    (part,) = re.findall(f'<h2 id="{section}">.*?</section>', page, re.DOTALL)
    assert f"</strong> no {title}. Too few to draw &lt;here&gt;.</p>" in part
    others = page.replace(part, "")
    assert "Too few to draw" not in others
    assert page.count("<figure>") == {"draw_day": 3}.get(function, 5)
    assert "at hand when the report was made" not in page


def pages_asked_for(monkeypatch, job, records, provenance):
    """Return what the day pages of a report are drawn from."""
    asked = []

    def draw(base, lines, findings, **others):
        asked.append({"base": base, **others})
        return Figure(figsize=(1, 1))

    monkeypatch.setattr(pictures, "draw_day", draw)
    assemble(job, records, provenance=provenance, most_lines=0)
    return asked


def test_day_pages_get_minutes_and_verdicts(scenario, job, provenance, check, monkeypatch):
    minutes = Minutes.empty()
    records = Records(base=scenario.base, check=check, minutes=minutes, datum=scenario.datum)
    asked = pages_asked_for(monkeypatch, job, records, provenance)
    assert [page["day"] for page in asked] == ["2026-03-09", "2026-03-10", "2026-03-11"]
    assert all(page["minutes"] is minutes and page["check"] is check for page in asked)
    assert {page["datum_nT"] for page in asked} == {scenario.datum["datum_nT"]}
    assert {page["zone"] for page in asked} == {"America/Sao_Paulo"}


def test_a_judged_day_without_base_has_a_page(job, provenance, check, monkeypatch):
    asked = pages_asked_for(monkeypatch, job, Records(check=check), provenance)
    assert [len(page["base"]) for page in asked] == [0, 0, 0]


def test_without_a_zone_of_the_survey_the_day_page_has_that_of_the_check(
    job, provenance, check, monkeypatch
):
    zoned = Document({"days": [day | {"zone": "UTC-03:00"} for day in check["days"]]})
    no_zone = dataclasses.replace(job, zone="UTC")
    asked = pages_asked_for(monkeypatch, no_zone, Records(check=zoned), provenance)
    assert {page["zone"] for page in asked} == {"UTC-03:00"}
    asked = pages_asked_for(monkeypatch, no_zone, Records(check=check), provenance)
    assert {page["zone"] for page in asked} == {"UTC"}


def test_levels_are_told_where_there_are_several():
    def node(name, level, sd, rests_on):
        return {"node": name, "level_nT": level, "sd_nT": sd, "rests_on": rests_on}

    bases = Document(
        {
            "nodes": [
                node("B1", 0.0, 0.0, "it is the datum"),
                node("B2", -37.5, 0.25, "ties"),
                node("B3", 0.0, 0.0, "nothing"),
            ]
        }
    )
    rovers = Document({"nodes": [node("R1", 0.0, 0.0, "it is the datum")]})
    surveys = [
        {"name": "A2003", "offset_nT": 12.0, "sd_nT": 0.5, "misfit_nT": 3.0},
        {"name": "air", "offset_nT": None, "sd_nT": None, "misfit_nT": None},
    ]
    found = {f.label: f.value for f in level_facts(bases, rovers, Document({"surveys": surveys}))}
    assert list(found) == [
        "Base B1",
        "Base B2",
        "Base B3",
        "Older survey A2003",
        "Older survey air",
    ]
    assert found["Base B2"].endswith("37.5 nT, sd 0.25 nT")
    assert found["Base B3"] == found["Older survey air"] == "unknown"
    assert found["Older survey A2003"] == "+12.0 nT, sd 0.50 nT"
    assert level_facts(None, rovers, None) == ()
