import datetime as dt

import numpy as np
import polars as pl
import pytest
from matplotlib.colors import to_hex

from lodewalk.errors import InputError
from lodewalk.figures.day import draw_day
from lodewalk.figures.day_records import HATCHES, field_day, field_zone
from lodewalk.figures.spans import day_spans, gaps_of
from lodewalk.figures.style import MARKS
from lodewalk.records.document import Document
from lodewalk.records.products import BaseRecord, Findings, Lines, Minutes
from lodewalk.records.table import utc_column

QUIET_DAY, DISTURBED_DAY = "2026-03-09", "2026-03-10"
HOUR, DAY = 3600.0, 86_400.0


def of_day(base, day):
    return BaseRecord(base.frame.filter(pl.col("time_utc").dt.strftime("%Y-%m-%d") == day))


def base_of(times, *, name="base", level=22_904.0, field=None):
    """Return a base record of a level, or of given values."""
    times = np.asarray(times, dtype=float)
    return BaseRecord(
        pl.DataFrame(
            {
                "time_utc": utc_column(times),
                "instrument": [name] * times.size,
                "raw_nT": np.full(times.size, level) if field is None else field,
                "kept": [True] * times.size,
                "reason": pl.Series([None] * times.size, dtype=pl.String),
                "departure_nT": pl.Series([None] * times.size, dtype=pl.Float64),
            }
        )
    )


def minutes_of(start, verdicts, worst, *, name="base"):
    """Return minutes that follow each other."""
    return Minutes(
        pl.DataFrame(
            {
                "instrument": [name] * len(verdicts),
                "start_utc": utc_column(start + 60.0 * np.arange(len(verdicts))),
                "sd_nT": pl.Series([None] * len(verdicts), dtype=pl.Float64),
                "worst_nT": pl.Series(list(worst), dtype=pl.Float64),
                "chance": pl.Series([None] * len(verdicts), dtype=pl.Float64),
                "verdict": list(verdicts),
            }
        )
    )


def walks_of(start, count, *, rover="rover 1", name="L{}", minutes=8.0):
    """Return lines walked one after the other."""
    begin = start + 60.0 * minutes * np.arange(count)
    return pl.DataFrame(
        {
            "line": [name.format(index) for index in range(count)],
            "instrument": [rover] * count,
            "day": [f"{dt.datetime.fromtimestamp(s, dt.UTC):%Y-%m-%d}" for s in begin],
            "start_utc": utc_column(begin),
            "end_utc": utc_column(begin + 60.0 * minutes - 20.0),
            "readings": [400] * count,
            "kept": [400] * count,
            "length_m": [400.0] * count,
            "azimuth_deg": [0.0] * count,
            "noise_nT": [0.3] * count,
            "tie": [False] * count,
        }
    )


def findings_of(*rows):
    """Return findings from (instrument, start, end, severity, text)."""
    names, starts, ends, severities, texts = zip(*rows, strict=True)
    count = len(rows)
    return Findings(
        pl.DataFrame(
            {
                "kind": ["invented"] * count,
                "instrument": pl.Series(names, dtype=pl.String),
                "start_utc": utc_column(np.array(starts, dtype=float)),
                "end_utc": utc_column(np.array(ends, dtype=float)),
                "severity": list(severities),
                "text": list(texts),
                "check": ["invented"] * count,
                "file": pl.Series([None] * count, dtype=pl.String),
                "line_in_file": pl.Series([None] * count, dtype=pl.Int64),
            }
        )
    )


def check_of(day, lines, *, verdicts=None, activity=(), zone="UTC", tolerance=2.0, **keys):
    """Return the result of a check on one day; `verdicts` holds those of the lines by name."""
    told = [
        {
            "line": row["line"],
            "instrument": row["instrument"],
            "start_utc": f"{row['start_utc']:%Y-%m-%dT%H:%M:%S}.000Z",
            "verdict": (verdicts or {}).get(row["line"], "keep"),
            "reasons": [],
            "length_m": 400.0,
        }
        for row in lines.frame.iter_rows(named=True)
    ]
    interval = {
        "instrument": "base",
        "interval_s": 2.0,
        "answer": "enough",
        "error_95_nT": 0.4,
        "tolerance_nT": tolerance,
        "longest_s": 5.0,
    }
    base = {
        "range_nT": 61.4,
        "worst_chord_nT": 5.1,
        "activity": list(activity),
        "intervals": [interval],
    }
    entry = {"date": day, "zone": zone, "verdict": "doubt", "reasons": [], "base": base}
    return Document({"days": [entry | {"lines": told, "minutes": {}} | keys]})


def activity(start, words):
    """Return 3-hour intervals with the words of their activity."""
    return [
        {
            "start_utc": f"{dt.datetime.fromtimestamp(start + 3 * HOUR * n, dt.UTC):%FT%H:%M:%SZ}",
            "activity": word,
            "range_nT": size,
        }
        for n, (word, size) in enumerate(words)
    ]


@pytest.fixture(scope="module")
def whole(scenario, make):
    """Return all arguments of the page of the disturbed day."""
    start = make.start + DAY
    lines = Lines(scenario.lines.frame.filter(pl.col("day") == DISTURBED_DAY))
    verdicts = ["keep"] * 100 + ["doubt"] * 20 + ["re-walk"] * 40 + ["unknown"] * 15 + ["keep"] * 65
    worst = [0.4] * 100 + [1.9] * 20 + [14.0] * 40 + [None] * 15 + [0.6] * 65
    return {
        "base": scenario.base,
        "lines": scenario.lines,
        "findings": scenario.findings,
        "minutes": minutes_of(start + 13.5 * HOUR, verdicts, worst),
        "check": check_of(
            DISTURBED_DAY,
            lines,
            verdicts={"L1300": "re-walk", "L1325": "doubt"},
            activity=activity(start + 12 * HOUR, [("quiet", 9.2), ("storm", 340.4)]),
            verdict="re-walk",
            reasons=["1 of 9 lines to walk again, 400 m", "1 of 9 lines in doubt, 400 m"],
        ),
        "day": DISTURBED_DAY,
        "datum_nT": make.datum,
        "zone": "UTC",
    }


@pytest.fixture(scope="module")
def page(whole):
    """Return the page of the disturbed day."""
    return drawn(whole)


def drawn(whole, **options):
    choice = whole | options
    return draw_day(choice.pop("base"), choice.pop("lines"), choice.pop("findings"), **choice)


def words_of(figure, look):
    return [text.get_text() for text, _ in look.texts(figure)]


def rows_of(figure):
    return [axes.get_gid() for axes in figure.axes if axes.get_gid()]


def bars(axes, verdict):
    """Return (begin, end) in hours of the bars that have colour and hatch of a verdict."""
    mark = MARKS.get(verdict)
    tint = mark.tint if mark else "#ffffff"
    found = []
    for patch in axes.collections:
        if to_hex(patch.get_facecolor()[0]) == tint and patch.get_hatch() == HATCHES.get(verdict):
            found += [path.vertices[:, 0] for path in patch.get_paths()]
    return sorted((x.min() / HOUR, x.max() / HOUR) for x in found)


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
