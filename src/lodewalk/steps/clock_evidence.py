"""Clock evidence: how far each clock is off, from independent kinds of evidence, never applied."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.checks.clocks.combine import (
    UTC,
    ClockEstimate,
    ClockLink,
    combine_clocks,
)
from lodewalk.methods.checks.clocks.evidence import NOT_IDENTIFIABLE, ClockEvidence
from lodewalk.methods.checks.clocks.pair import pair_offset
from lodewalk.methods.checks.clocks.revisits import revisit_clock
from lodewalk.methods.checks.clocks.turns import turns_offset
from lodewalk.methods.checks.clocks.zigzag import zigzag_offset
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.time_scales import gps_minus_utc
from lodewalk.records import Document, Record
from lodewalk.steps.as_recorded import as_recorded
from lodewalk.steps.bases import Base, usable_bases
from lodewalk.steps.context import Context
from lodewalk.steps.crossings import stands, walked_readings
from lodewalk.steps.days import Days
from lodewalk.steps.findings import FindingList
from lodewalk.steps.rows import document, file_rows, in_time_order, instruments, table
from lodewalk.steps.tracks import NO_TRACK, Track, track_for, tracks_of
from lodewalk.steps.trial_spans import trial_spans

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: A stand shorter than this tells nothing of a clock by the variation of the field [s].
LEAST_STAND_S = 180.0
#: Readings of the base that a stand must hold.
LEAST_BASE_READINGS = 8
#: Most stands of a rover that are compared with the base, the longest first.
MOST_STANDS = 6
#: A slip smaller than this is within the agreement of clocks (common practice) [s].
AGREE_S = 1.0
OWN, TRACK = "its own fixes", "the track"


@dataclass(frozen=True)
class Clocks:
    """What the step works on: the survey by its clocks as recorded."""

    inputs: Mapping[str, Record]
    bases: list[Base]
    seconds: Floats
    field_nT: Floats
    rows: Mapping[str, Rows]
    tracks: Mapping[str, Track]


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return what is known of each clock against UTC, the evidence for it, and proposals."""
    bare = as_recorded(inputs, settings, context)
    clocks = _clocks(bare, settings)
    links = [
        *_between_bases(clocks),
        *_side_by_side(clocks, bare, context),
        *_revisits(clocks),
        *_against_tracks(clocks),
    ]
    context.check_cancelled()
    days = Days.of(settings["survey.time_zone"])
    estimates = combine_clocks(
        links,
        zone_offset_s=_zone_offset(days, clocks),
        gps_minus_utc_s=_leap(clocks),
        gps_stamped={name: name not in clocks.tracks for name in clocks.rows},
        bases={base.name for base in clocks.bases},
        instruments=_instruments(inputs),
    )
    found = FindingList("clock_evidence")
    _tell_lag(clocks, found)
    decided = _decided(context)
    for estimate in estimates:
        _tell(found, estimate, clocks, decided.get(estimate.instrument, 0.0))
    values = {
        "clock": [_row(clocks, estimate, decided) for estimate in estimates],
        "links": [_link(link) for link in links],
    }
    return {"clock_evidence": Document(values), "clock_findings": found.table()}


def _instruments(inputs: Mapping[str, Record]) -> list[str]:
    """Return the names of all base and rover instruments."""
    roles = [instruments(document(inputs, f"{role}_files")) for role in ("base", "rover")]
    return sorted({name for names in roles for name in names})


def _clocks(bare: Mapping[str, Record], settings: Mapping[str, Any]) -> Clocks:
    """Gather bases, rovers and tracks."""
    seconds = table(bare, "rover_times").seconds("time_utc")
    checks = table(bare, "rover_checks")
    field = np.where(
        checks.booleans("kept"), table(bare, "rover_recorded").floats("raw_nT"), np.nan
    )
    tracks = tracks_of(
        table(bare, "track_recorded"),
        table(bare, "track_times").seconds("time_utc"),
        document(bare, "track_files"),
        crs=settings["survey.crs"],
        max_speed_m_s=settings["position"]["max_speed_m_s"],
    )
    files = document(bare, "rover_files")
    source = np.array(table(bare, "rover_positions").strings("source"), dtype=object)
    rows = dict(in_time_order(files, seconds))
    own: dict[str, Track] = {}
    for span in file_rows(files):
        if not np.isin(source[span.rows], ("recorded", "local grid")).any():
            track = track_for(span, seconds[span.rows], tracks, instruments(files))
            if track["track_time_s"].size or span.instrument not in own:
                own[span.instrument] = track
    bases = usable_bases(bare, {"*": 0.0})
    return Clocks(bare, bases, seconds, field, rows, own)


