"""Why a step is stale, and how a reading got its value, back to file and line."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, cast

import polars as pl

from lodewalk.errors import FolderError, InputError
from lodewalk.formats.delimited.encoding import decode
from lodewalk.records import Document
from lodewalk.services.one_run import check_one_run
from lodewalk.services.stale import pending
from lodewalk.steps.declarations import STEPS, needed_for
from lodewalk.steps.rows import spread
from lodewalk.survey.contents import own_file
from lodewalk.survey.decisions import Clock, Lag, in_force, read_decisions
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import check_raw, display_names, read_ledger
from lodewalk.survey.store import read_product

if TYPE_CHECKING:
    from lodewalk.services.rocks.why import WhyBody as WhyBody

#: Parts of the error of a reading, and what they are called.
PARTS = {
    "sensor": "sensor",
    "diurnal": "diurnal",
    "clock": "clock",
    "position": "position",
    "heading": "heading",
    "level": "levelling with the rover's offset",
}

#: Products whose rows are paired to tell a reading's story.
PAIRED = (
    "readings", "rover_diurnal", "rover_recorded", "rover_positions", "base_files",
    "base_recorded", "base_times", "base_checks",
)  # fmt: skip


@dataclass(frozen=True)
class WhyStep:
    """Whether a step is stale, and why."""

    step: str
    stale: bool
    reasons: list[str]
    inputs: list[str]
    settings: list[str]


@dataclass(frozen=True)
class Origin:
    """A line of a raw file that a value rests on."""

    file: str
    line_in_file: int
    text: str
    time_utc: str | None
    raw_nT: float | None


@dataclass(frozen=True)
class WhyReading:
    """How a reading got its value."""

    reading: dict[str, Any]
    origin: Origin
    base: list[Origin]
    datum: dict[str, Any]
    sentences: list[str]


def why_step(folder: Folder, name: str) -> WhyStep:
    """Say why a step is stale, without running anything.

    Raises
    ------
    InputError
        When there is no such step.
    """
    last = needed_for(name)[-1]
    reasons = [why for row in pending(folder, to=name).steps if row.step == name for why in row.why]
    return WhyStep(name, bool(reasons), reasons, list(last.inputs), list(last.settings))


def why_reading(folder: Folder, name: str) -> WhyReading:
    """Trace a reading back to its raw file and line.

    Parameters
    ----------
    folder : Folder
        The survey.
    name : str
        Its `reading_id`, or the name of the raw file, a colon and the line.

    Raises
    ------
    InputError
        When there is no such reading.
    FolderError
        Before the first run, or where raw files or products changed since.
    """
    number, row = _reading_row(folder, name)
    check_one_run(folder, *PAIRED)
    used = _frame(folder, "rover_diurnal")["base"][number]
    base = _base_around(folder, row, used) if used else []
    files = _raw_names(folder)
    origin = _origin(folder, _raw_name(files, row["file"]), row["line_in_file"], row["time_utc"])
    origin = replace(origin, raw_nT=row["raw_nT"])
    values = dict(getattr(read_product(folder, "datum"), "values", {}))
    plain = {key: _plain(value) for key, value in row.items()}
    tie = _site_tie(folder, used, plain["time_utc"]) if used else 0.0
    sentences = _sentences(row, origin, base, datum=values, tie=tie)
    sentences[3:3] = [
        _clock_sentence(folder, number, row),
        _place_sentence(folder, number, row),
        *_moved_sentences(folder, number, row),
    ]
    if why_step(folder, "readings").stale:
        sentences.append("Something changed since: these are the numbers of the last run.")
    return WhyReading(plain, origin, base, values, sentences)


def _site_tie(folder: Folder, base: str, time_utc: str) -> float:
    """Return what was added to a base's record at a time, by the network of the bases [nT]."""
    network = cast(Document, read_product(folder, "datum_network"))
    rows = [row for row in network["nodes"] if row["instrument"] == base]
    # ISO 8601 stamps in UTC stand in the order of time.
    here = [row for row in rows if row["start_utc"][:19] <= time_utc[:19]]
    return -float((here or rows)[-1]["level_nT"]) if rows else 0.0


def _raw_names(folder: Folder) -> dict[str, str]:
    """Return the name in `raw/` of each file by the name that the products use."""
    entries = read_ledger(folder)
    check_raw(folder, entries)
    shown = display_names(entries)
    return {shown[entry.sha256]: entry.name for entry in entries}


def _raw_name(names: Mapping[str, str], file: str) -> str:
    """Return the name in `raw/` of a file that the products name."""
    if file not in names:
        raise FolderError(f"{file} was set aside or renamed since the last run. Run again.")
    return names[file]


