"""Lag: how late each rover's field is beside its positions, against positions as recorded."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.corrections.lag import UNKNOWN, Lag, estimate_lag
from lodewalk.methods.corrections.lag_judgement import LagJudgement, judge_lag, steep_slope
from lodewalk.records import Document, Record
from lodewalk.steps import lines
from lodewalk.steps.as_recorded import moved
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList
from lodewalk.steps.lag_words import RoverLag, tell_lag
from lodewalk.steps.rows import document, file_rows, in_time_order, table
from lodewalk.steps.sensor import Arm, Lags, arm_of, decided_lags

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: Error of position along a passage that isn't known to be less [m]; common practice.
POSITION_SD_M = 1.0
#: Least error of position and noise where none or less is stated; common practice [m], [nT].
LEAST_SD_M, LEAST_NOISE_NT = 0.05, 0.05
#: Share of the readings that must have a diurnal correction for it to be taken off.
CORRECTED_SHARE = 0.5


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the lag of each rover with what was decided and what is left, and proposals."""
    bare = _as_recorded(inputs, settings, context)
    spans = file_rows(document(inputs, "rover_files"))
    lags = decided_lags(context.decisions, table(inputs, "rover_recorded"), spans)
    seconds = table(inputs, "rover_times").seconds("time_utc")
    found = FindingList("lag")
    rows = []
    for name, every in in_time_order(document(inputs, "rover_files"), seconds):
        source, own = _placed(bare, every)
        if not own.size:
            continue
        rover = _rover(bare, name, own, source, arm_of(settings, name), lags)
        tell_lag(found, rover)
        rows.append(_row(rover))
        context.check_cancelled()
    return {"lag": Document({"rovers": rows}), "lag_findings": found.table()}


