import numpy as np
import polars as pl
import pytest

from day_sample import (
    DAY,
    DISTURBED_DAY,
    HOUR,
    QUIET_DAY,
    activity,
    bars,
    base_of,
    check_of,
    drawn,
    rows_of,
    walks_of,
    words_of,
)
from lodewalk.figures.day_records import HATCHES, field_day
from lodewalk.records.products import BaseRecord, Findings, Lines


@pytest.mark.parametrize("zone", ["UTC", "America/Sao_Paulo", "UTC+05:45"])
def test_every_text_is_whole_and_apart(whole, look, zone):
    look.readable(drawn(whole, zone=zone))


def test_rows_stand_in_order_and_the_page_is_180_mm_wide(page):
    assert rows_of(page) == ["activity", "curve", "error", "minutes", "walks", "findings"]
    width, height = page.get_size_inches() * 25.4
    assert width == pytest.approx(180)
    assert height <= 225
    tops = [axes.get_position().y1 for axes in page.axes if axes.get_gid()]
    assert tops == sorted(tops, reverse=True)


def test_verdict_of_the_day_is_a_word_with_sign_and_reasons(page, look):
    words = words_of(page, look)
    assert "✗ re-walk" in words
    assert any(word.startswith("1 of 9 lines to walk again, 400 m; 1 of 9") for word in words)
    summary = " ".join(words)
    assert "Lines: 9, 3.6 km (7 keep, 1 doubt, 1 re-walk)." in summary
    assert "Minutes: 165 keep, 20 doubt, 40 re-walk, 15 unknown." in summary
    assert "a reading each 2 s was enough" in summary


def test_a_day_that_nobody_judged_says_so(whole, look):
    words = words_of(drawn(whole, check=None, minutes=None), look)
    assert "not judged" in words
    assert not any("re-walk" in word for word in words)


def test_activity_is_a_block_with_word_and_range(page, look):
    words = words_of(page, look)
    assert {"quiet", "9 nT", "storm", "340 nT"} <= set(words)


def test_k_is_shown_where_it_is_known(whole, look, make):
    blocks = activity(make.start + DAY + 12 * HOUR, [("quiet", 9.2), ("storm", 340.4)])
    blocks[1]["k"] = 8
    check = check_of(DISTURBED_DAY, Lines.empty(), activity=blocks)
    assert "K 8, storm" in words_of(drawn(whole, check=check), look)


def test_the_curve_is_less_its_datum_and_broken_at_the_gap(page, look):
    axes = look.axes(page, "curve")
    time, value = (np.asarray(array) for array in axes.lines[0].get_data())
    assert np.nanmedian(value) == pytest.approx(14.0, abs=1.0)  # amplitude of the invented day
    inside = (time > 14.61 * HOUR) & (time < 14.74 * HOUR)
    assert not inside.any()
    broken = np.flatnonzero(np.isnan(time))
    assert any(time[i - 1] < 14.61 * HOUR and time[i + 1] > 14.74 * HOUR for i in broken)


def test_a_left_out_spike_does_not_set_the_range(page, look):
    """The invented day reaches 45 nT; the spikes of 60 nT more are held inside the frame."""
    axes = look.axes(page, "curve")
    low, high = axes.get_ylim()
    (crosses,) = [line for line in axes.lines if line.get_marker() == "x"]
    held = np.asarray(crosses.get_ydata())
    assert high < 80
    assert held.size > 1
    assert (held < high).all()
    assert (held > low).all()


def test_a_second_base_is_lowered_to_the_first_and_named(whole, look, make):
    """Both bases see one field, 30 nT apart, so their curves lie on each other."""
    times = make.start + DAY + np.arange(13.5 * HOUR, 17.5 * HOUR, 60.0)
    change = 10 * np.sin(times / 3000)
    first = base_of(times, field=make.datum + change)
    second = base_of(times + 30, name="B 2", field=make.datum + 30 + 10 * np.sin(times / 3000))
    both = BaseRecord(pl.concat([first.frame, second.frame]))
    figure = drawn(whole, base=both)
    curves = [line for line in look.axes(figure, "curve").lines if len(line.get_xdata()) > 9]
    for curve in curves:
        assert np.nanmin(curve.get_ydata()) == pytest.approx(-10, abs=0.2)
        assert np.nanmax(curve.get_ydata()) == pytest.approx(10, abs=0.2)
    assert len({curve.get_linestyle() for curve in curves}) == 2
    assert {"base", "B 2, lowered by 30.0 nT"} <= set(words_of(figure, look))
    look.readable(figure)


def test_error_is_drawn_minute_by_minute_with_its_tolerance(page, look):
    """Largest error 14 nT, from 15:30 to 16:10; the minutes without an error are left out."""
    axes = look.axes(page, "error")
    assert axes.get_yscale() == "log"
    curves = [line for line in axes.lines if len(line.get_xdata()) > 2]
    time = np.concatenate([np.asarray(line.get_xdata()) for line in curves]) / HOUR
    size = np.concatenate([np.asarray(line.get_ydata()) for line in curves])
    high = time[size > 13]
    assert (high.min(), high.max()) == pytest.approx((15.5, 16 + 9 / 60), abs=1e-6)
    drawn_there = size[(time > 16.19) & (time < 16.41)]
    assert not np.isfinite(drawn_there).any()
    assert "tolerance 2 nT" in words_of(axes.figure, look)


