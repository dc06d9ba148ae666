"""Culture: events in the rover's readings that are no rock, or may be none, by probable cause."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_projected
from lodewalk.methods.checks.culture import (
    NOTE_WORDS,
    Notes,
    RoverEvents,
    classify_rover,
    noise_envelope,
)
from lodewalk.records import Document, Record
from lodewalk.records.products import Culture
from lodewalk.records.table import float_column, utc_column
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList
from lodewalk.steps.rows import (
    at_distinct_times,
    document,
    in_time_order,
    passage_of_readings,
    table,
)

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: Most events of one cause that are told one by one.
MANY = 10
#: A line is told when its noise envelope is above the tolerance on more than this share of it.
OVER_SHARE = 0.1
#: Told reading by reading by the first checks.
TOLD = ("isolated spike", "dropout")
FENCE = "fence or power line"
#: Causes that spoil readings: a person has to look at them.
SPOILS = ("loss of lock", "dead zone", "mains beating")


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the events with their probable causes, and the findings."""
    del context
    found = FindingList("culture")
    seconds = table(inputs, "rover_times").seconds("time_utc")
    rows, number, names = _usable(inputs, seconds)
    noise = _line_noise(inputs, rows, settings["tolerances.noise_nT"])
    _tell_noise(found, noise, settings["tolerances.noise_nT"])
    record = Document({"lines": noise})
    if rows.size < 10:
        return {
            "rover_culture": Culture.empty(),
            "line_noise": record,
            "culture_findings": found.table(),
        }
    passage = passage_of_readings(inputs)[rows]
    recorded, positions = table(inputs, "rover_recorded"), table(inputs, "rover_positions")
    events = classify_rover(
        seconds[rows],
        recorded.floats("raw_nT")[rows],
        passage,
        easting_m=positions.floats("easting_m")[rows],
        northing_m=positions.floats("northing_m")[rows],
        sensor_height_m=np.maximum(positions.floats("height_above_ground_m")[rows], 0.1),
        quality=recorded.floats("quality")[rows] if recorded.has("quality") else None,
        instrument=number,
        notes=_notes(inputs, settings["survey.crs"]),
    )
    culture = _table(inputs, events, rows, number, names)
    _tell_features(found, events, culture)
    _tell_others(found, culture)
    return {"rover_culture": culture, "line_noise": record, "culture_findings": found.table()}


def _line_noise(
    inputs: Mapping[str, Record], rows: Rows, tolerance_nT: float
) -> list[dict[str, Any]]:
    """Return the noise envelope of each passage, in the order of the table of lines."""
    lines = table(inputs, "lines")
    seconds = table(inputs, "rover_times").seconds("time_utc")
    envelope = noise_envelope(
        table(inputs, "rover_recorded").floats("raw_nT")[rows],
        passage_of_readings(inputs)[rows],
        time_s=seconds[rows],
        tolerance_nT=tolerance_nT,
    )
    place = {int(number): at for at, number in enumerate(envelope.line)}
    told = []
    for number, row in enumerate(lines.frame.iter_rows(named=True)):
        at = place.get(number)
        known = at is not None and bool(np.isfinite(envelope.peak_nT[at]))
        told.append(
            {
                "line": row["line"],
                "instrument": row["instrument"],
                "usual_nT": round(float(envelope.usual_nT[at]), 3) if known else None,
                "peak_nT": round(float(envelope.peak_nT[at]), 3) if known else None,
                "share_over": round(float(envelope.share_over[at]), 4) if known else None,
            }
        )
    return told


def _tell_noise(found: FindingList, noise: list[dict[str, Any]], tolerance_nT: float) -> None:
    """Tell the lines whose noise envelope lies above the tolerance on more than a little."""
    for name in sorted({row["instrument"] for row in noise}):
        own = [row for row in noise if row["instrument"] == name]
        over = [row for row in own if (row["share_over"] or 0.0) > OVER_SHARE]
        if over:
            worst = sorted(over, key=lambda row: -row["share_over"])[:MANY]
            parts = [
                f"{r['line']} {r['share_over']:.0%}, up to {r['peak_nT']:.1f} nT" for r in worst
            ]
            found.add(
                "noise envelope",
                f"{name}: above {tolerance_nT:g} nT on more than {OVER_SHARE:.0%} of "
                f"{len(over)} of {len(own)} lines: {'; '.join(parts)}. Over rock close to the "
                "surface this is an upper limit of the noise.",
                instrument=name,
            )


def _usable(inputs: Mapping[str, Record], seconds: Floats) -> tuple[Rows, Rows, list[str]]:
    """Return the rows to judge, the number of the instrument of each, and their names.

    What the first checks dropped is left out; it is told there.
    """
    kept = table(inputs, "rover_checks").booleans("kept")
    parts, numbers = [], []
    names: list[str] = []
    for name, own in in_time_order(document(inputs, "rover_files"), seconds):
        good = at_distinct_times(own[kept[own]], seconds)
        parts.append(good)
        numbers.append(np.full(good.size, len(names)))
        names.append(name)
    nothing = np.zeros(0, dtype=np.int64)
    return np.concatenate([nothing, *parts]), np.concatenate([nothing, *numbers]), names


