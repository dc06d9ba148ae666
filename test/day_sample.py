"""A day page for tests: its records, and what is found on the drawn page."""

import datetime as dt

import numpy as np
import polars as pl
from matplotlib.colors import to_hex

from lodewalk.figures.day import draw_day
from lodewalk.figures.day_records import HATCHES
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


def whole_page(scenario, make):
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
