"""Error budget: every part of the error of each reading, and what the readings share of it."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.corrections.anomaly import combine_sd
from lodewalk.methods.corrections.clock_error import ClockLeft, clock_left, clock_sd
from lodewalk.methods.corrections.diurnal_distance import distance_sd
from lodewalk.methods.corrections.diurnal_projection import projection_sd
from lodewalk.methods.corrections.position_error import PositionError, position_error
from lodewalk.methods.corrections.position_scale import PositionScale, position_scale
from lodewalk.records import Document, Record
from lodewalk.records.products import Budget
from lodewalk.records.table import float_column
from lodewalk.steps.bases import Base, on_datum, usable_bases
from lodewalk.steps.context import Context
from lodewalk.steps.corrected import anomaly_before
from lodewalk.steps.crossing_ties import Series
from lodewalk.steps.days import Days
from lodewalk.steps.gridded import spacing_or_usual
from lodewalk.steps.rows import (
    document,
    in_time_order,
    instruments,
    own_value,
    passage_of_readings,
    rows_of,
    table,
)
from lodewalk.steps.site_field import survey_site

Floats = NDArray[np.float64]
#: Of which readings the error is one and the same, part by part.
SHARED_BY = {
    "sensor": "reading",
    "diurnal": "line",
    "clock": "day",
    "position": "line",
    "heading": "survey",
    "level": "line",
}


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the parts of the error budget of each rover reading, and how much each counts."""
    anomaly = anomaly_before(inputs, None)
    stood = usable_bases(inputs, context.decisions)
    bases = on_datum(stood, document(inputs, "datum_network"))
    context.check_cancelled()
    stated = _position(inputs, anomaly)
    scale = _scale(inputs, stated)
    factor = scale.factor if scale else 1.0
    place = PositionError(*(factor * part for part in stated))
    parts = {
        "sensor": table(inputs, "rover_noise").floats("sd_sensor_nT"),
        "diurnal": _diurnal(inputs, settings, bases, anomaly),
        "clock": _clock(inputs, settings, bases),
        "position": np.nan_to_num(place.sd_nT),
        "heading": table(inputs, "rover_heading").floats("sd_heading_nT"),
        "level": combine_sd(
            table(inputs, "rover_level").floats("sd_level_nT"),
            table(inputs, "rover_instrument").floats("sd_instrument_nT"),
            table(inputs, "rover_micro_level").floats("sd_micro_level_nT"),
        ),
    }
    columns = {f"sd_{name}_nT": float_column(values) for name, values in parts.items()}
    columns |= {
        "position_east_nT": float_column(place.east_nT),
        "position_north_nT": float_column(place.north_nT),
    }
    used = np.isfinite(anomaly) & table(inputs, "rover_checks").booleans("kept")
    return {
        "rover_budget": Budget(pl.DataFrame(columns)),
        "budget": Document(
            {
                "parts": _rows(parts, used),
                "position": scale and _told(inputs, scale),
            }
        ),
    }


def _rows(parts: Mapping[str, Floats], used: NDArray[np.bool_]) -> list[dict[str, Any]]:
    """Return what each part comes to over the kept readings."""
    squares = {name: np.nan_to_num(values[used]) ** 2 for name, values in parts.items()}
    total = np.sum(list(squares.values()), axis=0)
    largest = np.max(list(squares.values()), axis=0)
    known = total > 0
    return [
        {
            "part": name,
            "shared_by": SHARED_BY[name],
            "median_nT": round(float(np.sqrt(np.median(own))), 4) if own.size else None,
            "share_of_variance": _mean(own[known] / total[known]),
            "largest_at_share_of_readings": _mean((own == largest)[known]),
        }
        for name, own in squares.items()
    ]


def _mean(values: NDArray[Any]) -> float | None:
    """Return a mean for print, null where there is nothing."""
    return round(float(np.mean(values)), 4) if values.size else None


