"""Tables of the report, taken from the records."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.figures.style import number
from lodewalk.handover.content import (
    Day,
    ErrorTerm,
    Fact,
    Finding,
    LineRow,
    Spread,
)
from lodewalk.handover.words import CORRECTIONS, DATUM, ERROR_TERMS, SITE
from lodewalk.records.document import Document
from lodewalk.records.products import BaseRecord, Findings, Lines, Readings

SEVERITIES = ("loss", "doubt", "information")
#: Activity is told for intervals of this length, those of the K index.
ACTIVITY_INTERVAL = dt.timedelta(hours=3)
#: Starts this close are one: the check tells them in whole milliseconds, cut off or rounded.
SAME_START = dt.timedelta(milliseconds=1)

Floats = NDArray[np.float64]


def spread_of(name: str, text: str, values: Floats, *, used: bool = True) -> Spread:
    """Return least, median, greatest, root mean square and standard deviation of known values."""
    known = values[np.isfinite(values)]
    if known.size == 0:
        return Spread(name, text, used=False)
    return Spread(
        name,
        text,
        used,
        count=int(known.size),
        least=float(known.min()),
        median=float(np.median(known)),
        most=float(known.max()),
        rms=float(np.sqrt(np.mean(known**2))),
        sd=float(known.std()),
    )


def used_rows(readings: Readings) -> NDArray[np.bool_]:
    """Return which readings are kept and have an anomaly."""
    return readings.booleans("kept") & np.isfinite(readings.floats("anomaly_nT"))


def correction_sizes(readings: Readings) -> tuple[Spread, ...]:
    """Return the size of each correction over the readings used; one that is all 0 is not used."""
    rows = used_rows(readings)
    sizes = []
    for name, column, text in CORRECTIONS:
        values = readings.floats(column)[rows]
        sizes.append(spread_of(name, text, values, used=bool(np.any(np.nan_to_num(values)))))
    return tuple(sizes)


def correction_words(findings: Findings) -> tuple[str, ...]:
    """Return what corrections that may cost geology took off, in plain sentences."""
    rows = zip(findings.strings("kind"), findings.strings("text"), strict=True)
    return tuple(text or "" for kind, text in rows if kind == "micro-levelling")


def stages(readings: Readings) -> tuple[Spread, ...]:
    """Return the spread of the field as each correction comes off, over the readings used."""
    rows = used_rows(readings)
    field = readings.floats("raw_nT")[rows]
    result = [spread_of("As recorded", "total field", field)]
    for name, column, _ in CORRECTIONS:
        values = readings.floats(column)[rows]
        if np.any(np.nan_to_num(values)):
            field = field - values
            result.append(spread_of(f"Less {name.lower()}", "", field))
    result.append(spread_of("Anomaly", "as mapped", readings.floats("anomaly_nT")[rows]))
    return tuple(result)


def error_terms(readings: Readings) -> tuple[ErrorTerm, ...]:
    """Return the terms of the error budget over the readings used; one that is all 0 is open."""
    rows = used_rows(readings)
    terms = []
    columns = (*ERROR_TERMS, ("Together", "sd_nT", "root of the sum of squares"))
    for name, column, text in columns:
        values = readings.floats(column)[rows]
        known = values[np.isfinite(values)]
        if known.size and np.any(known):
            middle, high = (float(v) for v in np.percentile(known, [50, 95]))
            terms.append(ErrorTerm(name, text, estimated=True, median=middle, high=high))
        else:
            terms.append(ErrorTerm(name, text, estimated=False))
    return tuple(terms)


def dropped_reasons(readings: Readings) -> tuple[Fact, ...]:
    """Return why readings are not used, the most frequent first."""
    unused = np.flatnonzero(~used_rows(readings))
    reasons = readings.strings("reason")
    texts = [reasons[row] or "no reason given" for row in unused]
    names, counts = np.unique(np.array(texts, dtype=str), return_counts=True)
    order = np.argsort(-counts, kind="stable")
    return tuple(Fact(str(names[i]), str(counts[i])) for i in order)


def site_facts(site: Document) -> tuple[Fact, ...]:
    """Return the site's values with labels, units and help; unknown ones as they are named."""
    known = {key for key, *_ in SITE}
    facts = [
        Fact(label, _valued(site[key], unit, decimals), text)
        for key, label, unit, decimals, text in SITE
        if site.values.get(key) is not None
    ]
    others = sorted(set(site.values) - known)
    return (*facts, *(Fact(key, str(site[key])) for key in others if site[key] is not None))


