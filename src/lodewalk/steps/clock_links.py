"""Links between clocks: what each kind of evidence says, for each rover and field day."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.checks.clocks.combine import UTC, ClockLink
from lodewalk.methods.checks.clocks.drift import Drift, runs_drift
from lodewalk.methods.checks.clocks.evidence import DETECTED, NOT_IDENTIFIABLE, ClockEvidence
from lodewalk.methods.checks.clocks.pair import pair_offset
from lodewalk.methods.checks.clocks.revisits import revisit_clock
from lodewalk.methods.checks.clocks.turns import turns_offset
from lodewalk.methods.checks.clocks.zigzag import zigzag_offset
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.records import Record
from lodewalk.steps.bases import Base, usable_bases
from lodewalk.steps.context import Context
from lodewalk.steps.crossings import stands, walked_readings
from lodewalk.steps.days import Days
from lodewalk.steps.rows import document, file_rows, in_time_order, instruments, table
from lodewalk.steps.tracks import NO_TRACK, Track, track_for, tracks_of
from lodewalk.steps.trial_spans import trial_spans

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: A stand shorter than this tells nothing of a clock by the variation of the field [s].
LEAST_STAND_S = 180.0
#: Readings of the base that a stand must hold.
LEAST_BASE_READINGS = 8
#: Most stands of a rover and day that are compared with the base, the longest first.
MOST_STANDS = 6
#: Readings further apart belong to two outings, and an outing of up to this length isn't cut at
#: midnight, which a clock that is off may show in the middle of it (common practice) [s].
OUTING_PAUSE_S, LONGEST_OUTING_S = 4 * 3600.0, 16 * 3600.0
#: The zigzag is looked for within a minute; a slip beyond this needs a first idea of it [s].
ZIGZAG_REACH_S = 45.0
#: Track kept on either side of a day's readings, so that slips up to that are seen [s].
BESIDE_S = 180.0
PAIRED, STOOD = "side-by-side run", "variation seen standing"
BASES = "variation that both bases saw"
ZIGZAG = "zigzag of the lines against the track"
TURNS = "turns of the track against the marks"
REVISITS, ALL_DAYS = "crossings and revisits", "crossings and revisits of all days, as one setting"
FITTED = "runs beside the base, with their drift"


@dataclass(frozen=True)
class Outing:
    """What one rover read on one field day, by its clock as recorded, and the track of it."""

    name: str
    day: str
    rows: Rows
    track: Track | None


@dataclass(frozen=True)
class Clocks:
    """What the step works on: the survey by its clocks as recorded."""

    inputs: Mapping[str, Record]
    bases: list[Base]
    seconds: Floats
    field_nT: Floats
    rows: Mapping[str, Rows]
    outings: list[Outing]
    days: Days

    def tracks(self, name: str) -> list[Track]:
        """Return the tracks that a rover without positions of its own was walked with."""
        return [o.track for o in self.outings if o.name == name and o.track is not None]


class DayDrift(NamedTuple):
    """The drift of an instrument against another one on a day."""

    instrument: str
    against: str
    day: str
    drift: Drift
    runs: int


def clocks_of(bare: Mapping[str, Record], settings: Mapping[str, Any]) -> Clocks:
    """Gather bases, rovers and tracks."""
    seconds = table(bare, "rover_times").seconds("time_utc")
    checks = table(bare, "rover_checks")
    field = np.where(
        checks.booleans("kept"), table(bare, "rover_recorded").floats("raw_nT"), np.nan
    )
    days = Days.of(settings["survey.time_zone"])
    rows = dict(in_time_order(document(bare, "rover_files"), seconds))
    tracks = _tracks_of_files(bare, seconds, settings)
    starts = np.array([start for start, _ in tracks], dtype=np.int64)
    outings = []
    for name, own in rows.items():
        for day, part in outing_days(seconds[own], days).items():
            files = np.unique(np.searchsorted(starts, own[part], side="right") - 1)
            there = [tracks[int(file)][1] for file in files]
            best = max(there, key=lambda track: -1 if track is None else track["track_time_s"].size)
            outings.append(Outing(name, day, own[part], best))
    bases = usable_bases(bare)
    return Clocks(bare, bases, seconds, field, rows, outings, days)


def _tracks_of_files(
    bare: Mapping[str, Record], seconds: Floats, settings: Mapping[str, Any]
) -> list[tuple[int, Track | None]]:
    """Return first row and track of each rover file; None where the file has its own fixes."""
    tracks = tracks_of(
        table(bare, "track_recorded"),
        table(bare, "track_times").seconds("time_utc"),
        document(bare, "track_files"),
        crs=settings["survey.crs"],
        max_speed_m_s=settings["position"]["max_speed_m_s"],
    )
    files = document(bare, "rover_files")
    source = np.array(table(bare, "rover_positions").strings("source"), dtype=object)
    found: list[tuple[int, Track | None]] = []
    for span in file_rows(files):
        own = np.isin(source[span.rows], ("recorded", "local grid")).any()
        track = track_for(span, seconds[span.rows], tracks, instruments(files))
        found.append((span.start, None if own else track))
    return found


def outing_days(seconds: Floats, days: Days) -> dict[str, Rows]:
    """Return the field day of readings in order of time: the places of each day's.

    Examples
    --------
    An outing that a clock hours ahead shows across midnight stays whole:

    >>> evening = np.arange(20.0, 28.0, 0.5) * 3600
    >>> {day: part.size for day, part in outing_days(evening, Days.of("UTC")).items()}
    {'1970-01-01': 16}
    """
    found: dict[str, list[Rows]] = {}
    cuts = np.flatnonzero(np.diff(seconds) > OUTING_PAUSE_S) + 1
    for part in np.split(np.arange(seconds.size), cuts):
        if not part.size:
            continue
        first, last = seconds[part[0]], seconds[part[-1]]
        if last - first <= LONGEST_OUTING_S:
            found.setdefault(days.name((first + last) / 2), []).append(part)
            continue
        for day in days.names(seconds[part]):
            start, end = days.bounds(day)
            inside = (seconds[part] >= start) & (seconds[part] < end)
            found.setdefault(day, []).append(part[inside])
    return {day: np.concatenate(parts) for day, parts in sorted(found.items())}


def all_links(clocks: Clocks, context: Context) -> tuple[list[ClockLink], list[DayDrift]]:
    """Return what each kind of evidence says, and the drifts that it tells."""
    links, drifts = _between_bases(clocks)
    spans = trial_spans(clocks.inputs, context.decisions)
    still = stands(walked_readings(clocks.inputs))
    for outing in clocks.outings:
        own = [*_against_track(clocks, outing), *_revisits(clocks, outing)]
        marked = [
            s.rows
            for s in spans
            if s.instrument == outing.name and s.test in ("side-by-side", "static")
        ]
        standing = [(s.start_s, s.end_s) for s in still if s.instrument == outing.name]
        runs = _runs(clocks, outing, marked, standing)
        for base in clocks.bases:
            more, drift = _against_base(clocks, outing, base, runs, _gross_slip(own))
            own += more
            drifts += drift
        links += own
        context.check_cancelled()
    return links, drifts


def pooled_revisits(clocks: Clocks, links: list[ClockLink], anew: set[str]) -> list[ClockLink]:
    """Return the links with one for the revisits of all days where no day tells another clock.

    Places read on different days say as much as those of one day, if the clock was set once.
    """
    found = list(links)
    for name in clocks.rows:
        daily = [li for li in links if li.first == name and li.method == REVISITS]
        several = len({outing.day for outing in clocks.outings if outing.name == name}) > 1
        claims = any(link.evidence.state == DETECTED for link in daily)
        against = {base.name for base in clocks.bases}
        if several and not claims and not anew & ({name} | against):
            found = [link for link in found if link not in daily]
            every = (-np.inf, np.inf)
            found += _by_crossings(clocks, name, every, method=ALL_DAYS, day="")
    return found


def _between_bases(clocks: Clocks) -> tuple[list[ClockLink], list[DayDrift]]:
    """Compare the clock of each base with the first one's, by the variation both saw, by day."""
    links, drifts = [], []
    for base in clocks.bases[1:]:
        first = clocks.bases[0]
        for day, part in outing_days(base.seconds, clocks.days).items():
            times = base.seconds[part]
            evidence = pair_offset(times, base.field_nT[part], first.seconds, first.field_nT)
            links.append(ClockLink(base.name, first.name, evidence, BASES, day))
            lasted = float(times[-1] - times[0])
            if lasted > 0:
                slower = max(nominal_interval(b.seconds) for b in (base, first))
                _, drift = runs_drift(
                    [0.0], [evidence], at_s=0.0, lasting_s=lasted, interval_s=slower
                )
                drifts += [DayDrift(base.name, first.name, day, drift, 1)] if drift else []
    return links, drifts