def _reading_row(folder: Folder, name: str) -> tuple[int, dict[str, Any]]:
    """Return number and row of the reading that is meant."""
    file, colon, line = name.rpartition(":")
    if not colon or not line.isdecimal():
        steps = ", ".join(step.name for step in STEPS)
        raise InputError(
            "This is neither a step nor a reading, nor a pick or lineament.",
            value=name,
            remedy=f"Give a step ({steps}), a reading_id, FILE:LINE, or a pick's name.",
        )
    found = (
        _frame(folder, "readings")
        .with_row_index("number")
        .filter(
            (pl.col("reading_id") == name)
            | ((pl.col("file") == file) & (pl.col("line_in_file") == int(line)))
        )
    )
    if found.height == 0:
        raise InputError(
            "There is no such reading.", value=name, remedy="reading_id stands in readings.parquet."
        )
    row = found.row(0, named=True)
    return int(row.pop("number")), row


def _origin(folder: Folder, file: str, line: int, time: Any) -> Origin:
    """Return a line of a raw file with its text."""
    lines = decode(own_file(folder, folder.raw / file).read_bytes(), file=file).text.split("\n")
    text = lines[line - 1].strip() if line <= len(lines) else ""
    return Origin(file, line, text, _plain(time), None)


def _base_around(folder: Folder, row: Mapping[str, Any], base: str) -> list[Origin]:
    """Return the kept readings of the base just before and after a rover reading."""
    parts = ("base_recorded", "base_times", "base_checks")
    recorded, times, checks = (_frame(folder, name) for name in parts)
    files = cast(Document, read_product(folder, "base_files"))
    frame = pl.concat(
        [
            recorded.select("line_in_file", "raw_nT"),
            times,
            checks.select("kept"),
            pl.DataFrame({"file": spread(files, "name"), "base": spread(files, "instrument")}),
        ],
        how="horizontal",
    ).filter(pl.col("kept") & (pl.col("base") == base))
    before = frame.filter(pl.col("time_utc") <= row["time_utc"]).sort("time_utc").tail(1)
    after = frame.filter(pl.col("time_utc") > row["time_utc"]).sort("time_utc").head(1)
    names = _raw_names(folder)
    return [
        replace(
            _origin(folder, _raw_name(names, item["file"]), item["line_in_file"], item["time_utc"]),
            raw_nT=item["raw_nT"],
        )
        for item in pl.concat([before, after]).iter_rows(named=True)
    ]


def _plain(value: Any) -> Any:
    """Return a value that JSON can hold; times as ISO 8601 with Z."""
    if hasattr(value, "isoformat"):
        return re.sub(r"\+00:00$", "Z", value.isoformat(timespec="milliseconds"))
    return value


def _number(value: float | None, digits: int = 2) -> str:
    """Return a number for print."""
    return "none" if value is None else f"{value:.{digits}f}"


def _frame(folder: Folder, product: str) -> pl.DataFrame:
    """Return the frame of a product that is a table."""
    found: pl.DataFrame = getattr(read_product(folder, product), "frame", pl.DataFrame())
    return found


def _clock_sentence(folder: Folder, number: int, row: Mapping[str, Any]) -> str:
    """Say how the recorded time became UTC, with the decisions on that clock."""
    recorded = _frame(folder, "rover_recorded")["recorded_time"][number]
    entries = read_ledger(folder)
    shown = display_names(entries)
    zone = next(entry.zone for entry in entries if shown[entry.sha256] == row["file"])
    text = f"Recorded as {recorded} in zone {zone}"
    for item in in_force(read_decisions(folder), ("clock",)):
        if item.target.instrument == row["instrument"] and isinstance(item.value, Clock):
            text += f"; {item.who} decided {item.value.offset_s:+g} s: {item.reason}"
    return f"{text}."


def _place_sentence(folder: Folder, number: int, row: Mapping[str, Any]) -> str:
    """Say where the reading was taken and what tells so."""
    source = _frame(folder, "rover_positions")["source"][number]
    place = f"Easting {_number(row['easting_m'])} m, northing {_number(row['northing_m'])} m"
    if source != "track" or row["time_utc"] is None:
        told = {"recorded": "from its own line", "bridged": "between the fixes beside it"}
        return f"{place}, {told.get(source, f'from {source}')}."
    files = cast(Document, read_product(folder, "track_files"))
    frame = pl.concat(
        [
            _frame(folder, "track_times"),
            _frame(folder, "track_recorded").select("line_in_file"),
            pl.DataFrame({"file": spread(files, "name")}),
        ],
        how="horizontal",
    ).sort("time_utc")
    before = frame.filter(pl.col("time_utc") <= row["time_utc"]).tail(1)
    after = frame.filter(pl.col("time_utc") >= row["time_utc"]).head(1)
    lines = [
        f"{r['file']}, line {r['line_in_file']}" for r in (*before.to_dicts(), *after.to_dicts())
    ]
    return f"{place}, from the track between {' and '.join(lines)}."