def _as_recorded(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> Mapping[str, Record]:
    """Return the inputs as they would be without arm and lag.

    Evidence on a lag must not move when a person decides on it.
    """
    bare = dict(inputs) | {"rover_positions": inputs["rover_recorded_positions"]}
    if moved(inputs):
        quiet = Context(step=context.step, cancelled=context.cancelled)
        bare |= lines.run(bare, settings, quiet)
    return bare


def _placed(bare: Mapping[str, Record], rows: Rows) -> tuple[str, Rows]:
    """Return the source of a rover's positions and the rows placed so; fixes of its own first."""
    sources = table(bare, "rover_positions").frame["source"].gather(rows)
    for source in ("recorded", "track"):
        own = rows[(sources == source).fill_null(value=False).to_numpy()]
        if own.size:
            break
    return source, own


def _rover(
    bare: Mapping[str, Record], name: str, rows: Rows, source: str, arm: Arm, lags: Lags
) -> RoverLag:
    """Return what is known of the lag of one rover."""
    field, corrected = _field(bare, rows)
    sd = table(bare, "rover_positions").floats("sd_m")[rows]
    known = sd[np.isfinite(sd)]
    usual = float(np.median(known)) if known.size else POSITION_SD_M
    position_sd = float(np.clip(usual, LEAST_SD_M, POSITION_SD_M))
    found = _estimate(bare, rows, field, arm, position_sd)
    decided = np.nan_to_num(lags.lag_s[rows])
    judged = None
    if found.state != UNKNOWN.state:
        judged = judge_lag(
            found,
            ahead_m=arm.ahead_m or 0.0,
            applied_s=float(np.median(decided)),
            position_sd_m=position_sd,
            slope_nT_m=_slope(bare, rows, field),
            noise_nT=_noise(bare, name),
        )
    times = table(bare, "rover_clock_times").seconds("time_utc")[rows]
    clock = np.round(times - table(bare, "rover_times").seconds("time_utc")[rows], 3)
    return RoverLag(
        name=name,
        by_track=source == "track",
        corrected=corrected,
        arm=arm,
        found=found,
        judged=judged,
        decided_s=tuple(np.unique(decided[np.isfinite(lags.lag_s[rows])]).tolist()),
        clock_s=tuple(np.unique(clock).tolist()),
        clock_open=_clock_open(bare, name),
        span_s=(float(times[0]), float(times[-1])),
    )


def _field(bare: Mapping[str, Record], rows: Rows) -> tuple[Floats, bool]:
    """Return the field of readings, NaN where it doesn't serve, and whether diurnal is taken off.

    Spikes stay in, since the fit bears lone ones and they are judged by places that a lag moves;
    so does a bridged diurnal, which rests on crossings, drop out.
    """
    checks, diurnal = table(bare, "rover_checks").frame, table(bare, "rover_diurnal")
    usable = (checks["kept"] | (checks["reason"] == "spike").fill_null(value=False)).to_numpy()
    raw = np.where(usable, table(bare, "rover_recorded").floats("raw_nT"), np.nan)[rows]
    change = diurnal.floats("diurnal_nT")[rows]
    bridged = (diurnal.frame["base"] == "bridge").fill_null(value=False).to_numpy()[rows]
    change = np.where(bridged, np.nan, change)
    corrected = bool(np.mean(np.isfinite(change)) >= CORRECTED_SHARE)
    return (raw - change if corrected else raw), corrected


def _estimate(
    bare: Mapping[str, Record], rows: Rows, field: Floats, arm: Arm, position_sd_m: float
) -> Lag:
    """Return what the passages of one rover tell of its lag."""
    positions = table(bare, "rover_positions")
    seconds = table(bare, "rover_times").seconds("time_utc")[rows]
    marks = table(bare, "rover_lines").frame["line"].fill_null("").gather(rows)
    return estimate_lag(
        seconds,
        field,
        marks.to_numpy(),
        track_time_s=seconds,
        track_easting=positions.floats("easting_m")[rows],
        track_northing=positions.floats("northing_m")[rows],
        ahead_m=arm.ahead_m,
        right_m=arm.right_m,
        position_sd_m=position_sd_m,
    )


def _slope(bare: Mapping[str, Record], rows: Rows, field: Floats) -> float:
    """Return how steep the field is on the flanks of a rover's anomalies [nT/m]."""
    positions = table(bare, "rover_positions")
    return steep_slope(
        table(bare, "rover_times").seconds("time_utc")[rows],
        field,
        positions.floats("easting_m")[rows],
        positions.floats("northing_m")[rows],
        table(bare, "rover_lines").frame["passage"].fill_null(-1).gather(rows).to_numpy(),
    )


def _noise(bare: Mapping[str, Record], name: str) -> float:
    """Return the usual noise of a rover's lines [nT]."""
    walked = table(bare, "lines")
    own = np.array(walked.strings("instrument"), dtype=object) == name
    noise = walked.floats("noise_nT")[own]
    noise = noise[np.isfinite(noise)]
    return max(float(np.median(noise)) if noise.size else 0.0, LEAST_NOISE_NT)


def _clock_open(bare: Mapping[str, Record], name: str) -> bool:
    """Tell whether a slip of a rover's clock waits for a decision."""
    frame = table(bare, "clock_findings").frame
    return bool(
        ((frame["instrument"] == name) & (frame["severity"] == "doubt")).fill_null(False).any()
    )


def _row(rover: RoverLag) -> dict[str, Any]:
    """Return what is known of one rover's lag for print; null where nothing is."""
    found, judged = rover.found, rover.judged
    return {
        "instrument": rover.name,
        "positions_by": rover.positions_by,
        "field": "raw less diurnal" if rover.corrected else "raw",
        "state": found.state,
        "lag_s": _number(judged.lag_s if judged else np.nan),
        "sd_s": _number(judged.sd_s if judged else np.nan),
        "interval_90_s": _interval(judged),
        "speed_m_s": _number(found.speed_m_s),
        "windows": found.windows,
        "crossings": found.crossings,
        "ahead_m": _number(found.ahead_m),
        "ahead_sd_m": _number(found.ahead_sd_m),
        "right_m": _number(found.right_m),
        "right_sd_m": _number(found.right_sd_m),
        "ahead_measured": rover.arm.ahead_m is not None,
        "right_measured": rover.arm.right_m is not None,
        "decided_s": list(rover.decided_s),
        "left_s": _number(judged.left_s if judged else np.nan),
        "displaced_m": _number(judged.displaced_m if judged else np.nan),
        "change_nT": _number(judged.change_nT if judged else np.nan),
        "proposal": rover.proposal.command if rover.proposal else None,
    }


def _interval(judged: LagJudgement | None) -> list[float | None]:
    """Return the 90 % interval of the lag."""
    return [_number(end) for end in judged.interval_s] if judged else [None, None]


def _number(value: float) -> float | None:
    """Return a number for print; null where nothing is known."""
    return round(float(value), 3) if np.isfinite(value) else None
