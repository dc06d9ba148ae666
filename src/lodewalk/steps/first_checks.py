"""First checks: gaps, duplicates, order of time, dropouts, spikes, noise; the base's own."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.checks.base_record import base_range, chord_departures, default_chord
from lodewalk.methods.checks.base_spikes import find_base_spikes
from lodewalk.methods.checks.fourth_difference import fourth_difference, noise_sd
from lodewalk.methods.checks.quality import low_quality
from lodewalk.methods.checks.spikes import find_dropouts, find_out_of_range, find_spikes
from lodewalk.methods.checks.stuck_base import stuck_base
from lodewalk.methods.checks.time_order import (
    find_backward_steps,
    find_duplicates,
    find_gaps,
    nominal_interval,
)
from lodewalk.methods.corrections.time_scales import GPS_MINUS_UTC_KNOWN_UNTIL
from lodewalk.records import Record
from lodewalk.records.products import Findings
from lodewalk.steps.base_events import tell_base_events, tell_walking_bases
from lodewalk.steps.bases import moves_before, parted
from lodewalk.steps.checked_role import Decided, Role
from lodewalk.steps.context import Context
from lodewalk.steps.findings import amount, duration_text
from lodewalk.steps.proposed import Proposal
from lodewalk.steps.rows import at_distinct_times, file_rows, in_time_order, table
from lodewalk.units import SECONDS_PER_DAY

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: Spikes are judged where readings lie no farther apart than this times the sensor's height,
#: as the check's own limit wants it; a twentieth more, since steps vary.
DENSE_STEPS = 1.05
#: More findings of one kind from one instrument than this are told as a count.
MANY = 20
#: A rover that rests longer than this is between two days, not in a gap [s].
NIGHT_S = 4 * 3600.0


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return what the checks keep of rover and base, and the findings."""
    checks = settings["checks"]
    rover, base = Role(inputs, "rover"), Role(inputs, "base")
    decided = Decided(rover, base, context.decisions)
    decided.drop()
    for role in (rover, base):
        _lacking(role)
        _time_order(role)
        _leap_seconds(role)
        for instrument, rows in in_time_order(role.files, role.seconds):
            _duplicates(role, instrument, rows, wanted=checks["duplicates"])
    factor, way = checks["gap_factor"], _way(inputs)
    for instrument, rows in in_time_order(rover.files, rover.seconds):
        _rover_gaps(rover, instrument, rows, factor=factor)
        _rover(rover, instrument, rows, checks, way=way)
        context.check_cancelled()
    for instrument, rows in in_time_order(base.files, base.seconds):
        _base_gaps(base, instrument, rows, factor=factor, walked=rover.seconds)
        _base_spikes(base, rows, instrument, checks)
    tell_walking_bases(base)
    if checks["base_events"]:
        tell_base_events(base, context.decisions)
    moves = moves_before(base.files, base.recorded.frame["recorded_time"], context.decisions)
    for instrument, rows in in_time_order(base.files, base.seconds):
        for part in parted(rows, moves):
            _base(base, instrument, part, checks)
    decided.keep()
    tables = [role.found.table().frame for role in (rover, base)]
    return {
        "rover_checks": rover.table(),
        "base_checks": base.table(),
        "first_findings": Findings(pl.concat(tables, how="diagonal")),
    }


@dataclass(frozen=True)
class Way:
    """Where each rover reading was taken."""

    easting: Floats
    northing: Floats
    above: Floats

    def walked(self, rows: Rows) -> Floats:
        """Return the distance walked up to each row; a step without a place counts as usual [m]."""
        steps = np.hypot(np.diff(self.easting[rows]), np.diff(self.northing[rows]))
        steps = np.where(np.isfinite(steps), steps, self.usual_step(rows))
        return np.concatenate(([0.0], np.cumsum(steps)))

    def usual_step(self, rows: Rows) -> float:
        """Return the median step between readings, 0 where no place is known [m]."""
        steps = np.hypot(np.diff(self.easting[rows]), np.diff(self.northing[rows]))
        steps = steps[np.isfinite(steps)]
        return float(np.median(steps)) if steps.size else 0.0


def _way(inputs: Mapping[str, Record]) -> Way:
    """Return where each rover reading was taken."""
    positions = table(inputs, "rover_positions")
    names = ("easting_m", "northing_m", "height_above_ground_m")
    return Way(*(positions.floats(name) for name in names))


def _lacking(role: Role) -> None:
    """Drop readings without field or time."""
    rows = np.arange(len(role.recorded))
    role.drop(rows[~np.isfinite(role.value)], "no field value")
    role.drop(rows[~np.isfinite(role.seconds)], "no time")


