"""Bridges over the gaps of a base: proposed to everyone, built where a person decided so."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.corrections.bridging import Bridge, Bridged, Readings, bridge_gaps
from lodewalk.methods.corrections.bridging_revisits import Revisits
from lodewalk.records import Record, Table
from lodewalk.steps.bases import Base
from lodewalk.steps.findings import FindingList, amount, duration_text, tell_idle
from lodewalk.steps.proposed import SOURCES, Proposal
from lodewalk.steps.rows import at_distinct_times, document, in_time_order, rows_of, table, timed

Floats = NDArray[np.float64]
#: Readings farther apart than this belong to two sessions of a base [s].
SESSION_S = 4 * 3600.0
#: Longest bridge [s]: a base that died in the morning is not made up for a day.
LONGEST_S = 6 * 3600.0
#: A 95 % interval in standard deviations.
WORST_SD = 1.96
#: Decimals of a bridge's error as data: finer than what tells two of them apart.
ERROR_DECIMALS = 4


@dataclass(frozen=True)
class Offered:
    """What bridges give at the times of the rover's readings; `built` where decided."""

    value_nT: Floats
    sd_nT: Floats
    built: NDArray[np.bool_]


def offer_bridges(
    inputs: Mapping[str, Record],
    wanted_s: Floats,
    bases: list[Base],
    decisions: tuple[Mapping[str, Any], ...],
    *,
    max_gap_s: float,
    found: FindingList,
) -> Offered:
    """Bridge the gaps in which readings without a base lie; `wanted_s` is NaN elsewhere."""
    count = wanted_s.size
    offered = Offered(np.full(count, np.nan), np.full(count, np.nan), np.zeros(count, dtype=bool))
    met: set[int] = set()
    for place, base in enumerate(bases):
        others = [Readings(o.seconds, o.field_nT) for o in bases[:place] + bases[place + 1 :]]
        others += _observatories(inputs)
        for session in _sessions(base):
            rows = _near(wanted_s, base.seconds[session], np.isfinite(offered.value_nT))
            if not rows.size:
                continue
            made, gaps = _bridged(inputs, base, session, wanted_s[rows], others, max_gap_s)
            for gap in gaps:
                inside = rows[(wanted_s[rows] > gap.start_s) & (wanted_s[rows] < gap.end_s)]
                _take(offered, inside, rows, made, base.level_sd_nT)
                ends = _ends(inputs, base.name, gap)
                deciding = _deciding(base.name, ends, decisions)
                met.update(deciding)
                decided = bool(deciding)
                offered.built[inside] = decided & np.isfinite(offered.value_nT[inside])
                _tell(found, base.name, gap, ends, inside.size, decided=decided)
    for place, decision in enumerate(decisions):
        if decision["kind"] == "bridge" and place not in met:
            tell_idle(found, decision, "no gap of a base with rover readings in it")
    return offered


def _take(
    offered: Offered,
    inside: NDArray[np.int64],
    rows: NDArray[np.int64],
    made: Bridged,
    level_sd_nT: float,
) -> None:
    """Put the bridged values of a gap into their rows."""
    place = np.searchsorted(rows, inside)
    offered.value_nT[inside] = made.value_nT[place]
    offered.sd_nT[inside] = np.hypot(made.sd_nT[place], level_sd_nT)


def _sessions(base: Base) -> list[NDArray[np.int64]]:
    """Return the readings of each session of a base, parted by the nights."""
    cuts = np.flatnonzero(np.diff(base.seconds) > SESSION_S) + 1
    return [part for part in np.split(np.arange(base.seconds.size), cuts) if part.size > 2]