def _position(inputs: Mapping[str, Record], anomaly: Floats) -> PositionError:
    """Return the part of the positions, one walker after the other."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    orders = [rows for _, rows in in_time_order(document(inputs, "rover_files"), seconds)]
    order = np.concatenate(orders) if orders else np.zeros(0, dtype=np.int64)
    kept = table(inputs, "rover_checks").booleans("kept")
    positions = table(inputs, "rover_positions")
    places = positions.floats("easting_m"), positions.floats("northing_m")
    passage = passage_of_readings(inputs)
    found = PositionError(*(np.full(anomaly.size, np.nan) for _ in range(3)))
    sound = order[kept[order]]
    if not sound.size:
        return found
    east, north = (axis[sound] for axis in places)
    parts = position_error(
        east,
        north,
        anomaly[sound],
        passage[sound],
        sd_nT=table(inputs, "rover_noise").floats("sd_sensor_nT")[sound],
        position_sd_m=positions.floats("sd_m")[sound],
        line_spacing_m=spacing_or_usual(east, north, passage[sound]),
    )
    # A dropped reading has what the kept ones beside it have.
    place = np.flatnonzero(kept[order])
    for whole, part in zip(found, parts, strict=True):
        known = np.isfinite(part)
        if known.any():
            whole[order] = np.interp(np.arange(order.size), place[known], part[known])
    return found


def _scale(inputs: Mapping[str, Record], stated: PositionError) -> PositionScale | None:
    """Return by which factor the crossings say that position errors are to be changed."""
    crossed = document(inputs, "level")["crossed"]
    if not crossed or not crossed["off_nT"]:
        return None
    passage = passage_of_readings(inputs)
    series = Series(passage, table(inputs, "rover_times").seconds("time_utc"))
    number, seconds = (np.array(crossed[name]) for name in ("passages", "seconds"))
    both = series.nearest(stated.sd_nT, number, seconds)
    known = np.isfinite(both).all(axis=1)
    off, other = (np.array(crossed[name])[known] for name in ("off_nT", "other_sd_nT"))
    return position_scale(off, other, np.hypot(both[known, 0], both[known, 1]))


def _told(inputs: Mapping[str, Record], scale: PositionScale) -> dict[str, Any]:
    """Return the factor of position errors for print."""
    return {
        "factor": round(scale.factor, 4),
        "log_sd": round(scale.log_sd, 4),
        "crossings": len(document(inputs, "level")["crossed"]["off_nT"]),
    }


def _diurnal(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], bases: list[Base], anomaly: Floats
) -> Floats:
    """Return the part of the diurnal correction: interpolation, distance, other direction."""
    diurnal = table(inputs, "rover_diurnal")
    parts = [diurnal.floats("sd_diurnal_nT"), _away(inputs, settings, bases)]
    if np.isfinite(anomaly).any():
        site = survey_site(inputs)
        change = diurnal.floats("diurnal_nT")
        # From its usual level: where the datum lies must not matter.
        bent = projection_sd(
            anomaly,
            change - np.nanmedian(change),
            total_field_nT=site.total_field_nT,
            inclination_deg=site.inclination_deg,
        )
        parts.append(np.nan_to_num(bent))
    return combine_sd(*parts)


def _away(inputs: Mapping[str, Record], settings: Mapping[str, Any], bases: list[Base]) -> Floats:
    """Return what the distance from the base adds; 0 where the base's place isn't known."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    positions = table(inputs, "rover_positions")
    found = np.zeros(seconds.size)
    for base, rows in _by_base(inputs, bases):
        place = [
            own_value(settings[f"instruments.*.{name}_m"], base.name)
            for name in ("easting", "northing")
        ]
        if None in place or base.place > 1:
            continue
        away = np.hypot(
            positions.floats("easting_m")[rows] - place[0],
            positions.floats("northing_m")[rows] - place[1],
        )
        found[rows] = np.nan_to_num(
            distance_sd(
                seconds[rows],
                base.seconds,
                base.field_nT,
                distance_m=np.nan_to_num(away),
                max_gap_s=settings["diurnal"]["max_gap_s"],
                base_noise_nT=base.noise_nT,
                scale_km=settings["diurnal"]["scale_km"],
            )
        )
    return found


def _by_base(
    inputs: Mapping[str, Record], bases: list[Base]
) -> list[tuple[Base, NDArray[np.int64]]]:
    """Return each base, at each of its places, with the readings that it corrects."""
    used = table(inputs, "rover_diurnal").frame["base"]
    seconds = table(inputs, "rover_times").seconds("time_utc")
    rows = []
    for base in bases:
        its = (used == base.name).fill_null(False).to_numpy()
        there = (seconds >= base.seconds[0]) & (seconds <= base.seconds[-1])
        rows.append((base, np.flatnonzero(its & there)))
    return [(base, own) for base, own in rows if own.size]


def _clock(inputs: Mapping[str, Record], settings: Mapping[str, Any], bases: list[Base]) -> Floats:
    """Return the part of the clocks of rover and base; 0 where there is no base record."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    days = Days.of(settings["survey.time_zone"])
    found = np.zeros(seconds.size)
    files = document(inputs, "rover_files")
    for base, corrected in _by_base(inputs, bases):
        for rover in instruments(files):
            own = np.intersect1d(corrected, rows_of(files, rover))
            day = days.each(seconds[own])
            for name in dict.fromkeys(day.tolist()):
                rows = own[day == name]
                walked, stood = (_slip(inputs, settings, item, name) for item in (rover, base.name))
                sd = clock_sd(
                    seconds[rows],
                    base.seconds,
                    base.field_nT,
                    clock_sd_s=float(
                        combine_sd(abs(walked.mean_s - stood.mean_s), walked.sd_s, stood.sd_s)
                    ),
                    max_gap_s=settings["diurnal"]["max_gap_s"],
                )
                found[rows] = np.nan_to_num(sd)
    return found


def _slip(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], instrument: str, day: str
) -> ClockLeft:
    """Return how far a clock may still be off on a day."""
    usual = settings["clocks"]
    rows = [row for row in document(inputs, "clock_evidence")["clock"]
            if row["instrument"] == instrument]  # fmt: skip
    if not rows:
        return ClockLeft(0.0, usual["by_hand_s"])
    row = rows[0]
    told = next((item for item in row["days"] if item["day"] == day), row)
    stamped = row["position_clock"] == "its own fixes"
    return clock_left(
        told["offset_s"],
        told["sd_s"],
        decided_s=told["decided_s"] or 0.0,
        usual_sd_s=usual["by_satellite_s"] if stamped else usual["by_hand_s"],
    )