def _runs(
    clocks: Clocks, outing: Outing, marked: list[Rows], standing: list[tuple[float, float]]
) -> list[tuple[str, Rows]]:
    """Return the runs beside the base of an outing, and its longest other stands."""
    inside = np.zeros(clocks.seconds.size, dtype=bool)
    inside[outing.rows] = True
    runs = [(PAIRED, rows[inside[rows]]) for rows in marked]
    used = np.zeros(clocks.seconds.size, dtype=bool)
    for _, rows in runs:
        used[rows] = True
    times = clocks.seconds[outing.rows]
    found = []
    for start, end in standing:
        rows = outing.rows[(times >= start) & (times <= end)]
        if end - start >= LEAST_STAND_S and rows.size and not used[rows].any():
            found.append((STOOD, rows))
    return runs + sorted(found, key=lambda item: -item[1].size)[:MOST_STANDS]


def _against_base(
    clocks: Clocks, outing: Outing, base: Base, runs: list[tuple[str, Rows]], slip_s: float
) -> tuple[list[ClockLink], list[DayDrift]]:
    """Compare the runs of an outing with a base; where they tell a drift, as one link with it."""
    links: list[ClockLink] = []
    middles: list[float] = []
    interval = nominal_interval(base.seconds)
    for method, rows in runs:
        if rows.size < 2:
            continue
        times, field = clocks.seconds[rows], clocks.field_nT[rows]
        if times[-1] - times[0] < LEAST_BASE_READINGS * interval:
            continue
        evidence = pair_offset(times, field, base.seconds, base.field_nT)
        if slip_s and not np.isfinite(evidence.offset_s):
            evidence = pair_offset(times - slip_s, field, base.seconds, base.field_nT)
            evidence = evidence.moved(slip_s)
        links.append(ClockLink(outing.name, base.name, evidence, method, outing.day))
        middles.append(float(times[0] + times[-1]) / 2)
    first, last = clocks.seconds[outing.rows[0]], clocks.seconds[outing.rows[-1]]
    if not last > first:
        return links, []
    fitted, drift = runs_drift(
        middles,
        [link.evidence for link in links],
        at_s=float(first + last) / 2,
        lasting_s=float(last - first),
        interval_s=max(nominal_interval(clocks.seconds[outing.rows]), interval),
    )
    if drift is None or not drift.plausible:
        return links, []
    told = sum(bool(np.isfinite(link.evidence.offset_s)) for link in links)
    if drift.matters and told > 1:
        links = [ClockLink(outing.name, base.name, fitted, FITTED, outing.day)]
    return links, [DayDrift(outing.name, base.name, outing.day, drift, told)]


