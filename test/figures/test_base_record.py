import numpy as np
import polars as pl
import pytest

from lodewalk.errors import InputError
from lodewalk.figures.base_record import draw_base_record
from lodewalk.figures.spans import day_spans, gaps_of
from lodewalk.records.products import BaseRecord, Findings, Lines

QUIET_DAY, DISTURBED_DAY = "2026-03-09", "2026-03-10"


def drawn(scenario, day=DISTURBED_DAY, **options):
    choice = {"datum_nT": 22_904.0, "zone": "America/Sao_Paulo", **options}
    return draw_base_record(scenario.base, scenario.lines, scenario.findings, day=day, **choice)


def of_day(base, day):
    return BaseRecord(base.frame.filter(pl.col("time_utc").dt.strftime("%Y-%m-%d") == day))


def clocked(hours):
    """Return seconds from midnight."""
    return hours * 3600


@pytest.mark.parametrize("day", [QUIET_DAY, DISTURBED_DAY])
@pytest.mark.parametrize("zone", ["UTC", "America/Sao_Paulo", "Asia/Kathmandu"])
def test_every_text_is_whole_and_apart(scenario, look, day, zone):
    look.readable(drawn(scenario, day, zone=zone))


def test_many_short_lines_and_findings_stay_readable(scenario, look):
    rows = scenario.lines.frame.filter(pl.col("day") == DISTURBED_DAY)
    many = pl.concat(
        [rows.with_columns(pl.col("start_utc", "end_utc").dt.offset_by(f"{k}m")) for k in range(12)]
    )
    texts = scenario.findings.frame[:1]
    found = pl.concat(
        [
            texts.with_columns(
                start_utc=pl.col("start_utc").dt.offset_by(f"-{3 * k}m"),
                end_utc=pl.col("start_utc").dt.offset_by(f"{1 - 3 * k}m"),
            )
            for k in range(20)
        ]
    )
    figure = draw_base_record(
        scenario.base, Lines(many), Findings(found), day=DISTURBED_DAY, datum_nT=None
    )
    look.readable(figure)


def test_the_curve_is_less_its_datum_and_broken_at_the_gap(scenario, look):
    axes = look.axes(drawn(scenario), "curve")
    time, value = (np.asarray(array) for array in axes.lines[0].get_data())
    assert np.nanmedian(value) == pytest.approx(14.0, abs=1.0)  # amplitude of the invented day
    inside = (time > clocked(14.61)) & (time < clocked(14.74))
    assert not inside.any()
    broken = np.flatnonzero(np.isnan(time))
    assert any(time[i - 1] < clocked(14.61) and time[i + 1] > clocked(14.74) for i in broken)


def test_a_left_out_spike_does_not_set_the_range(scenario, look):
    """The invented day reaches 45 nT; the spikes of 60 nT more are held inside the frame."""
    axes = look.axes(drawn(scenario), "curve")
    low, high = axes.get_ylim()
    crosses = axes.lines[1]
    assert high < 70
    assert len(crosses.get_xdata()) > 20
    assert (np.asarray(crosses.get_ydata()) < high).all()
    assert (np.asarray(crosses.get_ydata()) > low).all()


def test_spans_come_from_findings_about_the_base_and_from_left_out_readings(scenario, make):
    base = of_day(scenario.base, DISTURBED_DAY)
    of_rover = scenario.findings.frame[2:].with_columns(severity=pl.lit("doubt"))
    findings = Findings(pl.concat([scenario.findings.frame, of_rover]))
    spans = day_spans(base, findings, midnight=make.start + 86_400)
    assert [(s.severity, s.number) for s in spans] == [("loss", 1), ("loss", 2), ("doubt", 3)]
    assert [s.start / 3600 for s in spans] == pytest.approx([14.6, 15.5, 16.75], abs=0.002)
    assert spans[1].text.startswith("left out, spike (53")


def test_gaps_are_pauses_of_more_than_five_intervals(scenario, make):
    base = of_day(scenario.base, DISTURBED_DAY)
    (gap,) = gaps_of(base, midnight=make.start + 86_400)
    assert (gap.start / 3600, gap.end / 3600) == pytest.approx((14.6, 14.75), abs=0.001)


def test_all_numbered_spans_are_listed_with_sign_and_word(scenario, look):
    words = [text.get_text() for text, _ in look.texts(drawn(scenario))]
    assert any("✗ loss" in word and "no reading for 9 minutes" in word for word in words)
    assert any("? doubt" in word and "departs from its chord" in word for word in words)
    assert any("✓ keep" in word for word in words)


def test_local_time_stands_above_utc(scenario, look):
    """Kathmandu is 5 h 45 min ahead of UTC (IANA time zone database)."""
    words = {text.get_text() for text, _ in look.texts(drawn(scenario, zone="Asia/Kathmandu"))}
    assert {"14:00", "19:45", "Local time, Asia/Kathmandu", "UTC"} <= words


def test_lines_of_the_day_and_only_they_are_named(scenario, look):
    words = {text.get_text() for text, _ in look.texts(drawn(scenario))}
    assert {"L1225", "L1425"} <= words
    assert "L1000" not in words


def test_without_datum_the_median_of_the_day_is_taken_and_said(scenario, look):
    figure = drawn(scenario, QUIET_DAY, datum_nT=None)
    values = np.asarray(look.axes(figure, "curve").lines[0].get_ydata())
    assert np.nanmedian(values) == pytest.approx(0.0, abs=1e-6)
    assert any("median of the day" in text.get_text() for text, _ in look.texts(figure))


def test_without_lines_and_departure_it_still_draws(scenario, look):
    bare = BaseRecord(scenario.base.frame.with_columns(departure_nT=pl.lit(None, dtype=pl.Float64)))
    figure = draw_base_record(
        bare, Lines.empty(), Findings.empty(), day=QUIET_DAY, datum_nT=22_904.0
    )
    look.readable(figure)
    assert not any(axes.get_gid() in ("chord", "walks") for axes in figure.axes)


def test_one_reading_draws(scenario, look):
    one = BaseRecord(scenario.base.frame[:1])
    figure = draw_base_record(one, Lines.empty(), Findings.empty(), day=QUIET_DAY, datum_nT=None)
    look.readable(figure)


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"day": "2026-03-20"}, "no reading on this day"),
        ({"day": "09/03/2026"}, "YYYY-MM-DD"),
        ({"zone": "Nowhere/Town"}, "Unknown time zone"),
    ],
)
def test_what_can_not_be_drawn_is_refused(scenario, options, match):
    with pytest.raises(InputError, match=match):
        drawn(scenario, **options)