def _notes(inputs: Mapping[str, Record], crs: str) -> Notes | None:
    """Return the field notes that speak of culture."""
    notes = table(inputs, "notes_recorded")
    easting, northing = to_projected(
        notes.floats("longitude_deg"), notes.floats("latitude_deg"), crs=crs
    )
    said = [
        next((word for word in NOTE_WORDS if word in f"{name} {text}".casefold()), "")
        for name, text in zip(notes.strings("name"), notes.strings("text"), strict=True)
    ]
    here = [place for place, word in enumerate(said) if word]
    if not here:
        return None
    seconds = table(inputs, "notes_times").seconds("time_utc")
    words = [said[place] for place in here]
    return Notes(words, easting[here], northing[here], seconds[here])


def _table(
    inputs: Mapping[str, Record], events: RoverEvents, rows: Rows, number: Rows, names: list[str]
) -> Culture:
    """Return the events as their table; spikes and dropouts stand with the first checks."""
    at = np.flatnonzero(~np.isin(events.cause, TOLD))
    seconds = table(inputs, "rover_times").seconds("time_utc")[rows]
    positions = table(inputs, "rover_positions")
    lines = table(inputs, "rover_lines").strings("line")
    peak = events.row[at]
    return Culture(
        pl.DataFrame(
            {
                "cause": pl.Series(events.cause[at].tolist(), dtype=pl.String),
                "instrument": pl.Series([names[n] for n in number[peak]], dtype=pl.String),
                "line": pl.Series([lines[row] for row in rows[peak]], dtype=pl.String),
                "start_utc": utc_column(seconds[events.first[at]]),
                "end_utc": utc_column(seconds[events.last[at]]),
                "easting_m": float_column(positions.floats("easting_m")[rows[peak]]),
                "northing_m": float_column(positions.floats("northing_m")[rows[peak]]),
                "peak_nT": float_column(events.peak_nT[at]),
                "width_m": float_column(events.width_m[at]),
                "probability": float_column(events.probability[at]),
                "feature": events.feature[at].astype(np.int64),
                "note": pl.Series(events.note[at].tolist(), dtype=pl.String),
            }
        )
    )


def _tell_features(found: FindingList, events: RoverEvents, culture: Culture) -> None:
    """Tell each fence or power line once, with the lines on which it shows."""
    features = events.features
    for place in range(features.lines.size):
        own = culture.frame.filter(pl.col("feature") == place)
        if not own.height:
            continue
        ends = [
            f"{getattr(features, f'{end}_easting_m')[place]:.0f} E "
            f"{getattr(features, f'{end}_northing_m')[place]:.0f} N"
            for end in ("start", "end")
        ]
        words = [word for word in own["note"].unique().sort().to_list() if word]
        noted = f"; the notes say {', '.join(words)}" if words else ""
        for name in sorted(set(own["instrument"].to_list())):
            part = own.filter(pl.col("instrument") == name)
            times = part.select(pl.col("start_utc").min(), pl.col("end_utc").max()).row(0)
            peak = float(np.nanmax(np.abs(part["peak_nT"].to_numpy())))
            found.add(
                FENCE,
                f"{name}: probably a fence, wire or pipe on {features.lines[place]} lines from "
                f"{ends[0]} to {ends[1]}, up to {peak:.0f} nT{noted}.",
                instrument=name,
                start_s=times[0].timestamp(),
                end_s=times[1].timestamp(),
            )


def _tell_others(found: FindingList, culture: Culture) -> None:
    """Tell the events that belong to no line, the strongest of each cause one by one."""
    alone = culture.frame.filter(pl.col("feature") < 0)
    for cause in alone["cause"].unique().sort().to_list():
        part = alone.filter(pl.col("cause") == cause)
        strongest = part.sort(pl.col("peak_nT").abs(), descending=True, nulls_last=True)
        for row in strongest.head(MANY).sort("start_utc").iter_rows(named=True):
            found.add(
                cause,
                f"{row['instrument']}: {_words(row)}"
                f"{f', one of {part.height}' if part.height > MANY else ''}.",
                severity="doubt" if cause in SPOILS else "information",
                instrument=row["instrument"],
                start_s=row["start_utc"].timestamp(),
                end_s=row["end_utc"].timestamp(),
            )


def _words(row: Mapping[str, Any]) -> str:
    """Return one event in words."""
    where = f" on line {row['line']}" if row["line"] else ""
    size = "" if row["peak_nT"] is None else f", {row['peak_nT']:+.0f} nT"
    width = "" if row["width_m"] is None else f", {row['width_m']:.1f} m wide"
    noted = f"; the notes say {row['note']}" if row["note"] else ""
    chance = f" (probability {row['probability']:.0%})"
    return f"probably {row['cause']}{where}{size}{width}{chance}{noted}"
