import datetime as dt

import numpy as np
import polars as pl
import pytest

from day_sample import (
    DAY,
    DISTURBED_DAY,
    HOUR,
    QUIET_DAY,
    bars,
    base_of,
    check_of,
    drawn,
    findings_of,
    of_day,
    walks_of,
    words_of,
)
from lodewalk.errors import InputError
from lodewalk.figures.day_records import field_zone
from lodewalk.figures.spans import day_spans, gaps_of
from lodewalk.records.products import BaseRecord, Findings, Lines


def test_findings_are_listed_gravest_first_with_number_sign_and_word(page, look):
    words = words_of(page, look)
    heads = [word[:11] for word in words if word[:2] in ("1 ", "2 ", "3 ", "4 ") and "UTC" in word]
    assert heads == ["1 ✗ loss, 1", "2 ? doubt, ", "3 i informa", "4 i informa"]
    assert any("14:36–14:45 UTC: The base has no reading for 9 minutes." in word for word in words)
    assert {"1 ✗", "2 ?", "3 i", "4 i"} <= set(words)


def test_findings_stand_where_they_were(page, look):
    axes = look.axes(page, "findings")
    assert bars(axes, "loss") == [pytest.approx((14.6, 14.75), abs=1e-6)]
    assert bars(axes, "doubt")[0][0] == pytest.approx(16.75, abs=1e-6)


def test_at_most_nine_of_many_findings_are_listed_and_the_rest_counted(whole, look, make):
    start = make.start + DAY + 14 * HOUR
    text = "Something was noticed here that takes more words than there is room for on a line. "
    rows = [
        ("rover 1", start + 400 * n, start + 400 * n + 60, ("doubt", "loss")[n % 5 == 0], text * 3)
        for n in range(25)
    ]
    figure = drawn(whole, findings=findings_of(*rows))
    look.readable(figure)
    words = words_of(figure, look)
    heads = [word for word in words if "UTC: Something" in word]
    assert [head.split()[2] for head in heads] == ["loss,"] * 5 + ["doubt,"] * 4
    assert "and 17 more without a number: 16 doubt, 1 information" in words
    assert figure.get_size_inches()[1] * 25.4 <= 225


def test_a_long_finding_takes_two_lines_and_ends_in_an_ellipsis(whole, look, make):
    start = make.start + DAY + 14 * HOUR
    findings = findings_of(("rover 1", start, start + 60, "loss", "stumbled " * 90))
    listed = [w for w in words_of(drawn(whole, findings=findings), look) if "stumbled" in w]
    assert len(listed) == 2
    assert listed[1].endswith("…")


def test_a_finding_without_times_is_listed_and_one_of_another_day_is_not(make):
    begin = make.start + DAY
    findings = findings_of(
        ("rover 1", np.nan, np.nan, "doubt", "The clock can't be told."),
        ("rover 1", begin - 2 * DAY, begin - DAY, "loss", "Days ago."),
        ("base", begin - HOUR, begin + 12 * HOUR, "loss", "Over midnight."),
        ("base", np.nan, np.nan, "information", "Noise 0.1 nT."),
        ("base", begin - HOUR, begin + 12 * HOUR, "information", "Only partly of the day."),
    )
    spans = day_spans(BaseRecord.empty(), findings, begin=begin, end=begin + DAY)
    assert [(s.text, s.number, s.timed) for s in spans] == [
        ("Over midnight.", 1, True),
        ("The clock can't be told.", 2, False),
    ]


def test_left_out_readings_are_told_once(scenario, make):
    """53 readings left out: 108 s of spikes, one each 2 s; a finding over them tells it all."""
    base = of_day(scenario.base, DISTURBED_DAY)
    begin = make.start + DAY
    (run,) = day_spans(base, Findings.empty(), begin=begin, end=begin + DAY)
    assert run.text == "base: 53 readings left out, spike."
    assert (run.start / HOUR, run.end / HOUR) == pytest.approx((15.5, 15.53), abs=0.002)
    told = findings_of(("base", begin + 15 * HOUR, begin + 16 * HOUR, "doubt", "Spikes."))
    assert [s.text for s in day_spans(base, told, begin=begin, end=begin + DAY)] == ["Spikes."]


def test_gaps_are_pauses_of_more_than_five_intervals(scenario, make):
    (gap,) = gaps_of(of_day(scenario.base, DISTURBED_DAY), begin=make.start + DAY)
    assert (gap.start / HOUR, gap.end / HOUR) == pytest.approx((14.6, 14.75), abs=0.001)


