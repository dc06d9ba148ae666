"""The planted faults: spikes, a dropout, gaps and repeated readings, each known to the row."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from lodewalk.services.demo.field import World
from lodewalk.services.demo.instruments import (
    BaseRecord,
    Position,
    RoverRecord,
    TrackRecord,
    without,
)
from lodewalk.services.demo.noise import stream
from lodewalk.services.demo.scenario import Outage
from lodewalk.services.demo.walk import ITEM
from lodewalk.validation import FloatArray

Kind = TypeVar("Kind", bound=np.generic)

DROPOUT_EDGE = 8
DROPOUT_NOISE_NT = 60.0
CLEARANCE = 20
STEEL_NT = 1.0
ROVER_FAULTS = ("spike", "duplicate", "dropout", "position gap", ITEM)
#: Stands that are no survey line.
STANDS = ("", "check", ITEM)


@dataclass(frozen=True)
class Sheet:
    """A rover's readings row by row as its file holds them, faults and all.

    `source` is the reading of the record that a row shows; a repeated reading shows twice.
    """

    record: RoverRecord
    source: NDArray[np.int64]
    field_nT: FloatArray
    quality: FloatArray
    received: Position
    fix: NDArray[np.str_]
    satellites: FloatArray
    hdop: FloatArray
    fault: NDArray[np.str_]
    size_nT: FloatArray

    @property
    def time_s(self) -> FloatArray:
        """True Unix time of each row [s]."""
        return self.record.walked.time_s[self.source]

    @property
    def line(self) -> NDArray[np.str_]:
        """Line of each row."""
        return self.record.walked.line[self.source]


@dataclass(frozen=True)
class Fault:
    """One planted fault: a span of UTC, and the lines of the file that it spoils, if any."""

    kind: str
    instrument: str
    file: str
    start_s: float
    end_s: float
    first_line: int | None
    last_line: int | None
    size_nT: float
    note: str


def spoil_rover(world: World, record: RoverRecord) -> Sheet:
    """Return the rows of a rover's file with its faults planted."""
    sheet = _clean(record)
    for outage in _outages(world, record.rover.name, record.day.date):
        if outage.kind == "position gap":
            sheet = _position_gap(sheet, outage)
        elif outage.kind == "dropout":
            sheet = _dropout(world, sheet, outage)
    return _repeats(world, _spikes(world, sheet))


def _clean(record: RoverRecord) -> Sheet:
    """Return the rows before any fault."""
    count = len(record.field_nT)
    fault = np.full(count, "", dtype="<U16")
    fault[record.walked.line == ITEM] = ITEM
    return Sheet(
        record=record,
        source=np.arange(count),
        field_nT=record.field_nT,
        quality=record.quality,
        received=record.received,
        fix=np.full(count, "3d", dtype="<U4"),
        satellites=record.satellites,
        hdop=record.hdop,
        fault=fault,
        size_nT=np.zeros(count),
    )


def _outages(world: World, instrument: str, date: str) -> list[Outage]:
    """Return the outages of one instrument on one day."""
    return [
        outage
        for outage in world.scenario.outages
        if (outage.instrument, outage.date) == (instrument, date)
    ]


def _span(sheet: Sheet, outage: Outage) -> NDArray[np.int64]:
    """Return the rows within an outage."""
    second = sheet.time_s - sheet.record.day.midnight_s
    return np.flatnonzero((second >= outage.start_s) & (second <= outage.end_s))


def _position_gap(sheet: Sheet, outage: Outage) -> Sheet:
    """Take the positions away."""
    rows = _span(sheet, outage)
    received = Position(**{n: _put(part, rows, np.nan) for n, part in vars(sheet.received).items()})
    return replace(
        sheet,
        received=received,
        fix=_put(sheet.fix, rows, "none"),
        satellites=_put(sheet.satellites, rows, 0.0),
        hdop=_put(sheet.hdop, rows, np.nan),
        fault=_put(sheet.fault, rows, outage.kind),
    )


def _dropout(world: World, sheet: Sheet, outage: Outage) -> Sheet:
    """Let the sensor lose its signal: noise at both ends, zeros between."""
    rows = _span(sheet, outage)
    rng = stream(world.seed, "dropout", outage.instrument, outage.date)
    edge = np.r_[rows[:DROPOUT_EDGE], rows[-DROPOUT_EDGE:]]
    noisy = sheet.field_nT[edge] + rng.normal(0.0, DROPOUT_NOISE_NT, len(edge))
    field = _put(_put(sheet.field_nT, rows, 0.0), edge, np.round(noisy, 1))
    quality = _put(_put(sheet.quality, rows, 0.0), edge, rng.uniform(0.1, 0.35, len(edge)))
    fault = _put(sheet.fault, rows, outage.kind)
    return replace(sheet, field_nT=field, quality=quality, fault=fault)