def _moved_sentences(folder: Folder, number: int, row: Mapping[str, Any]) -> list[str]:
    """Say from where arm and lag moved a reading, none where they didn't."""
    was = _frame(folder, "rover_recorded_positions").row(number, named=True)
    if all(was[axis] == row[axis] for axis in ("easting_m", "northing_m")):
        return []
    place = f"easting {_number(was['easting_m'])} m, northing {_number(was['northing_m'])} m"
    own = folder.settings.instrument(row["instrument"])
    arm = [("ahead", own.ahead_m), ("to the right", own.right_m)]
    why = [f"sensor {size:+g} m {way} of the antenna" for way, size in arm if size is not None]
    why += [
        f"{item.who} decided a lag of {item.value.lag_s:+g} s: {item.reason}"
        for item in in_force(read_decisions(folder), ("lag",))
        if item.target.instrument == row["instrument"] and isinstance(item.value, Lag)
    ]
    return [f"That is the sensor's place; as recorded it is {place}: {'; '.join(why)}."]


def _sentences(
    row: Mapping[str, Any],
    origin: Origin,
    base: list[Origin],
    *,
    datum: Mapping[str, Any],
    tie: float,
) -> list[str]:
    """Tell the history of a reading in plain sentences."""
    lines = [
        f"Reading {row['reading_id']} is line {origin.line_in_file} of raw/{origin.file}:",
        f"  {origin.text}",
        f"Time {origin.time_utc}, instrument {row['instrument']}, line {row['line'] or 'none'}.",
        f"Raw {_number(row['raw_nT'])} nT.",
    ]
    lines += [
        f"Base {_number(item.raw_nT)} nT at {item.time_utc} "
        f"(raw/{item.file}, line {item.line_in_file})."
        for item in base
    ]
    if tie:
        lines.append(f"Site tie {_number(tie)} nT, added to that base.")
    lines += [
        f"Datum {_number(datum.get('datum_nT'))} nT, epoch {datum.get('epoch_utc') or 'none'}.",
        f"Diurnal {_number(row['diurnal_nT'])} nT, reference {_number(row['reference_nT'])} nT.",
        f"Rover's offset {_number(row['instrument_nT'])}, heading {_number(row['heading_nT'])}, "
        f"levelling {_number(row['level_nT'])}, micro-levelling "
        f"{_number(row['micro_level_nT'])} nT.",
        f"Anomaly {_number(row['anomaly_nT'])} nT, standard deviation {_number(row['sd_nT'])} nT.",
        *_error_sentences(row),
        "Kept." if row["kept"] else f"Not kept: {row['reason']}.",
    ]
    return lines


def _error_sentences(row: Mapping[str, Any]) -> list[str]:
    """Say which parts the standard deviation is made of; none where there is no anomaly."""
    if row["sd_nT"] is None:
        return []
    parts = {word: row[f"sd_{name}_nT"] for name, word in PARTS.items()}
    told = ", ".join(f"{word} {_number(value, 3)}" for word, value in parts.items())
    largest = max(parts, key=lambda word: parts[word] or 0.0)
    return [f"Its parts: {told} nT; the largest is {largest}."]


def why(folder: Folder, name: str) -> "WhyStep | WhyReading | WhyBody":
    """Explain a step, a reading, or the body and depth of a pick or lineament."""
    if any(step.name == name for step in STEPS):
        return why_step(folder, name)
    if not folder.state_file.exists():
        raise FolderError("This survey has no products yet: a run makes them.")
    from lodewalk.services.rocks.why import names_body

    if names_body(folder, name):
        return _why_body(folder, name)
    return why_reading(folder, name)


def _why_body(folder: Folder, name: str) -> "WhyBody":
    """Explain a body, and say where its numbers are those of an earlier run."""
    from lodewalk.services.rocks.why import why_body

    found = why_body(folder, name)
    if why_step(folder, "fits").stale:
        changed = "Something changed since: these are the numbers of the last run."
        return replace(found, sentences=[*found.sentences, changed])
    return found
