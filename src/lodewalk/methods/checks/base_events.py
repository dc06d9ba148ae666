"""Events that a base record shows and the field of the Earth does not."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.base_events_grid import Piece, even_pieces, local_structure
from lodewalk.methods.checks.base_events_kinds import (
    LONGEST_INTERVAL_S,
    BaseEvents,
    CodeArray,
    Kind,
    Untestable,
    Witness,
)
from lodewalk.methods.checks.base_events_noise import USUAL, noise_blocks, noisier_stretches
from lodewalk.methods.checks.base_events_scan import (
    BUMP_SIDE_S,
    Demand,
    Found,
    find_bumps,
    find_steps,
    without_bumps,
    without_steps,
)
from lodewalk.methods.checks.base_events_witness import (
    Pair,
    creep,
    creep_testable,
    odds_alone,
    odds_base,
    paired,
    share_of_base,
    share_seen,
)
from lodewalk.methods.checks.fourth_difference import fourth_difference, noise_sd
from lodewalk.methods.checks.resolution import value_resolution
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

#: Shortest piece in which anything can be judged [s].
SHORTEST_S: Final = 300.0

#: False events a day at the least score on real records, from trials (none was a step; a tenth
#: stands in), and how fast they get fewer as the score grows. Against them stands one true event
#: a day, an assumption.
FALSE_A_DAY: Final = {Kind.PASSAGE: 0.5, Kind.STEP: 0.1, Kind.NOISIER: 0.5}
FEWER: Final = 3.0

#: A passage must last so many intervals to be found nineteen times in twenty, from trials.
SHORTEST_PASSAGE: Final = 5.0

#: Without a witness nothing is surer than this.
PROBABLE: Final = 0.95

#: Nothing is surer than this.
SUREST: Final = 0.999

#: Noise below this is good for any survey on foot [nT] (common practice).
LEAST_NOISE_NT: Final = 0.2

#: Two opposite steps whose sizes differ by less than this share are one parked vehicle.
PARKED_SHARE: Final = 0.3

#: Further apart than this they stay two steps [s]: so long a record is better shifted by a
#: decision than dropped.
LONGEST_PARKED_S: Final = 3600.0

#: A creep may be the witness's as well.
CREEP_PROBABILITY: Final = 0.5

#: What is searched for in turn, steps sharp or slow.
SEARCHES: Final = ((Kind.STEP, False), (Kind.PASSAGE, False), (Kind.STEP, True))

#: Most searches of a piece, each without what the ones before have found.
PASSES: Final = 3


@dataclass(frozen=True)
class _Event:
    """An event while it is being judged."""

    start: float
    end: float
    kind: Kind
    peak: float
    probability: float
    witness: Witness = Witness.NONE

    def overlaps(self, other: "_Event") -> bool:
        return self.start <= other.end and other.start <= self.end


@dataclass(frozen=True)
class _Settings:
    """The settings of `find_base_events`."""

    size_structure: float
    floor_nT: float
    noise_factor: float
    creep_nT: float


def find_base_events(
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    *,
    witness_time_s: ArrayLike | None = None,
    witness_nT: ArrayLike | None = None,
    size_structure: float = 4.2,
    floor_nT: float = 0.3,
    noise_factor: float = 3.0,
    creep_nT: float = 2.0,
) -> BaseEvents:
    """Find passages, steps, noise and creep that only the base saw.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Increasing times [s]; an interval above three usual ones parts the record.
    base_nT : array, shape (n,)
        Base readings [nT]; missing ones (NaN) are stepped over. Spikes of one or two readings
        (`find_base_spikes`) are better taken out before.
    witness_time_s, witness_nT : array, shape (n_witness,), optional
        Another record of the same field, of any constant, noise and interval, which may cover a
        part of the time: a second base, an observatory, a rover that stands still.
    size_structure : float
        A passage or a sharp step must exceed this many times the rms difference over a minute
        in the hour around it (default 4.2).
    floor_nT : float
        It must also exceed this, and two steps of the instrument's resolution [nT] (default 0.3).
    noise_factor : float
        Noise must exceed this many times that of the quietest quarter of the record, and 0.2 nT
        (default 3).
    creep_nT : float
        A creep must exceed this, and a tenth of the variation [nT] (default 2.0, the usual
        tolerance of a check station, common practice).

    Returns
    -------
    BaseEvents
        With what can't be looked for in this record: see `untestable` and `shortest_passage_s`.

    Raises
    ------
    InputError
        When lengths differ, times don't increase, a setting isn't above zero, or only half of a
        witness is given.

    Notes
    -----
    A *passage* is what stands out of the straight line through both its sides: windows of 6 to
    64 s, sides at least as long. Its peak exceeds ``size_structure`` times the local structure
    function and 5 times the rms of the sides, the sides are level, and it stands 8 times above
    the rms, 3 times above the worst departure of the minute on each of its sides about a
    parabola; so a train of pulsations isn't one. Start and end are where it has fallen to 8 % of
    its peak, a fifth of the least size, or the noise. A *step* is the difference of two levels
    with one slope, from 30 s on each side; it rises within 10 s or one interval, the slower the
    larger it must be, and shows from a minute on each side as well. What is found is taken out
    and the rest searched again. Two opposite steps in a row within an hour are a *parked*
    vehicle. A *noisier* stretch has a larger fourth difference, which doesn't grow with its
    spacing; that of the field does.

    With a witness the search is repeated on base less witness, at the times of the one that
    reads less often. The share of an event of the difference that the base shows, and the share
    of an event of the base that the witness shows, regressed over the event with the rms of the
    sides as error, give the odds. Without one, the probability rests on how often such a score
    comes from the real field, against one contamination a day (an assumption), and is never
    above 0.95: a real pulse can have the shape of a passage. Clocks must agree to a share of the
    event: an offset makes every pulsation look like contamination. A *creep* may be the
    witness's.

    The thresholds come from trials on real records of observatories (1 s, middle latitude),
    thinned to 2 to 60 s. A passage shorter than about five intervals is missed, also one longer
    than a minute, and one of a train of vehicles less than a minute apart; of broad ones more
    than about ten an hour hide each other. Nothing is seen within
    20 s (a step: 75 s) of the ends of the record and of its gaps.

    Examples
    --------
    >>> time = np.arange(0.0, 7200.0)
    >>> field = 48_000 + 20 * np.sin(time / 3000) + 0.3 * np.sin(time / 40)
    >>> field += 6 * np.exp(-0.5 * ((time - 3000) / 5) ** 2)
    >>> events = find_base_events(time, field)
    >>> [(Kind(kind).name, round(peak)) for kind, peak in zip(events.kind, events.peak_nT)]
    [('PASSAGE', 6)]
    >>> bool(events.marked[3000]), int(events.marked.sum()) < 40
    (True, True)
    """
    settings = _Settings(size_structure, floor_nT, noise_factor, creep_nT)
    for name in ("size_structure", "floor_nT", "noise_factor", "creep_nT"):
        check_positive(getattr(settings, name), name=name)
    time, value = _record(base_time_s, base_nT, "base")
    pair = _pair(time, value, witness_time_s, witness_nT)
    known = np.isfinite(value)
    pieces = even_pieces(time[known], value[known])
    untestable = _untestable(pieces, pair)
    noise = _noisier(pieces, settings) if not untestable[Kind.NOISIER] else []
    events = _search(pieces, value[known], untestable, settings)
    if pair is not None:
        events = _with_witness(events, pair, untestable, settings)
    events = _parked(events)
    if pair is not None:
        events += _creep(events, pair, settings)
    step_s = pieces[0].step_s if pieces else float("nan")
    events = sorted(events + noise, key=lambda event: (event.start, event.kind))
    return BaseEvents(
        start_s=np.array([event.start for event in events], dtype=np.float64),
        end_s=np.array([event.end for event in events], dtype=np.float64),
        kind=np.array([event.kind for event in events], dtype=np.int8),
        peak_nT=np.array([event.peak for event in events], dtype=np.float64),
        probability=np.array([event.probability for event in events], dtype=np.float64),
        witness=np.array([event.witness for event in events], dtype=np.int8),
        marked=_marked(events, time, step_s),
        judged=_judged(pieces, time, untestable),
        untestable=untestable,
        shortest_passage_s=float("nan") if untestable[Kind.PASSAGE] else SHORTEST_PASSAGE * step_s,
    )


def _record(time_s: ArrayLike, value_nT: ArrayLike, name: str) -> tuple[FloatArray, FloatArray]:
    """Return a record as checked arrays."""
    time, value = np.asarray(time_s, float), np.asarray(value_nT, float)
    check_same_length(**{f"{name}_time_s": time, f"{name}_nT": value})
    check_increasing(time, name=f"{name}_time_s")
    return time, value


def _pair(
    time: FloatArray, value: FloatArray, witness_time: ArrayLike | None, witness: ArrayLike | None
) -> Pair | None:
    """Return the witness at the times of the known base readings; None without one."""
    if witness_time is None or witness is None:
        if witness_time is not None or witness is not None:
            raise InputError(
                "A witness needs both its times and its readings.",
                remedy="Give witness_time_s and witness_nT together.",
            )
        return None
    return paired(time, value, *_record(witness_time, witness, "witness"))


def _untestable(pieces: list[Piece], pair: Pair | None) -> CodeArray:
    """Return for each kind why it can't be looked for."""
    reason = np.zeros(len(Kind), dtype=np.int8)
    longest = max((piece.value.size * piece.step_s for piece in pieces), default=0.0)
    interval = pieces[0].step_s if pieces else np.nan
    for kind, most in LONGEST_INTERVAL_S.items():
        # A little slack: a base each 5 s may well read each 5.02 s.
        if interval > 1.05 * most:
            reason[kind] = Untestable.INTERVAL_TOO_LONG
        elif longest < max(SHORTEST_S, 20 * interval) or not pieces:
            reason[kind] = Untestable.RECORD_TOO_SHORT
    if pair is None:
        reason[Kind.CREEP] = Untestable.NO_WITNESS
    elif not creep_testable(pair):
        reason[Kind.CREEP] = Untestable.RECORD_TOO_SHORT
    return reason


