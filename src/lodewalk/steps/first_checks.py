"""First checks: gaps, duplicates, order of time, dropouts, spikes, noise; the base's own."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.checks.base_record import base_range, chord_departures, default_chord
from lodewalk.methods.checks.base_spikes import find_base_spikes
from lodewalk.methods.checks.fourth_difference import fourth_difference, noise_sd
from lodewalk.methods.checks.spikes import find_dropouts, find_out_of_range, find_spikes
from lodewalk.methods.checks.time_order import (
    find_backward_steps,
    find_duplicates,
    find_gaps,
    nominal_interval,
)
from lodewalk.records import Record
from lodewalk.records.products import Findings
from lodewalk.steps.checked_role import Decided, Role
from lodewalk.steps.context import Context
from lodewalk.steps.findings import amount, duration_text
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
        for instrument, rows in in_time_order(role.files, role.seconds):
            _duplicates(role, instrument, rows, wanted=checks["duplicates"])
    factor, step = checks["gap_factor"], _spacing(inputs)
    for instrument, rows in in_time_order(rover.files, rover.seconds):
        _rover_gaps(rover, instrument, rows, factor=factor)
        _rover(rover, instrument, rows, checks, step=step)
        context.check_cancelled()
    for instrument, rows in in_time_order(base.files, base.seconds):
        _base_gaps(base, instrument, rows, factor=factor, walked=rover.seconds)
        _base(base, instrument, rows, checks)
    decided.keep()
    findings = pl.concat([rover.found.table().frame, base.found.table().frame])
    return {
        "rover_checks": rover.table(),
        "base_checks": base.table(),
        "first_findings": Findings(findings),
    }


def _spacing(inputs: Mapping[str, Record]) -> Callable[[Rows], tuple[float, float]]:
    """Return what tells, for some rows, the usual step between readings and sensor height [m]."""
    positions = table(inputs, "rover_positions")
    easting, northing = positions.floats("easting_m"), positions.floats("northing_m")
    above = positions.floats("height_above_ground_m")

    def step(rows: Rows) -> tuple[float, float]:
        steps = np.hypot(np.diff(easting[rows]), np.diff(northing[rows]))
        steps = steps[np.isfinite(steps)]
        usual = float(np.median(steps)) if steps.size else 0.0
        return usual, float(above[rows[0]])

    return step


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
    step: Callable[[Rows], tuple[float, float]],
) -> None:
    """Drop dropouts and spikes of a rover and measure its noise."""
    good = role.kept(rows)
    if checks["dropouts"]:
        lost = good[find_dropouts(role.value[good])]
        role.tell_drops(instrument, lost, "dropout", severity="doubt")
        good = role.kept(good)
    if checks["spikes"] and good.size and _dense(role, instrument, *step(good)):
        spikes = find_spikes(
            role.value[good],
            time_s=role.seconds[good],
            k_sd=checks["spike_factor"],
            floor_nT=checks["spike_floor_nT"],
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


def _base(role: Role, instrument: str, rows: Rows, checks: Mapping[str, Any]) -> None:
    """Drop impossible values of a base; measure its range and departures from the chord."""
    good = at_distinct_times(role.kept(rows), role.seconds)
    if checks["dropouts"]:
        lost = good[find_out_of_range(role.value[good])]
        role.tell_drops(instrument, lost, "dropout", severity="doubt")
        good = role.kept(good)
    if checks["spikes"]:
        spikes = good[find_base_spikes(role.seconds[good], role.value[good])]
        role.tell_drops(instrument, spikes, "spike", severity="doubt")
        good = role.kept(good)
    if not good.size:
        return
    times, values = role.seconds[good], role.value[good]
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