def _valued(value: Any, unit: str, decimals: int) -> str:
    """Return a value of the site as text with its unit."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    space = "" if unit in ("", "°") else " "
    return f"{number(value, decimals)}{space}{unit}"


def datum_facts(datum: Document) -> tuple[Fact, ...]:
    """Return the datum, what it rests on, and then what else its record says."""
    plain = {
        key: value
        for key, value in sorted(datum.values.items())
        if value is not None and not isinstance(value, dict | list)
    }
    named = [Fact(label, _of_datum(key, plain[key])) for key, label in DATUM if key in plain]
    known = {key for key, _ in DATUM}
    return (*named, *(_named(key, plain[key]) for key in plain if key not in known))


def _of_datum(key: str, value: Any) -> str:
    """Return a value of the datum's record as text."""
    if key.endswith("_nT"):
        return f"{number(value, 1)} nT"
    if key.endswith("_utc"):
        return f"{dt.datetime.fromisoformat(value):%Y-%m-%d %H:%M:%S} UTC"
    return str(value)


def _named(key: str, value: Any) -> Fact:
    """Turn a key that ends in a unit into a label and a value with that unit."""
    stem, _, unit = key.rpartition("_")
    if unit in ("nT", "m", "s") and isinstance(value, int | float):
        return Fact(_label(stem), f"{number(value, 2)} {unit}")
    if unit == "utc":
        return Fact(f"{_label(stem)}, UTC", str(value))
    return Fact(_label(key), str(value))


def _label(stem: str) -> str:
    """Return words with a capital from a name with underscores."""
    words = stem.replace("_", " ")
    return words[:1].upper() + words[1:]


def days_of(
    check: Document | None, *, lines: Lines | None, base: BaseRecord | None
) -> tuple[Day, ...]:
    """Return the days as judged; days that nobody judged have an empty verdict."""
    if check is not None and check.values.get("days"):
        return tuple(_judged(entry) for entry in check["days"])
    dates: set[str] = set()
    if lines is not None:
        dates |= {day for day in lines.strings("day") if day}
    if base is not None:
        dates |= set(base.frame["time_utc"].dt.strftime("%Y-%m-%d").to_list())
    return tuple(Day(date, "") for date in sorted(dates))


def _judged(entry: Mapping[str, Any]) -> Day:
    """Return one day from its entry in the result of the check."""
    base = entry.get("base") or {}
    return Day(
        date=str(entry["date"]),
        verdict=str(entry.get("verdict") or ""),
        reasons=tuple(str(reason) for reason in entry.get("reasons") or []),
        range_nT=base.get("range_nT"),
        worst_chord_nT=base.get("worst_chord_nT"),
        activity=_activity(base.get("activity") or []),
    )


def _activity(intervals: Sequence[Mapping[str, Any]]) -> str:
    """Return the activity of a day in words; neighbouring intervals of one word are joined."""
    spans: list[tuple[str, dt.datetime, dt.datetime]] = []
    for item in intervals:
        word, start = str(item["activity"]), dt.datetime.fromisoformat(item["start_utc"])
        first = start
        if spans and spans[-1][0] == word and spans[-1][2] == start:
            first = spans.pop()[1]
        spans.append((word, first, start + ACTIVITY_INTERVAL))
    known = [
        f"{word} {first:%H}-{_hour_of_end(last)} h"
        for word, first, last in spans
        if word != "unknown"
    ]
    return ", ".join(known) or ("unknown" if spans else "")


def _hour_of_end(moment: dt.datetime) -> str:
    """Return the hour of the end of a span, 24 at midnight."""
    return f"{moment.hour or 24:02d}"


def line_rows(lines: Lines, check: Document | None) -> tuple[LineRow, ...]:
    """Return the lines as walked, in order of time, with their verdicts."""
    judged = [
        entry | {"date": str(day["date"])}
        for day in ((check.values.get("days") or []) if check else [])
        for entry in day.get("lines") or []
    ]
    rows = []
    for row in lines.frame.sort("start_utc", "line", nulls_last=True).iter_rows(named=True):
        told = (entry for entry in judged if _is_of(entry, row))
        verdict: Mapping[str, Any] = next(told, {})
        rows.append(
            LineRow(
                **{
                    name: row[name]
                    for name in (
                        "line",
                        "instrument",
                        "day",
                        "readings",
                        "kept",
                        "length_m",
                        "azimuth_deg",
                        "noise_nT",
                        "tie",
                    )
                },
                start=_clock(row["start_utc"]),
                end=_clock(row["end_utc"]),
                verdict=str(verdict.get("verdict") or ""),
                reasons=tuple(str(reason) for reason in verdict.get("reasons") or []),
                noise_over_share=verdict.get("noise_over_share"),
            )
        )
    return tuple(rows)


def _is_of(entry: Mapping[str, Any], row: Mapping[str, Any]) -> bool:
    """Whether the check tells this of a passage; a key that it leaves out fits every passage.

    A start tells more than the date: field days follow the survey's own zone, lines UTC.
    """
    if entry["line"] != row["line"] or entry.get("instrument") not in (None, row["instrument"]):
        return False
    start = entry.get("start_utc")
    if start is None:
        return bool(entry["date"] == row["day"])
    return bool(abs(dt.datetime.fromisoformat(start) - row["start_utc"]) <= SAME_START)