def _search(
    pieces: list[Piece], value: FloatArray, untestable: CodeArray, settings: _Settings
) -> list[_Event]:
    """Return the passages and steps of a record, as probable as they are without a witness."""
    resolution = value_resolution(value)
    if untestable[Kind.STEP]:
        return []
    passages = not untestable[Kind.PASSAGE]
    return [
        event for piece in pieces for event in _search_piece(piece, resolution, passages, settings)
    ]


def _search_piece(
    piece: Piece, resolution: float, passages: bool, settings: _Settings
) -> list[_Event]:
    """Return the passages and steps of a piece.

    What is found is taken out and the rest searched again: one event may hide another.
    """
    events: list[_Event] = []
    for _ in range(PASSES):
        before = len(events)
        for kind, slow in SEARCHES:  # the flank of a broad bump may be taken for a slow step
            demand = _demand(piece, resolution, settings)
            if kind == Kind.STEP:
                found = find_steps(piece, demand, slow=slow)
                rest = without_steps(piece.value, found)
            elif passages:
                found = find_bumps(piece, demand)
                rest = without_bumps(piece.value, found)
            else:
                continue
            events += _events(piece, found, kind)
            piece = replace(piece, value=rest)
        if len(events) == before:
            break
    return events


def _demand(piece: Piece, resolution: float, settings: _Settings) -> Demand:
    """Return what an event must reach in a piece."""
    noise = noise_sd(fourth_difference(piece.value))
    floor = max(settings.floor_nT, 2 * resolution)
    size = np.maximum(settings.size_structure * local_structure(piece), floor)
    return Demand(size, noise, max(0.3 * resolution, 1e-3))


