"""Events that the base alone saw: told as findings, contaminated readings dropped."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.checks.base_events import find_base_events
from lodewalk.methods.checks.base_events_kinds import BaseEvents, Kind, Untestable, Witness
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.steps.bases import moves_before, parted
from lodewalk.steps.checked_role import Role, Rows
from lodewalk.steps.findings import duration_text
from lodewalk.steps.proposed import Proposal
from lodewalk.steps.rows import at_distinct_times, in_time_order

#: What an event may be; a cause is always only probable.
WORDS = {
    Kind.PASSAGE: "something magnetic passed the base (vehicle, person or animal)",
    Kind.STEP: "the level of the base steps (sensor moved, or a vehicle came or left)",
    Kind.PARKED: "something magnetic stood at the base (parked vehicle)",
    Kind.NOISIER: "the base grew noisier (battery low, loose cable, wind)",
    Kind.CREEP: "the base drifts against the other record (temperature, battery, its mast)",
}
SAYS = {
    Witness.NONE: "no other record tells whether the field did it",
    Witness.NOT_SEEN: "the other record didn't see it",
    Witness.SEEN: "the other record saw it too: real variation",
}
#: Fixes of a base scatter by less than this [m].
STILL_M = 40.0
#: More events than this are told as a count.
MANY = 20
REASON = "disturbed base"


def tell_base_events(base: Role, decisions: tuple[Mapping[str, Any], ...] = ()) -> None:
    """Tell the events of each base, the others being its witnesses, and drop what they spoilt.

    A base that was decided to have moved is judged at each of its places by itself.
    """
    moves = moves_before(base.files, base.recorded.frame["recorded_time"], decisions)
    usable = {
        name: at_distinct_times(base.kept(rows), base.seconds)
        for name, rows in in_time_order(base.files, base.seconds)
    }
    parts = [(name, part) for name, rows in usable.items() for part in parted(rows, moves)]
    for name, rows in parts:
        if rows.size < 3:
            continue
        witness = _witness([other for n, other in usable.items() if n != name])
        times, values = base.seconds[rows], base.value[rows]
        events = find_base_events(
            times,
            values,
            witness_time_s=None if witness is None else base.seconds[witness],
            witness_nT=None if witness is None else base.value[witness],
        )
        _tell_untestable(base, name, events, nominal_interval(times))
        _tell(base, name, rows, events)
        base.tell_drops(name, rows[events.marked], REASON, severity="information")


def _witness(others: list[Rows]) -> Rows | None:
    """Return the rows of the other base that recorded most, if there is one."""
    longest = max(others, key=lambda rows: rows.size, default=None)
    return longest if longest is not None and longest.size > 2 else None


def _tell_untestable(base: Role, name: str, events: BaseEvents, interval_s: float) -> None:
    """Say that passages can't be told where the base reads too seldom."""
    if events.untestable[Kind.PASSAGE] == Untestable.INTERVAL_TOO_LONG:
        base.found.add(
            "base events not judged",
            f"{name}: a reading each {interval_s:.3g} s is too seldom to tell whether a vehicle "
            "or person passed the base; five seconds or less would.",
            instrument=name,
        )


def _tell(base: Role, name: str, rows: Rows, events: BaseEvents) -> None:
    """Add a finding for each event; real variation isn't one."""
    alone = np.flatnonzero(events.witness != Witness.SEEN)
    for place in _gravest(events, alone):
        kind = Kind(events.kind[place])
        start, end = float(events.start_s[place]), float(events.end_s[place])
        more = f", one of {alone.size} such events" if alone.size > MANY else ""
        move = _move(base, name, rows, end) if kind == Kind.STEP else None
        remedy = f" If it was moved or knocked: {move.command}." if move else ""
        base.found.add(
            f"base {kind.name.lower()}",
            f"{name}: {WORDS[kind]}, {events.peak_nT[place]:.1f} nT for "
            f"{duration_text(end - start)}, probability {events.probability[place]:.0%}; "
            f"{SAYS[Witness(events.witness[place])]}{more}.{remedy}",
            severity="doubt" if events.probability[place] >= 0.5 else "information",
            instrument=name,
            start_s=start,
            end_s=end,
            proposes=move,
            **base.place(int(rows[np.searchsorted(base.seconds[rows], start)])),
        )


def _move(base: Role, name: str, rows: Rows, end_s: float) -> Proposal:
    """Return the move that a step of the level may have been, at its moment as recorded."""
    after = rows[min(int(np.searchsorted(base.seconds[rows], end_s)), rows.size - 1)]
    moment = base.recorded.frame["recorded_time"][int(after)]
    return Proposal("move", name, f"{moment:%Y-%m-%dT%H:%M:%S}")


def _gravest(events: BaseEvents, alone: NDArray[np.int64]) -> list[int]:
    """Return the events to tell, the most probable ones, in order of time."""
    order = alone[np.argsort(-events.probability[alone], kind="stable")][:MANY]
    return sorted(int(place) for place in order)


def tell_walking_bases(base: Role) -> None:
    """Tell a base whose own positions move: files of base and rover were swapped, mostly."""
    latitude, longitude = (base.recorded.floats(f"{n}_deg") for n in ("latitude", "longitude"))
    across = 111_000.0 * np.cos(np.radians(latitude)) * longitude
    east, north = (
        np.where(np.isfinite(metres), metres, base.recorded.floats(f"{name}_m"))
        for name, metres in (("easting", across), ("northing", 111_000.0 * latitude))
    )
    for name, rows in in_time_order(base.files, base.seconds):
        moved = max(_extent(axis[rows]) for axis in (east, north))
        if moved > STILL_M:
            base.found.add(
                "base walks",
                f"{name}: the positions of this base move by {moved:.0f} m. Were the files of base "
                "and rover swapped? Add them again with the right roles.",
                severity="loss",
                instrument=name,
                start_s=base.seconds[rows[0]],
                end_s=base.seconds[rows[-1]],
            )


def _extent(metres: NDArray[np.float64]) -> float:
    """Return how far positions along one axis spread, the outermost tenth left out [m]."""
    known = metres[np.isfinite(metres)]
    return float(np.diff(np.percentile(known, (5, 95)))[0]) if known.size > 2 else 0.0