def _time_order(role: Role) -> None:
    """Tell where the time of a file runs back, once for each file."""
    for span in file_rows(role.files):
        steps = find_backward_steps(role.seconds[span.rows])
        if not steps.at.size:
            continue
        first = span.start + int(steps.at[0])
        place, count = role.place(first), steps.at.size
        more = f", the first of {count} such places" if count > 1 else ""
        role.found.add(
            "time runs back",
            f"{span.name}, line {place['line_in_file']}: time runs back by "
            f"{duration_text(-steps.step_s[0])}{more}.",
            severity="doubt",
            instrument=span.instrument,
            start_s=role.seconds[first],
            **place,
        )


def _leap_seconds(role: Role) -> None:
    """Tell files in GPS time that go on after the last date whose leap seconds are known."""
    known = datetime.fromisoformat(f"{GPS_MINUS_UTC_KNOWN_UNTIL}T00:00:00Z").timestamp()
    for span in file_rows(role.files):
        late = span.start + np.flatnonzero(role.seconds[span.rows] >= known)
        if span.zone == "GPS" and late.size:
            role.found.add(
                "leap seconds unknown",
                f"{span.name}: GPS time less UTC is known until {GPS_MINUS_UTC_KNOWN_UNTIL}; "
                f"{amount(late.size, 'later reading keeps', 'later readings keep')} the last "
                "value. If a leap second was announced since, set it right by decide clock.",
                severity="doubt",
                instrument=span.instrument,
                start_s=role.seconds[late[0]],
                end_s=role.seconds[late[-1]],
                **role.place(int(late[0])),
            )


def _base_gaps(role: Role, instrument: str, rows: Rows, *, factor: float, walked: Floats) -> None:
    """Tell the gaps of a base; grave where rover readings were taken in them."""
    gaps = find_gaps(role.seconds[rows], factor=factor)
    longest = np.argsort(-gaps.duration_s, kind="stable")[:MANY]
    for place in np.sort(longest):
        start, end = gaps.start_s[place], gaps.end_s[place]
        missed = int(np.sum((walked > start) & (walked < end)))
        text = f"{instrument}: no reading for {duration_text(end - start)}"
        if missed:
            text += f" while {amount(missed, 'rover reading was', 'rover readings were')} taken"
        if len(gaps) > MANY:
            text += f", one of the {MANY} longest of {len(gaps)} gaps"
        role.found.add(
            "gap in the base record",
            f"{text}.",
            severity="doubt" if missed else "information",
            instrument=instrument,
            start_s=start,
            end_s=end,
            **role.place(int(rows[gaps.last[place]])),
        )


def _rover_gaps(role: Role, instrument: str, rows: Rows, *, factor: float) -> None:
    """Tell the gaps of a rover, those of a day together; a night is no gap."""
    gaps = find_gaps(role.seconds[rows], factor=factor)
    day = np.floor(gaps.start_s / SECONDS_PER_DAY)
    for date in np.unique(day):
        here = np.flatnonzero((day == date) & (gaps.duration_s < NIGHT_S))
        if not here.size:
            continue
        worst = here[np.argmax(gaps.duration_s[here])]
        role.found.add(
            "gap in the rover record",
            f"{instrument}: {amount(here.size, 'gap')}, the longest "
            f"{duration_text(gaps.duration_s[worst])}.",
            instrument=instrument,
            start_s=gaps.start_s[here[0]],
            end_s=gaps.end_s[here[-1]],
            **role.place(int(rows[gaps.last[worst]])),
        )


def _duplicates(role: Role, instrument: str, rows: Rows, *, wanted: bool) -> None:
    """Drop copies, and readings that contradict an earlier one of the same time."""
    twice = find_duplicates(role.seconds[rows], role.value[rows])
    if wanted:
        role.tell_drops(instrument, rows[twice.same_reading], "duplicate", severity="information")
        second = "second value for one time"
        role.tell_drops(instrument, rows[twice.same_time], second, severity="doubt")