def _events(piece: Piece, found: Found, kind: Kind) -> list[_Event]:
    """Return what was found in a piece as events."""
    start, end = piece.time_s(found.first), piece.time_s(found.last)
    rows = zip(start, end, found.size_nT, found.score, strict=True)
    return [_Event(float(a), float(b), kind, float(n), _probable(kind, s)) for a, b, n, s in rows]


def _probable(kind: Kind, score: float) -> float:
    """Return the probability of an event with this score, without a witness."""
    return float(min(1 / (1 + FALSE_A_DAY[kind] * score**-FEWER), PROBABLE))


def _noisier(pieces: list[Piece], settings: _Settings) -> list[_Event]:
    """Return the stretches that are noisier than the quietest quarter of the record."""
    blocks = [noise_blocks(piece) for piece in pieces]
    sizes = np.concatenate([one for one, _ in blocks])
    if not sizes.size:
        return []
    usual = float(np.quantile(sizes, USUAL))
    least = max(settings.noise_factor * usual, LEAST_NOISE_NT)
    rows = (
        row
        for piece, block in zip(pieces, blocks, strict=True)
        for row in noisier_stretches(piece, block, least_nT=least)
    )
    return [
        _Event(a, b, Kind.NOISIER, noise, _probable(Kind.NOISIER, over))
        for a, b, noise, over in rows
    ]