def test_a_gap_counts_only_while_no_base_records(make):
    """One base each second until 10:00, one each minute from 09:00 with a pause 11:00-11:30."""
    fast = base_of(make.start + np.arange(8 * HOUR, 10 * HOUR + 1))
    slow = np.concatenate([np.arange(9 * HOUR, 11 * HOUR + 1, 60), [11.5 * HOUR, 11.6 * HOUR]])
    both = pl.concat([fast.frame, base_of(make.start + slow, name="B 2").frame])
    gaps = gaps_of(BaseRecord(both), begin=make.start)
    assert [(g.start / HOUR, g.end / HOUR) for g in gaps] == [(11.0, 11.5), (11.5, 11.6)]


def test_a_field_day_across_midnight_utc_is_one_page(whole, look, make):
    """In UTC+10:00, 10 March begins at 14:00 UTC on the 9th; both dates are shown."""
    start = make.start + 20 * HOUR
    base = base_of(start + np.arange(0, 9 * HOUR, 60.0))
    lines = Lines(walks_of(start + HOUR, 6, minutes=60))
    find = findings_of(("base", start + 3 * HOUR, start + 5 * HOUR, "doubt", "Over midnight."))
    check = check_of(DISTURBED_DAY, lines, zone="UTC+10:00", verdict="keep")
    options = {"base": base, "lines": lines, "findings": find, "check": check, "minutes": None}
    figure = drawn(whole, zone="UTC+10:00", **options)
    look.readable(figure)
    words = set(words_of(figure, look))
    assert {"20:00\n9 Mar", "00:00\n10 Mar", "06:00", "local time", "UTC"} <= words
    assert {f"L{index}" for index in range(6)} <= words
    assert any("23:00–01:00 UTC: Over midnight." in word for word in words)
    with pytest.raises(InputError, match="no base reading"):
        drawn(whole, zone="UTC+10:00", **options, day="2026-03-11")


def test_local_time_stands_above_utc(whole, look):
    """Kathmandu is 5 h 45 min ahead of UTC (IANA time zone database)."""
    words = set(words_of(drawn(whole, zone="Asia/Kathmandu"), look))
    assert {"14:00", "19:45", "local time", "UTC"} <= words


def test_zones_are_named_or_given_as_an_offset():
    moment = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
    ahead = {
        name: moment.astimezone(field_zone(name)).utcoffset().total_seconds() / HOUR
        for name in ("UTC", "GPS", "", "UTC-03:30", "+10:00", "Asia/Kathmandu")
    }
    assert list(ahead.values()) == [0, 0, 0, -3.5, 10, 5.75]


def test_without_datum_the_median_of_the_day_is_taken_and_said(whole, look):
    figure = drawn(whole, day=QUIET_DAY, datum_nT=None, check=None, minutes=None)
    values = np.asarray(look.axes(figure, "curve").lines[0].get_ydata())
    assert np.nanmedian(values) == pytest.approx(0.0, abs=1e-6)
    assert any("median of the day" in word for word in words_of(figure, look))


def test_a_day_of_one_reading_draws_a_dot(whole, look, make):
    one = base_of([make.start + 14 * HOUR])
    nothing = {"lines": Lines.empty(), "findings": Findings.empty(), "check": None}
    figure = drawn(whole, base=one, day=QUIET_DAY, minutes=None, datum_nT=None, **nothing)
    look.readable(figure)
    dots = [line for line in look.axes(figure, "curve").lines if line.get_marker() == "."]
    assert [len(line.get_xdata()) for line in dots] == [1]


def test_a_day_of_a_reading_each_second_keeps_its_peak(whole, look, make):
    """One reading of 86,400 stands out by 70 nT; thinning for the page may not lose it."""
    field = np.full(86_400, make.datum)
    field[51_234] += 70
    base = base_of(make.start + DAY + np.arange(86_400.0), field=field)
    figure = drawn(whole, base=base)
    look.readable(figure)
    curve = look.axes(figure, "curve").lines[0]
    assert np.nanmax(curve.get_ydata()) == pytest.approx(70)
    assert len(curve.get_xdata()) < 10_000


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"day": "2026-03-20"}, "no base reading and no line on this day"),
        ({"day": "09/03/2026"}, "YYYY-MM-DD"),
        ({"zone": "Nowhere/Town"}, "Unknown time zone"),
    ],
)
def test_what_can_not_be_drawn_is_refused(whole, options, match):
    with pytest.raises(InputError, match=match):
        drawn(whole, **options)