def _near(wanted_s: Floats, session_s: Floats, served: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the rows that a session may serve: within its time, or not long outside."""
    with np.errstate(invalid="ignore"):
        inside = (wanted_s > session_s[0] - LONGEST_S) & (wanted_s < session_s[-1] + LONGEST_S)
    return np.flatnonzero(inside & ~served)


def _bridged(
    inputs: Mapping[str, Record],
    base: Base,
    session: NDArray[np.int64],
    wanted_s: Floats,
    others: list[Readings],
    max_gap_s: float,
) -> tuple[Bridged, tuple[Bridge, ...]]:
    """Bridge the gaps of one session."""
    rest = np.setdiff1d(np.arange(base.seconds.size), session)
    quiet = Readings(base.seconds[rest], base.field_nT[rest]) if rest.size > 10 else None
    return bridge_gaps(
        base.seconds[session],
        base.field_nT[session],
        at_s=wanted_s,
        max_gap_s=max_gap_s,
        base_noise_nT=base.noise_nT,
        others=others,
        quiet_days=quiet,
        revisits=_revisits(table(inputs, "crossings")),
    )


def _revisits(crossings: Table) -> Revisits | None:
    """Return the places that one rover read twice."""
    same = np.array(
        [
            one == other
            for one, other in zip(
                crossings.strings("first_instrument"),
                crossings.strings("second_instrument"),
                strict=True,
            )
        ],
        dtype=bool,
    )
    if not same.any():
        return None
    return Revisits(
        crossings.seconds("first_utc")[same],
        crossings.seconds("second_utc")[same],
        crossings.floats("difference_nT")[same],
        crossings.floats("sd_nT")[same],
    )


def _observatories(inputs: Mapping[str, Record]) -> list[Readings]:
    """Return the total field of each observatory, from its components where need be."""
    recorded = table(inputs, "observatory_recorded")
    seconds = table(inputs, "observatory_times").seconds("time_utc")
    total = total_field(recorded)
    found = []
    for _, rows in in_time_order(document(inputs, "observatory_files"), seconds):
        good = at_distinct_times(rows[np.isfinite(total[rows])], seconds)
        if good.size > 10:
            found.append(Readings(seconds[good], total[good]))
    return found


def total_field(recorded: Table) -> Floats:
    """Return the total field of an observatory's rows: the scalar, else the vector's length."""
    north, east, down, horizontal, scalar = (
        recorded.floats(f"{name}_nT")
        for name in ("north", "east", "down", "horizontal", "total_field")
    )
    across = np.nan_to_num(recorded.floats("sensor_east_nT"))
    level = np.where(np.isfinite(north), np.hypot(north, east), np.hypot(horizontal, across))
    total: Floats = np.where(np.isfinite(scalar), scalar, np.hypot(level, down))
    return total


def _ends(inputs: Mapping[str, Record], base: str, gap: Bridge) -> tuple[datetime, datetime]:
    """Return the last reading before a gap and the first one after it, as recorded."""
    seconds = table(inputs, "base_times").seconds("time_utc")
    rows = timed(rows_of(document(inputs, "base_files"), base), seconds)
    recorded = table(inputs, "base_recorded").frame["recorded_time"]
    before = rows[max(int(np.searchsorted(seconds[rows], gap.start_s, side="right")) - 1, 0)]
    after = rows[min(int(np.searchsorted(seconds[rows], gap.end_s)), rows.size - 1)]
    return recorded[int(before)], recorded[int(after)]


def _deciding(
    base: str, ends: tuple[datetime, datetime], decisions: tuple[Mapping[str, Any], ...]
) -> list[int]:
    """Return which decisions are to bridge a gap with these ends, as recorded."""
    found = []
    for place, decision in enumerate(decisions):
        target = decision["target"]
        if decision["kind"] != "bridge" or target["instrument"] != base:
            continue
        start, end = (_parsed(target.get(name)) for name in ("start", "end"))
        late = end is not None and end < ends[0]
        early = start is not None and start > ends[1]
        if not (late or early):
            found.append(place)
    return found


def _parsed(text: str | None) -> datetime | None:
    """Return the end of a span, None where it is open."""
    return None if text is None else datetime.fromisoformat(text)


def _tell(
    found: FindingList, base: str, gap: Bridge, ends: tuple[datetime, datetime], readings: int, *,
    decided: bool,
) -> None:  # fmt: skip
    """Tell what a bridge rests on and how far it can be wrong."""
    proposal = None
    if gap.source == "unknown" or not np.isfinite(gap.minutes.sd_nT).any():
        text = "can't be bridged: nothing tells the field there"
    else:
        helped = f" and {amount(gap.n_revisits, 'revisit')}" if gap.n_revisits else ""
        worst = WORST_SD * float(np.nanmax(gap.minutes.sd_nT))
        text = f"can be bridged by {SOURCES[gap.source]}{helped}, error up to {worst:.1f} nT (95 %)"
        if not decided:
            start, end = (moment.isoformat() for moment in ends)
            error = round(worst, ERROR_DECIMALS)
            proposal = Proposal("bridge", base, start, end, source=gap.source, error_95_nT=error)
        text += f"; to do so: {proposal.command}" if proposal else "; decided so"
    length = duration_text(gap.end_s - gap.start_s)
    found.add(
        "bridge over a gap",
        f"{base}: the gap of {length} with {amount(readings, 'reading')} {text}.",
        severity="information",
        instrument=base,
        start_s=gap.start_s,
        end_s=gap.end_s,
        proposes=proposal,
    )