def _with_witness(
    own: list[_Event], pair: Pair, untestable: CodeArray, settings: _Settings
) -> list[_Event]:
    """Return the events as the witness shows them, and those that only the difference shows."""
    difference = pair.base_nT - pair.witness_nT
    pieces = even_pieces(pair.time_s, difference)
    reason = untestable.copy()
    for kind in (Kind.PASSAGE, Kind.STEP):
        if pair.interval_s > 1.05 * LONGEST_INTERVAL_S[kind]:
            reason[kind] = Untestable.INTERVAL_TOO_LONG
    apart = [_of_base(event, pair) for event in _search(pieces, difference, reason, settings)]
    alone = [event for event in apart if event is not None]
    judged = [_seen_or_not(e, pair) for e in own if not any(e.overlaps(a) for a in alone)]
    return alone + judged


def _of_base(event: _Event, pair: Pair) -> _Event | None:
    """Return an event of the difference if it is rather the base's than the witness's."""
    share, sd = share_of_base(pair, event.start, event.end, step=event.kind != Kind.PASSAGE)
    if np.isnan(share):
        return None
    odds = odds_base(share, sd)
    probability = min(odds / (1 + odds), SUREST)
    if probability < 0.5:
        return None
    return replace(event, probability=probability, witness=Witness.NOT_SEEN)


def _seen_or_not(event: _Event, pair: Pair) -> _Event:
    """Return an event of the base with what the witness says of it."""
    share, sd = share_seen(pair, event.start, event.end, step=event.kind != Kind.PASSAGE)
    if np.isnan(share):
        return event
    odds = odds_alone(share, sd) * event.probability / (1 - event.probability)
    probability = float(np.clip(odds / (1 + odds), 1 - SUREST, SUREST))
    says = Witness.NOT_SEEN if probability >= 0.5 else Witness.SEEN
    return replace(event, probability=probability, witness=says)


def _parked(events: list[_Event]) -> list[_Event]:
    """Return the events with each two opposite steps in a row made one."""
    steps = sorted((e for e in events if e.kind == Kind.STEP), key=lambda e: e.start)
    merged: list[_Event] = []
    for step in steps:
        last = merged[-1] if merged else None
        if last is not None and _opposite(last, step):
            merged[-1] = replace(
                last,
                end=step.end,
                kind=Kind.PARKED,
                peak=(last.peak - step.peak) / 2,
                probability=max(last.probability, step.probability),
            )
        else:
            merged.append(step)
    return [event for event in events if event.kind != Kind.STEP] + merged


def _opposite(one: _Event, two: _Event) -> bool:
    """Tell whether the second step undoes the first."""
    left = abs(one.peak + two.peak)
    return (
        one.kind == Kind.STEP
        and two.start - one.end <= LONGEST_PARKED_S
        and (one.witness == Witness.SEEN) == (two.witness == Witness.SEEN)
        and left < PARKED_SHARE * min(abs(one.peak), abs(two.peak))
    )


def _creep(events: list[_Event], pair: Pair, settings: _Settings) -> list[_Event]:
    """Return the drift of base less witness, steps taken out."""
    base = pair.base_nT.copy()
    for event in events:
        if event.probability >= 0.5 and event.kind == Kind.STEP:
            base[pair.time_s >= event.end] -= event.peak
        if event.probability >= 0.5 and event.kind in (Kind.PARKED, Kind.PASSAGE):
            base[(pair.time_s >= event.start) & (pair.time_s <= event.end)] = np.nan
    left = np.isfinite(base)
    flat = Pair(pair.time_s[left], base[left], pair.witness_nT[left], pair.interval_s)
    found = creep(flat, least_nT=settings.creep_nT)
    if found is None:
        return []
    return [_Event(found[0], found[1], Kind.CREEP, found[2], CREEP_PROBABILITY, Witness.NOT_SEEN)]


def _judged(pieces: list[Piece], time: FloatArray, untestable: CodeArray) -> BoolArray:
    """Mark the readings at which a passage would have been seen."""
    judged = np.zeros(time.size, dtype=bool)
    if untestable[Kind.PASSAGE]:
        return judged
    for piece in pieces:
        end = piece.start_s + piece.step_s * (piece.value.size - 1)
        if end - piece.start_s >= SHORTEST_S:
            judged |= (time >= piece.start_s + BUMP_SIDE_S) & (time <= end - BUMP_SIDE_S)
    return judged


def _marked(events: list[_Event], time: FloatArray, step_s: float) -> BoolArray:
    """Mark the readings that are rather contaminated than not."""
    marked = np.zeros(time.size, dtype=bool)
    for event in events:
        if event.kind in (Kind.PASSAGE, Kind.STEP, Kind.PARKED) and event.probability >= 0.5:
            first, stop = np.searchsorted(
                time, (event.start - step_s / 2, event.end + step_s / 2), side="left"
            )
            marked[first:stop] = True
    return marked