def _rover(
    role: Role,
    instrument: str,
    rows: Rows,
    checks: Mapping[str, Any],
    *,
    way: Way,
) -> None:
    """Drop dropouts and spikes of a rover and measure its noise."""
    good = role.kept(rows)
    if checks["dropouts"]:
        lost = good[find_dropouts(role.value[good])]
        role.tell_drops(instrument, lost, "dropout", severity="doubt")
        good = role.kept(good)
    if checks["low_quality"] and role.recorded.has("quality") and good.size:
        poor = good[low_quality(role.recorded.floats("quality")[good])]
        role.tell_drops(instrument, poor, "low quality", severity="doubt")
        good = role.kept(good)
    if (
        checks["spikes"]
        and good.size
        and _dense(role, instrument, way.usual_step(good), float(way.above[good[0]]))
    ):
        spikes = find_spikes(
            role.value[good],
            time_s=role.seconds[good],
            k_sd=checks["spike_factor"],
            floor_nT=checks["spike_floor_nT"],
            distance_m=way.walked(good) if way.usual_step(good) else None,
            sensor_height_m=np.maximum(way.above[good], 0.1),
        )
        role.tell_drops(instrument, good[spikes], "spike", severity="information")
        good = role.kept(good)
    role.fourth[good] = fourth_difference(role.value[good], time_s=role.seconds[good])
    noise = noise_sd(role.fourth[good])
    if np.isfinite(noise):
        role.found.add(
            "noise",
            f"{instrument}: noise {noise:.2f} nT from the fourth difference, an upper limit where "
            f"sources are shallow; a reading each {nominal_interval(role.seconds[good]):.3g} s.",
            instrument=instrument,
        )


def _dense(role: Role, instrument: str, step_m: float, sensor_m: float) -> bool:
    """Tell whether readings are dense enough to tell spikes from rocks; say so if not."""
    if step_m <= DENSE_STEPS * sensor_m:
        return True
    role.found.add(
        "spikes not judged",
        f"{instrument}: readings each {step_m:.1f} m under a sensor {sensor_m:.1f} m above ground "
        "are too far apart to tell a spike from a rock; none was dropped.",
        instrument=instrument,
    )
    return False


def _base_spikes(role: Role, rows: Rows, instrument: str, checks: Mapping[str, Any]) -> None:
    """Drop impossible values and isolated spikes of a base."""
    good = at_distinct_times(role.kept(rows), role.seconds)
    if checks["dropouts"]:
        lost = good[find_out_of_range(role.value[good])]
        role.tell_drops(instrument, lost, "dropout", severity="doubt")
        good = role.kept(good)
    if checks["spikes"]:
        spikes = good[find_base_spikes(role.seconds[good], role.value[good])]
        role.tell_drops(instrument, spikes, "spike", severity="doubt")


def _base(role: Role, instrument: str, rows: Rows, checks: Mapping[str, Any]) -> None:
    """Measure noise, range and departures from the chord of a base."""
    good = at_distinct_times(role.kept(rows), role.seconds)
    if not good.size:
        return
    times, values = role.seconds[good], role.value[good]
    if good.size == 1:
        role.found.add(
            "base range",
            f"{instrument}: one reading only, so neither its range nor its interval can be told.",
            severity="doubt",
            instrument=instrument,
            start_s=times[0],
            end_s=times[0],
        )
        return
    _tell_stuck(role, instrument, good)
    role.fourth[good] = fourth_difference(values, time_s=times)
    chord = default_chord(times, shortest_s=checks["chord_s"])
    role.departure[good] = chord_departures(times, values, chord_s=chord).departure_nT
    worst = role.departure[good]
    judged = np.isfinite(worst).any()
    size = f"{np.nanmax(worst):.2f} nT" if judged else "cannot be judged"
    role.found.add(
        "base range",
        f"{instrument}: range {base_range(values):.1f} nT, a reading each "
        f"{nominal_interval(times):.3g} s, worst departure from a chord of {chord:.0f} s {size}.",
        instrument=instrument,
        start_s=times[0],
        end_s=times[-1],
    )


def _tell_stuck(role: Role, instrument: str, good: Rows) -> None:
    """Tell where a base repeats one value although the field can't stand still so long."""
    runs = stuck_base(role.seconds[good], role.value[good])
    recorded = role.recorded.frame["recorded_time"]
    for first, last in zip(runs.first.tolist(), runs.last.tolist(), strict=True):
        ends = (recorded[int(good[place])].isoformat() for place in (first, last))
        drop = Proposal("drop", instrument, *ends)
        role.found.add(
            "base stuck",
            f"{instrument}: the same value, {role.value[good[first]]:.2f} nT, in "
            f"{last - first + 1} readings over "
            f"{duration_text(role.seconds[good[last]] - role.seconds[good[first]])}: a sensor or "
            "logger that hangs measures nothing. What was corrected with it is wrong by what the "
            f"field did meanwhile. If so: {drop.command}.",
            severity="doubt",
            instrument=instrument,
            start_s=role.seconds[good[first]],
            end_s=role.seconds[good[last]],
            proposes=drop,
            **role.place(int(good[first])),
        )