def test_band_has_each_run_in_its_own_colour_and_hatch(page, look):
    axes = look.axes(page, "minutes")
    start = 13.5
    assert bars(axes, "doubt") == [pytest.approx((start + 100 / 60, start + 2))]
    assert bars(axes, "re-walk") == [pytest.approx((start + 2, start + 160 / 60))]
    assert bars(axes, "unknown") == [pytest.approx((start + 160 / 60, start + 175 / 60))]
    kept = bars(axes, "keep")
    assert kept[0] == pytest.approx((start, start + 100 / 60))
    assert kept[1] == pytest.approx((start + 175 / 60, start + 4))
    assert len({HATCHES.get(word) for word in ("keep", "doubt", "re-walk", "unknown")}) == 4


def test_missing_parts_leave_their_rows_out(whole, look, make):
    figure = drawn(whole, check=None, minutes=None, lines=Lines.empty(), findings=Findings.empty())
    assert rows_of(figure) == ["curve", "findings"]  # the left-out spike is told
    bare = base_of(make.start + np.arange(14 * HOUR, 15 * HOUR, 2.0))
    nothing = {"check": None, "minutes": None, "findings": Findings.empty(), "day": QUIET_DAY}
    assert rows_of(drawn(whole, base=bare, lines=Lines.empty(), **nothing)) == ["curve"]
    no_base = drawn(whole, base=BaseRecord.empty(), **nothing)
    assert rows_of(no_base) == ["walks"]
    assert any("No base record" in word for word in words_of(no_base, look))
    look.readable(no_base)


def test_lines_are_bars_with_their_verdict_and_name(page, look, scenario):
    """The lines of the invented day start every 800 s from 14:00."""
    axes = look.axes(page, "walks")
    (again,), (doubt,) = bars(axes, "re-walk"), bars(axes, "doubt")
    first = 14 + 3 * 800 / HOUR  # L1300 is the fourth line of the day, L1325 the fifth
    assert again == pytest.approx((first, first + 363 / HOUR), abs=1e-6)
    assert doubt[0] == pytest.approx(first + 800 / HOUR, abs=1e-6)
    assert len(bars(axes, "keep")) == 7
    words = set(words_of(page, look))
    assert {"L1225", "L1300", "L1425"} <= words
    assert "L1000" not in words


def test_each_passage_of_a_line_has_its_own_verdict(whole, make):
    start = make.start + DAY + 14 * HOUR
    twice = Lines(pl.concat([walks_of(start, 1), walks_of(start + HOUR, 1)]))
    check = check_of(DISTURBED_DAY, twice)
    check["days"][0]["lines"][1]["verdict"] = "re-walk"
    day = field_day(
        whole["base"],
        twice,
        Findings.empty(),
        minutes=None,
        check=check,
        day=DISTURBED_DAY,
        zone="UTC",
    )
    assert [walk.verdict for walk in day.walks] == ["keep", "re-walk"]


def test_forty_lines_by_three_rovers_are_all_named(whole, look, make):
    start = make.start + DAY + 14 * HOUR
    parts = [
        walks_of(start, count, rover=f"rover {r}", name=f"L{r}{{:02d}}", minutes=13)
        for r, count in enumerate((14, 13, 13))
    ]
    figure = drawn(whole, lines=Lines(pl.concat(parts)), check=None)
    look.readable(figure)
    names = {name for part in parts for name in part["line"]}
    assert len(names) == 40
    assert names <= set(words_of(figure, look))
    assert rows_of(figure).count("walks") == 3


def test_short_lines_keep_the_names_of_the_gravest(whole, look, make):
    """A hundred lines of one minute: no room for all names, those to walk again have theirs."""
    lines = Lines(walks_of(make.start + DAY + 14 * HOUR, 100, minutes=1.0))
    grave = {"L7": "re-walk", "L50": "re-walk", "L99": "doubt"}
    figure = drawn(whole, lines=lines, check=check_of(DISTURBED_DAY, lines, verdicts=grave))
    words = words_of(figure, look)
    assert set(grave) <= set(words)
    named = sum(word in set(lines.strings("line")) for word in words)
    label = " ".join(word.replace("\n", " ") for word in words if word.startswith("Lines, rover"))
    assert label == f"Lines, rover 1 ({100 - named} not named)"
    look.readable(figure)


def test_very_long_names_are_shortened_so_that_they_differ(whole, look, make):
    name = "north slope of the very long ridge, line {:02d}"
    lines = Lines(walks_of(make.start + DAY + 14 * HOUR, 12, name=name, rover="rover " * 20))
    base = base_of(make.start + DAY + np.arange(13 * HOUR, 17 * HOUR, 60), name="base " * 20)
    check = check_of(DISTURBED_DAY, lines, reasons=["a reason that goes on " * 30])
    figure = drawn(whole, lines=lines, base=base, check=check)
    look.readable(figure)
    shown = sorted(word for word in words_of(figure, look) if word.startswith("nor…"))
    assert [word[-2:] for word in shown] == [f"{number:02d}" for number in range(12)]