def _between_bases(clocks: Clocks) -> list[ClockLink]:
    """Compare the clock of each base with the first one's, by the variation both saw."""
    links = []
    for base in clocks.bases[1:]:
        first = clocks.bases[0]
        evidence = pair_offset(base.seconds, base.field_nT, first.seconds, first.field_nT)
        links.append(ClockLink(base.name, first.name, evidence, "variation that both bases saw"))
    return links


def _side_by_side(clocks: Clocks, bare: Mapping[str, Record], context: Context) -> list[ClockLink]:
    """Compare rover and base where the rover stood: a side-by-side run, or any long stand."""
    links = []
    spans = trial_spans(bare, context.decisions)
    for name, rows in clocks.rows.items():
        marked = [
            ("side-by-side run", span.rows)
            for span in spans
            if span.instrument == name and span.test in ("side-by-side", "static")
        ]
        for method, own in marked + _long_stands(clocks, name, rows):
            links += _against_bases(clocks, name, own, method)
    return links


def _long_stands(clocks: Clocks, name: str, rows: Rows) -> list[tuple[str, Rows]]:
    """Return the longest stretches in which a rover stood still."""
    found = []
    for stand in stands(walked_readings(clocks.inputs)):
        if stand.instrument == name and stand.end_s - stand.start_s >= LEAST_STAND_S:
            inside = (clocks.seconds[rows] >= stand.start_s) & (clocks.seconds[rows] <= stand.end_s)
            found.append(("variation seen standing", rows[inside]))
    return sorted(found, key=lambda item: -item[1].size)[:MOST_STANDS]


def _against_bases(clocks: Clocks, name: str, rows: Rows, method: str) -> list[ClockLink]:
    """Compare one stretch of a rover with each base dense enough to tell."""
    times, field = clocks.seconds[rows], clocks.field_nT[rows]
    links = []
    for base in clocks.bases:
        lasted = float(times[-1] - times[0])
        if lasted < LEAST_BASE_READINGS * nominal_interval(base.seconds):
            continue
        evidence = pair_offset(times, field, base.seconds, base.field_nT)
        links.append(ClockLink(name, base.name, evidence, method))
    return links


def _revisits(clocks: Clocks) -> list[ClockLink]:
    """Compare rover and base by the places that the rover read at two times."""
    crossings = table(clocks.inputs, "crossings")
    one, other = (
        np.array(crossings.strings(f"{n}_instrument"), dtype=object) for n in ("first", "second")
    )
    links = []
    for name in clocks.rows:
        own = np.flatnonzero((one == name) & (other == name))
        for base in clocks.bases if own.size else ():
            found = revisit_clock(
                crossings.seconds("first_utc")[own],
                crossings.seconds("second_utc")[own],
                crossings.floats("difference_nT")[own],
                base_time_s=base.seconds,
                base_nT=base.field_nT,
                difference_sd_nT=crossings.floats("sd_nT")[own],
            )
            links.append(ClockLink(name, base.name, found.evidence, "crossings and revisits"))
    return links


def _against_tracks(clocks: Clocks) -> list[ClockLink]:
    """Compare each rover with the clock of the track that gives its positions."""
    marks = table(clocks.inputs, "rover_recorded").strings("line")
    lines = table(clocks.inputs, "rover_lines").strings("line")
    links = []
    for name, track in clocks.tracks.items():
        rows = clocks.rows[name]
        if not (track["track_time_s"].size and rows.size):
            continue
        on_line = np.array([lines[row] or "" for row in rows])
        zigzag = zigzag_offset(
            clocks.seconds[rows],
            clocks.field_nT[rows],
            on_line,
            track_time_s=track["track_time_s"],
            track_easting=track["track_easting_m"],
            track_northing=track["track_northing_m"],
        )
        links.append(ClockLink(name, UTC, zigzag, "zigzag of the lines against the track"))
        marked = np.array([marks[row] or "" for row in rows])
        turns = turns_offset(
            clocks.seconds[rows],
            marked,
            track_time_s=track["track_time_s"],
            track_easting=track["track_easting_m"],
            track_northing=track["track_northing_m"],
            field_nT=clocks.field_nT[rows],
        )
        links.append(ClockLink(name, UTC, turns, "turns of the track against the marks"))
    return links


def _zone_offset(days: Days, clocks: Clocks) -> float:
    """Return how far the survey's own time is ahead of UTC [s]."""
    known = clocks.seconds[np.isfinite(clocks.seconds)]
    moment = datetime.fromtimestamp(float(known[0]) if known.size else 0.0, days.zone)
    offset = moment.utcoffset()
    return offset.total_seconds() if offset else 0.0


def _leap(clocks: Clocks) -> float:
    """Return GPS time less UTC at the time of the survey [s]."""
    known = clocks.seconds[np.isfinite(clocks.seconds)]
    return float(gps_minus_utc(known[:1])[0]) if known.size else 18.0


