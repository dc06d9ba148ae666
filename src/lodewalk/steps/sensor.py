"""The sensor's place: recorded positions moved by a measured arm and a decided lag."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_geographic
from lodewalk.methods.corrections.sensor_place import sensor_places
from lodewalk.records import Table
from lodewalk.records.products import Positions
from lodewalk.records.table import float_column
from lodewalk.steps.findings import FindingList, amount, tell_idle
from lodewalk.steps.places import Work
from lodewalk.steps.rows import FileRows, at_distinct_times, timed
from lodewalk.steps.time import decision_rows
from lodewalk.steps.tracks import Track

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: Positions that a receiver gave; those of a local grid have no time that could lag.
BY_FIX = ("recorded", "bridged", "track")


@dataclass(frozen=True)
class Arm:
    """Sensor ahead and to the right of the antenna [m]; None where it wasn't measured."""

    ahead_m: float | None
    right_m: float | None

    @property
    def measured(self) -> bool:
        """Whether any part is known."""
        return self.ahead_m is not None or self.right_m is not None

    @property
    def text(self) -> str:
        """The arm in words."""
        parts = ((self.ahead_m, "ahead", "behind"), (self.right_m, "to the right", "to the left"))
        said = [
            f"{abs(size):g} m {words[0] if size >= 0 else words[1]}"
            for size, *words in parts
            if size is not None
        ]
        return f"the sensor {', '.join(said)} of the antenna"


@dataclass(frozen=True)
class Lags:
    """The lag decided for each rover reading and its sd [s]; NaN where none is, or isn't known."""

    lag_s: Floats
    sd_s: Floats


def arm_of(settings: Mapping[str, Any], instrument: str) -> Arm:
    """Return the arm of an instrument as set."""
    parts = (settings[f"instruments.*.{name}_m"] for name in ("ahead", "right"))
    return Arm(*(values.get(instrument, values["*"]) for values in parts))


def decided_lags(
    decisions: tuple[Mapping[str, Any], ...], recorded: Table, spans: list[FileRows]
) -> Lags:
    """Return what persons decided of the lag of each rover reading; the last decision counts."""
    lag, sd = np.full(len(recorded), np.nan), np.full(len(recorded), np.nan)
    for decision in decisions:
        if decision["kind"] == "lag":
            rows = lag_rows(decision, recorded, spans)
            lag[rows] = decision["value"]["lag_s"]
            known = decision["value"].get("sd_s")
            sd[rows] = np.nan if known is None else known
    return Lags(lag, sd)


def lag_rows(decision: Mapping[str, Any], recorded: Table, spans: list[FileRows]) -> Rows:
    """Return the rows of all files that a decision on a lag means."""
    times = recorded.frame["recorded_time"]
    marks = [decision_rows(decision["target"], times[span.rows], span) for span in spans]
    return np.flatnonzero(np.concatenate(marks)) if marks else np.zeros(0, dtype=np.int64)


def tell_idle_lags(
    decisions: tuple[Mapping[str, Any], ...], work: Work, spans: list[FileRows]
) -> None:
    """Tell decisions on a lag that meet no position of a receiver."""
    by_fix = np.isin(work.places.source, BY_FIX)
    for decision in decisions:
        if not by_fix[lag_rows(decision, work.recorded, spans)].any():
            tell_idle(work.found, decision, "no position by a receiver")


def to_sensor(
    recorded: Positions,
    work: Work,
    spans: list[FileRows],
    tracks: Mapping[int, Track],
    *,
    settings: Mapping[str, Any],
    lags: Lags,
) -> Positions:
    """Return the positions of the sensor; the recorded ones themselves where nothing moves them.

    `tracks` holds the track of each file without fixes of its own, by the file's first row.
    """
    columns = {n: recorded.floats(n).copy() for n in ("easting_m", "northing_m", "sd_m")}
    moved = False
    for span in spans:
        arm = arm_of(settings, span.instrument)
        if arm.measured or np.isfinite(lags.lag_s[span.rows]).any():
            track = _track_of(work, span, spans, tracks)
            moved = _move(columns, work, span, track, arm, lags) or moved
    if not moved:
        return recorded
    longitude, latitude = to_geographic(columns["easting_m"], columns["northing_m"], crs=work.crs)
    columns |= {"latitude_deg": latitude, "longitude_deg": longitude}
    frame = recorded.frame.with_columns(
        float_column(values).alias(name) for name, values in columns.items()
    )
    return replace(recorded, frame=frame)