def finding_rows(findings: Findings, *, most: int) -> tuple[Finding, ...]:
    """Return the gravest findings first, in order of time within a severity."""
    rows = findings.frame.sort("start_utc", "kind", nulls_last=True).to_dicts()
    rank = {severity: index for index, severity in enumerate(SEVERITIES)}
    rows.sort(key=lambda row: rank.get(row["severity"], len(SEVERITIES)))
    return tuple(_finding(row) for row in rows[:most])


def _finding(row: Mapping[str, Any]) -> Finding:
    """Return one finding with its span and place as text."""
    place = row["file"] or ""
    if row["line_in_file"] is not None:
        place += f"{', ' if place else ''}line {row['line_in_file']}"
    return Finding(
        severity=row["severity"],
        kind=row["kind"],
        text=row["text"],
        instrument=row["instrument"] or "",
        span=_span(row["start_utc"], row["end_utc"]),
        place=place,
    )


def _span(start: dt.datetime | None, end: dt.datetime | None) -> str:
    """Return a span of time as text, the date once."""
    if start is None:
        return "" if end is None else f"to {end:%Y-%m-%d %H:%M:%S}"
    first = f"{start:%Y-%m-%d %H:%M:%S}"
    if end is None or end == start:
        return first
    return (
        f"{first} to {end:%H:%M:%S}"
        if end.date() == start.date()
        else (f"{first} to {end:%Y-%m-%d %H:%M:%S}")
    )


def _clock(moment: dt.datetime | None) -> str:
    """Return the time of day, HH:MM."""
    return "" if moment is None else f"{moment:%H:%M}"


def level_words(datum: Document | None, site: Document | None) -> tuple[str, ...]:
    """Return what the absolute level of the anomaly rests on, in plain sentences."""
    words = []
    if datum is None or datum.values.get("datum_nT") is None:
        words.append("No datum has been set, so no anomaly has an absolute level.")
    else:
        words.append(
            f"The level rests on one value, the datum of {number(datum['datum_nT'], 1)} nT, which "
            "stands for the field at the base with no change in time. Another datum would move "
            "the whole map up or down by one constant; shapes and differences would stay."
        )
    model = (site.values.get("model") if site else None) or "the reference field"
    # The WMM2025 technical report states 138 nT for the total field, one standard deviation.
    words.append(
        f"The anomaly is counted from {model}. A global model leaves out the rocks of the crust "
        "and may differ from the true main field by the order of 100 nT, so a mean anomaly away "
        "from zero has no meaning by itself. Compare differences within the map."
    )
    return tuple(words)


#: What the level of a base or rover rests on, in words.
RESTS_ON = {
    "it is the datum": "the others are compared with it",
    "ties": "found from its ties with the others, and taken off",
    "site tie": "the site tie that was set, used as it is",
    "nothing": "not tied: a step in the map is possible",
}


def level_facts(
    bases: Document | None, rovers: Document | None, joined: Document | None
) -> tuple[Fact, ...]:
    """Return the level of each base, rover and older survey; nothing where there is one of each.

    Examples
    --------
    >>> rows = [{"node": n, "level_nT": v, "sd_nT": 0.1, "rests_on": "ties"}
    ...         for n, v in (("B1", 0.0), ("B2", 37.5))]
    >>> level_facts(Document({"nodes": rows}), None, None)[1].value
    '+37.5 nT, sd 0.10 nT'
    """
    facts: list[Fact] = []
    for document, what in ((bases, "Base"), (rovers, "Rover")):
        nodes = document["nodes"] if document is not None else []
        for row in nodes if len(nodes) > 1 else ():
            unknown = row["rests_on"] == "nothing"
            value = "unknown" if unknown else _level(row["level_nT"], row["sd_nT"])
            facts.append(Fact(f"{what} {row['node']}", value, RESTS_ON[row["rests_on"]]))
    for row in joined["surveys"] if joined is not None else []:
        told = row["offset_nT"] is not None
        value = _level(row["offset_nT"], row["sd_nT"]) if told else "unknown"
        text = f"misfit after that {number(row['misfit_nT'], 1)} nT" if told else "not joined"
        facts.append(Fact(f"Older survey {row['name']}", value, text))
    return tuple(facts)


def _level(level_nT: float, sd_nT: float) -> str:
    """Return a level with its error for print."""
    sign = "" if level_nT <= 0 else "+"
    return f"{sign}{number(level_nT, 1)} nT, sd {number(sd_nT, 2)} nT"


def total_km(rows: Sequence[LineRow]) -> float:
    """Return the length of all lines walked [km]."""
    return sum(row.length_m or 0.0 for row in rows) / 1000