def _decided(context: Context) -> dict[str, float]:
    """Return the offsets that persons decided on, by instrument."""
    return {
        str(item["target"]["instrument"]): float(item["value"]["offset_s"])
        for item in context.decisions
        if item["kind"] == "clock"
    }


def _row(clocks: Clocks, estimate: ClockEstimate, decided: Mapping[str, float]) -> dict[str, Any]:
    """Return what is known of one clock; offset and sd are null where nothing is."""
    known = estimate.state != NOT_IDENTIFIABLE
    return {
        "instrument": estimate.instrument,
        "offset_s": round(estimate.offset_s, 3) if known else None,
        "sd_s": round(estimate.sd_s, 3) if known else None,
        "state": estimate.state,
        "method": "; ".join(estimate.methods) or "no evidence",
        "text": estimate.text,
        "position_clock": _position_clock(clocks, estimate.instrument),
        "decided_s": decided.get(estimate.instrument),
    }


def _position_clock(clocks: Clocks, instrument: str) -> str | None:
    """Say which clock stamps the positions of an instrument; null for a base."""
    if instrument not in clocks.rows:
        return None
    track = clocks.tracks.get(instrument)
    if track is None:
        return OWN
    return TRACK if track is not NO_TRACK and track["track_time_s"].size else None


def _link(link: ClockLink) -> dict[str, Any]:
    """Return one piece of evidence for print."""
    evidence: ClockEvidence = link.evidence
    known = np.isfinite(evidence.offset_s) and np.isfinite(evidence.sd_s)
    return {
        "first": link.first,
        "second": link.second,
        "method": link.method,
        "offset_s": round(evidence.offset_s, 3) if known else None,
        "sd_s": round(evidence.sd_s, 3) if known else None,
        "state": evidence.state,
        "count": evidence.count,
    }


def _tell(found: FindingList, estimate: ClockEstimate, clocks: Clocks, decided: float) -> None:
    """Tell a clock that is off, with what it may be and how to confirm it."""
    if estimate.state == NOT_IDENTIFIABLE:
        return
    off = abs(estimate.offset_s) > max(AGREE_S, 3 * estimate.sd_s)
    if not off:
        found.add(
            "clock",
            f"{estimate.instrument}: clock agrees within {1.645 * estimate.sd_s:.1f} s (90 %).",
            instrument=estimate.instrument,
        )
        return
    left = estimate.offset_s - decided
    settled = abs(left) <= max(AGREE_S, 3 * estimate.sd_s)
    advice = (
        f"confirmed by a decision of {decided:+g} s"
        if settled
        else f"to confirm: decide clock --instrument {estimate.instrument} --offset "
        f"{estimate.offset_s:.1f}"
    )
    found.add(
        "clock",
        f"{estimate.text} {advice[:1].upper()}{advice[1:]}.",
        severity="information" if settled else "doubt",
        instrument=estimate.instrument,
        start_s=_first(clocks, estimate.instrument),
        end_s=_last(clocks, estimate.instrument),
    )


def _times(clocks: Clocks, instrument: str) -> Floats:
    """Return the times of an instrument."""
    if instrument in clocks.rows:
        return clocks.seconds[clocks.rows[instrument]]
    return next((b.seconds for b in clocks.bases if b.name == instrument), np.zeros(0))


def _first(clocks: Clocks, instrument: str) -> float | None:
    """Return the first time of an instrument."""
    times = _times(clocks, instrument)
    return float(times[0]) if times.size else None


def _last(clocks: Clocks, instrument: str) -> float | None:
    """Return the last time of an instrument."""
    times = _times(clocks, instrument)
    return float(times[-1]) if times.size else None


def _tell_lag(clocks: Clocks, found: FindingList) -> None:
    """Tell a lag of a rover's own positions behind its readings, by the zigzag of its lines."""
    positions = table(clocks.inputs, "rover_positions")
    lines = table(clocks.inputs, "rover_lines").strings("line")
    source = np.array(positions.strings("source"), dtype=object)
    for name, every in clocks.rows.items():
        rows = every[source[every] == "recorded"]
        if name in clocks.tracks or not rows.size:
            continue
        lag = zigzag_offset(
            clocks.seconds[rows],
            clocks.field_nT[rows],
            np.array([lines[row] or "" for row in rows]),
            track_time_s=clocks.seconds[rows],
            track_easting=positions.floats("easting_m")[rows],
            track_northing=positions.floats("northing_m")[rows],
        )
        if lag.state == "measured" and abs(lag.offset_s) > max(AGREE_S, 3 * lag.sd_s):
            found.add(
                "lag",
                f"{name}: positions lag {-lag.offset_s:+.1f} s (sd {lag.sd_s:.1f} s) behind the "
                "readings, by the zigzag of lines walked to and fro.",
                severity="doubt",
                instrument=name,
            )