def _track_of(
    work: Work, span: FileRows, spans: list[FileRows], tracks: Mapping[int, Track]
) -> dict[str, Floats]:
    """Return the fixes that a file's positions come from: its track, or the rover's own fixes."""
    if span.start in tracks:
        track = tracks[span.start]
        return {name: track[f"track_{name}"] for name in ("time_s", "easting_m", "northing_m")}
    own = [np.arange(one.start, one.stop) for one in spans if one.instrument == span.instrument]
    rows = np.concatenate(own)
    fixed = np.isin(work.places.source[rows], ("recorded", "bridged"))
    rows = at_distinct_times(timed(rows[fixed], work.seconds), work.seconds)
    return {
        "time_s": work.seconds[rows],
        "easting_m": work.places.easting[rows],
        "northing_m": work.places.northing[rows],
    }


def _move(
    columns: Mapping[str, Floats],
    work: Work,
    span: FileRows,
    track: Mapping[str, Floats],
    arm: Arm,
    lags: Lags,
) -> bool:
    """Move the positions of one file and tell it; return whether any could be."""
    every = np.arange(span.start, span.stop)
    every = every[np.isin(work.places.source[every], BY_FIX) & np.isfinite(work.seconds[every])]
    done = 0
    for lag, sd, rows in _alike(lags, every):
        if lag is None and not arm.measured:
            continue
        found = sensor_places(
            work.seconds[rows],
            columns["easting_m"][rows],
            columns["northing_m"][rows],
            track_time_s=track["time_s"],
            track_easting=track["easting_m"],
            track_northing=track["northing_m"],
            lag_s=lag or 0.0,
            lag_sd_s=sd,
            ahead_m=arm.ahead_m,
            right_m=arm.right_m,
            max_gap_s=work.settings["track_gap_s"],
        )
        columns["easting_m"][rows], columns["northing_m"][rows] = found.easting_m, found.northing_m
        columns["sd_m"][rows] = np.hypot(columns["sd_m"][rows], found.sd_m)
        done += int(found.moved.sum())
        _tell(work.found, span, arm, lag, int(found.moved.sum()), rows.size)
    return done > 0


def _alike(lags: Lags, rows: Rows) -> Iterator[tuple[float | None, float, Rows]]:
    """Yield each decided lag, None for nothing, with its sd, 0 where not known, and its rows."""
    pairs = np.nan_to_num(np.column_stack([lags.lag_s[rows], lags.sd_s[rows]]), nan=np.inf)
    kinds, place = np.unique(pairs, axis=0, return_inverse=True)
    for number, (lag, sd) in enumerate(kinds.tolist()):
        known = (None if np.isinf(lag) else lag), (0.0 if np.isinf(sd) else sd)
        yield *known, rows[place.ravel() == number]


def _tell(
    found: FindingList, span: FileRows, arm: Arm, lag_s: float | None, moved: int, count: int
) -> None:
    """Tell which positions were moved and by what."""
    why = [f"a lag of {lag_s:+g} s"] if lag_s is not None else []
    why += [arm.text] if arm.measured else []
    left = count - moved
    rest = f"; {amount(left, 'other')} at the ends of the track or at rest" if left else ""
    found.add(
        "positions moved",
        f"{span.instrument}: {amount(moved, 'position')} of {span.name} moved for "
        f"{' and '.join(why)}{rest}.",
        instrument=span.instrument,
        file=span.name,
    )