def _gross_slip(links: list[ClockLink]) -> float:
    """Return the best known offset of an outing that was found to be off by much; 0 for none."""
    known = [link.evidence for link in links if link.evidence.state != NOT_IDENTIFIABLE]
    best = min(known, key=lambda evidence: evidence.sd_s, default=None)
    return 0.0 if best is None or abs(best.offset_s) <= ZIGZAG_REACH_S else best.offset_s


def _revisits(clocks: Clocks, outing: Outing) -> Iterator[ClockLink]:
    """Compare rover and base by the places that the rover read at two times of one day."""
    times = clocks.seconds[outing.rows]
    yield from _by_crossings(
        clocks, outing.name, (times[0], times[-1]), method=REVISITS, day=outing.day
    )


def _by_crossings(
    clocks: Clocks, name: str, within_s: tuple[float, float], *, method: str, day: str
) -> Iterator[ClockLink]:
    """Compare rover and base by the crossings of a span of time."""
    crossings = table(clocks.inputs, "crossings")
    inside = np.ones(len(crossings), dtype=bool)
    for side in ("first", "second"):
        time = crossings.seconds(f"{side}_utc")
        inside &= np.array(crossings.strings(f"{side}_instrument"), dtype=object) == name
        inside &= (time >= within_s[0]) & (time <= within_s[1])
    own = np.flatnonzero(inside)
    for base in clocks.bases if own.size else ():
        found = revisit_clock(
            crossings.seconds("first_utc")[own],
            crossings.seconds("second_utc")[own],
            crossings.floats("difference_nT")[own],
            base_time_s=base.seconds,
            base_nT=base.field_nT,
            difference_sd_nT=crossings.floats("sd_nT")[own],
        )
        yield ClockLink(name, base.name, found.evidence, method, day)


def _against_track(clocks: Clocks, outing: Outing) -> list[ClockLink]:
    """Compare a rover with the clock of the track that gives its positions on a day."""
    track = outing.track
    if track is None or track is NO_TRACK or not track["track_time_s"].size:
        return []
    marks = table(clocks.inputs, "rover_recorded").frame["line"].gather(outing.rows)
    turns = turns_offset(
        clocks.seconds[outing.rows],
        marks.fill_null("").to_numpy(),
        track_time_s=track["track_time_s"],
        track_easting=track["track_easting_m"],
        track_northing=track["track_northing_m"],
        field_nT=clocks.field_nT[outing.rows],
    )
    zigzag = _zigzag(clocks, outing, track, 0.0)
    if np.isfinite(turns.offset_s) and abs(turns.offset_s) > ZIGZAG_REACH_S:
        again = _zigzag(clocks, outing, track, turns.offset_s)
        zigzag = again if np.isfinite(again.offset_s) else zigzag
    return [
        ClockLink(outing.name, UTC, zigzag, ZIGZAG, outing.day),
        ClockLink(outing.name, UTC, turns, TURNS, outing.day),
    ]


def _zigzag(clocks: Clocks, outing: Outing, track: Track, slip_s: float) -> ClockEvidence:
    """Return the offset by the zigzag, looked for about a slip."""
    times = clocks.seconds[outing.rows] - slip_s
    fixes = track["track_time_s"]
    near = (fixes >= times[0] - BESIDE_S) & (fixes <= times[-1] + BESIDE_S)
    lines = table(clocks.inputs, "rover_lines").frame["line"].gather(outing.rows)
    found = zigzag_offset(
        times,
        clocks.field_nT[outing.rows],
        lines.fill_null("").to_numpy(),
        track_time_s=fixes[near],
        track_easting=track["track_easting_m"][near],
        track_northing=track["track_northing_m"][near],
    )
    return found.moved(slip_s)