def _spikes(world: World, sheet: Sheet) -> Sheet:
    """Set single readings off by tens to hundreds of nanotesla, far from any other fault."""
    rng = stream(world.seed, "spikes", sheet.record.rover.name, sheet.record.day.date)
    rows = _free_rows(sheet, world.scenario.spikes_each, rng)
    low, high = np.log(world.scenario.spike_nT)
    size = np.exp(rng.uniform(low, high, len(rows))) * rng.choice([-1.0, 1.0], len(rows))
    decimals = sheet.record.rover.decimals
    size = np.round(size, decimals)
    field = np.round(sheet.field_nT[rows] + size, decimals)
    return replace(
        sheet,
        field_nT=_put(sheet.field_nT, rows, field),
        fault=_put(sheet.fault, rows, "spike"),
        size_nT=_put(sheet.size_nT, rows, size),
    )


def _repeats(world: World, sheet: Sheet) -> Sheet:
    """Write some readings twice."""
    rng = stream(world.seed, "repeats", sheet.record.rover.name, sheet.record.day.date)
    rows = _free_rows(sheet, world.scenario.duplicates_each, rng)
    order = np.sort(np.r_[np.arange(len(sheet.source)), rows])
    fault = sheet.fault[order]
    fault[1:][np.diff(order) == 0] = "duplicate"
    return replace(
        sheet,
        source=sheet.source[order],
        field_nT=sheet.field_nT[order],
        quality=sheet.quality[order],
        received=sheet.received.at(order),
        fix=sheet.fix[order],
        satellites=sheet.satellites[order],
        hdop=sheet.hdop[order],
        fault=fault,
        size_nT=sheet.size_nT[order],
    )


def _free_rows(sheet: Sheet, count: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Draw rows on lines, away from faults, steel, line ends and each other."""
    steel = np.abs(sheet.record.steady.steel_nT[sheet.source]) > STEEL_NT
    busy = (sheet.fault != "") | steel | np.isin(sheet.line, STANDS)
    near = np.convolve(busy, np.ones(2 * CLEARANCE + 1), mode="same") > 0.0
    chosen: list[int] = []
    for row in rng.permutation(np.flatnonzero(~near)):
        if len(chosen) < count and all(abs(row - other) > CLEARANCE for other in chosen):
            chosen.append(int(row))
    return np.sort(np.array(chosen, dtype=np.int64))


def _put(values: NDArray[Kind], rows: NDArray[np.int64], new: Any) -> NDArray[Kind]:
    """Return a copy with other values in some rows."""
    changed = values.copy()
    changed[rows] = new
    return changed


def spoil_base(world: World, record: BaseRecord) -> tuple[BaseRecord, list[Outage]]:
    """Take the gap out of a base record."""
    outages = _outages(world, world.scenario.base, record.day.date)
    second = record.time_s - record.day.midnight_s
    kept = np.ones(len(second), dtype=bool)
    for outage in outages:
        kept &= (second < outage.start_s) | (second > outage.end_s)
    return (
        BaseRecord(
            record.day, record.time_s[kept], record.external_nT[kept], record.field_nT[kept]
        ),
        outages,
    )


def spoil_track(world: World, track: TrackRecord) -> tuple[TrackRecord, list[Outage]]:
    """Take the gap out of a handheld's track."""
    outages = [
        outage
        for outage in _outages(world, track.rover.name, track.day.date)
        if outage.kind == "track gap"
    ]
    for outage in outages:
        midnight = track.day.midnight_s
        track = without(track, start_s=midnight + outage.start_s, end_s=midnight + outage.end_s)
    return track, outages


def rover_faults(world: World, sheet: Sheet, *, file: str, head: int) -> Iterator[Fault]:
    """Yield the faults of a rover's file, and its passages over steel; `head` lines go before."""
    notes = {outage.kind: outage.note for outage in world.scenario.outages}
    notes[ITEM] = "radio switched on"
    steel = sheet.record.steady.steel_nT[sheet.source]
    marks = {kind: sheet.fault == kind for kind in ROVER_FAULTS}
    marks["steel"] = (np.abs(steel) > STEEL_NT) & (sheet.line != "")
    for kind, marked in marks.items():
        item = np.full(len(steel), world.scenario.item_nT)
        sizes = {"spike": sheet.size_nT, "steel": steel, ITEM: item}
        size = sizes.get(kind, np.zeros(len(steel)))
        for first, last in runs(marked):
            run = size[first : last + 1]
            yield Fault(
                kind=kind,
                instrument=sheet.record.rover.name,
                file=file,
                start_s=float(sheet.time_s[first]),
                end_s=float(sheet.time_s[last]),
                first_line=head + first + 1,
                last_line=head + last + 1,
                size_nT=float(run[np.argmax(np.abs(run))]),
                note="fence or drum" if kind == "steel" else notes.get(kind, ""),
            )


def outage_fault(outage: Outage, *, midnight_s: float, file: str) -> Fault:
    """Return the fault of a gap, which spoils no line of its file."""
    return Fault(
        kind=outage.kind,
        instrument=outage.instrument,
        file=file,
        start_s=midnight_s + outage.start_s,
        end_s=midnight_s + outage.end_s,
        first_line=None,
        last_line=None,
        size_nT=0.0,
        note=outage.note,
    )


def runs(marked: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """Yield the first and last row of each run of marked rows."""
    edges = np.diff(np.concatenate(([False], marked, [False])).astype(np.int8))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    yield from zip(starts.tolist(), (ends - 1).tolist(), strict=True)
