"""Join: an older survey or airborne grid brought to this survey's epoch, height and datum."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.records import Document, Record
from lodewalk.records.products import Joined
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList
from lodewalk.steps.gridded import Used, used_readings
from lodewalk.steps.rows import document, instruments, passage_of_readings, rows_of, table

if TYPE_CHECKING:
    from lodewalk.methods.corrections.join_surveys import JoinOffset

Floats = NDArray[np.float64]
#: Heights that differ by less than this are one [m].
SAME_HEIGHT_M = 1.0
#: No total field of the Earth is weaker than this, and no anomaly taken for one stronger [nT].
WEAKEST_NT = 15_000.0
#: Chance of a tilt below which it is told.
TILTED = 0.01
#: Damping of a layer that nothing could be left out to choose.
USUAL_DAMPING = 1e-3
#: Readings from which a layer of equivalent sources can be chosen.
LEAST = 20


@dataclass(frozen=True)
class Older:
    """One older survey: places, heights and anomaly, at its own epoch."""

    name: str
    easting_m: Floats
    northing_m: Floats
    anomaly_nT: Floats
    above_ground_m: float | None
    sd_nT: float | None
    epoch: str


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the offset of each older survey, the joined points, and findings."""
    found = FindingList("join")
    names = instruments(document(inputs, "older_files"))
    surveys: list[dict[str, Any]] = []
    frames: list[pl.DataFrame] = []
    if names:
        passage = passage_of_readings(inputs)
        own = used_readings(table(inputs, "readings"), passage)
        heights = table(inputs, "readings").floats("height_above_ground_m")
        own_height = float(np.nanmedian(heights)) if np.isfinite(heights).any() else 0.0
        frames.append(_own_frame(own, own_height))
        for name in names:
            older = _read(inputs, settings, name)
            row, frame = _joined(older, own, own_height, found)
            surveys.append(row)
            frames += [] if frame is None else [frame]
            context.check_cancelled()
    joined = Joined(pl.concat(frames)) if len(frames) > 1 else Joined.empty()
    return {
        "join": Document({"surveys": surveys}),
        "joined": joined,
        "join_findings": found.table(),
    }


def _read(inputs: Mapping[str, Record], settings: Mapping[str, Any], name: str) -> Older:
    """Return an older survey as anomaly in the survey's reference system."""
    recorded, files = table(inputs, "older_recorded"), document(inputs, "older_files")
    rows = rows_of(files, name)
    own = settings["older"].get(name, {})
    file = next(item for item in files["files"] if item["instrument"] == name)
    places = _places(recorded, rows, file, settings["survey.crs"])
    value = recorded.floats("value_nT")[rows]
    total = own.get("values", "total field") == "total field"
    _check_kind(value, file["name"], name, total=total)
    epoch = own.get("epoch") or _epoch_of(recorded.frame, rows)
    above = own.get("height_m")
    if total:
        if epoch is None:
            raise InputError(
                "The total field of an older survey needs its date, for the reference field.",
                file=file["name"],
                remedy=f"Set older.{name}.epoch = YYYY-MM-DD, or map a time column.",
            )
        height = recorded.floats("height_m")[rows]
        usual = table(inputs, "rover_heights").floats("height_m")
        ground = float(np.nanmedian(usual)) if np.isfinite(usual).any() else 0.0
        height = np.where(np.isfinite(height), height, ground + (above or 0.0))
        value = value - _reference(places[2], places[3], height, str(epoch))
    return Older(
        name, places[0], places[1], value, above, own.get("sd_nT"), "" if epoch is None else epoch
    )


def _places(
    recorded: Any, rows: NDArray[np.int64], file: Mapping[str, Any], crs: str
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return easting and northing in the survey's system, latitude and longitude."""
    from lodewalk.adapters.projection import to_geographic, to_projected

    east, north, latitude, longitude = (
        recorded.floats(name)[rows]
        for name in ("easting_m", "northing_m", "latitude_deg", "longitude_deg")
    )
    stated = file["position"].get("crs")
    if not np.isfinite(latitude).any():
        longitude, latitude = to_geographic(east, north, crs=stated or crs)
        if stated in (None, crs):
            return east, north, latitude, longitude
    east, north = to_projected(longitude, latitude, crs=crs)
    return east, north, latitude, longitude


def _check_kind(value: Floats, file: str, name: str, *, total: bool) -> None:
    """Raise where the values can't be what the settings say."""
    known = value[np.isfinite(value)]
    middle = float(np.median(known)) if known.size else float("nan")
    if known.size and (abs(middle) >= WEAKEST_NT) != total:
        kind, other = ("total field", "anomaly") if total else ("anomaly", "total field")
        raise InputError(
            f"The values of this older survey can't be {kind}.",
            file=file,
            value=f"median {middle:.0f} nT",
            remedy=f'Set older.{name}.values = "{other}", or check the column map.',
        )


def _epoch_of(frame: pl.DataFrame, rows: NDArray[np.int64]) -> str | None:
    """Return the date in the middle of the recorded times, None where there are none."""
    if "recorded_time" not in frame.columns:
        return None
    times = frame["recorded_time"][rows.tolist()].drop_nulls().sort()
    return None if times.is_empty() else f"{times[len(times) // 2]:%Y-%m-%d}"


def _reference(latitude: Floats, longitude: Floats, height: Floats, epoch: str) -> Floats:
    """Return the reference field at the survey's epoch [nT]."""
    from lodewalk.methods.geomagnetic import decimal_year, total_field

    moment = datetime.fromisoformat(epoch).replace(tzinfo=UTC).timestamp()
    field: Floats = total_field(
        latitude, longitude, height, decimal_year=float(decimal_year(moment))
    )
    return field


def _joined(
    older: Older, own: Used, own_height: float, found: FindingList
) -> tuple[dict[str, Any], pl.DataFrame | None]:
    """Compare an older survey with this one; return what was found and its joined points."""
    raised = 0.0 if older.above_ground_m is None else older.above_ground_m - own_height
    up = raised if raised > SAME_HEIGHT_M else 0.0
    offset, why = _offset(older, own, up)
    row: dict[str, Any] = {
        "name": older.name,
        "epoch": older.epoch or None,
        "height_m": older.above_ground_m,
        "continued_up_m": up,
        "points": int(np.isfinite(older.anomaly_nT).sum()),
    }
    names = (
        "offset_nT", "sd_nT", "misfit_nT", "patches", "area_m2", "tilt_east_nT_km",
        "tilt_north_nT_km", "tilt_probability",
    )  # fmt: skip
    row |= {name: None if offset is None else _plain(getattr(offset, name)) for name in names}
    if offset is None:
        found.add("older survey not joined", f"{older.name}: {why}", severity="doubt")
        return row, None
    _tell(found, older, offset, raised)
    sd = np.hypot(offset.misfit_nT if older.sd_nT is None else older.sd_nT, offset.sd_nT)
    good = np.isfinite(older.anomaly_nT + older.easting_m + older.northing_m)
    count = int(good.sum())
    height = own_height if older.above_ground_m is None else older.above_ground_m
    frame = _frame(
        older.easting_m[good],
        older.northing_m[good],
        np.full(count, height),
        older.anomaly_nT[good] - offset.offset_nT,
        np.full(count, sd),
        older.name,
    )
    return row, frame


def _offset(older: Older, own: Used, up_m: float) -> "tuple[JoinOffset | None, str]":
    """Return how far an older survey lies above this one, or why that can't be told."""
    from lodewalk.methods.corrections.join_surveys import join_offset, surrounded

    if own.anomaly_nT.size < LEAST:
        return None, "this survey has too few kept readings to compare with; no offset is given."
    spacing = own.line_spacing_m
    both = surrounded(
        older.easting_m,
        older.northing_m,
        own.easting_m,
        own.northing_m,
        reach_m=spacing,
        around_m=up_m,
    ) & np.isfinite(older.anomaly_nT)
    if not both.any():
        around = f", with readings {up_m:.0f} m around as continuing upward needs" if up_m else ""
        return None, f"it shares no place with this survey{around}; no offset is given."
    east, north = older.easting_m[both], older.northing_m[both]
    here = _continued(own, east, north, up_m)
    found = join_offset(east, north, older.anomaly_nT[both] - here, patch_m=max(spacing, up_m))
    return found, "it shares fewer than four patches with this survey; no offset is given."


def _continued(own: Used, east: Floats, north: Floats, up_m: float) -> Floats:
    """Return this survey's anomaly at places, at a height above its sensor."""
    from lodewalk.methods.gridding.choose_layer import choose_layer
    from lodewalk.steps.gridded import fitted_layer

    spacing = own.line_spacing_m
    place, value, sd = (own.easting_m, own.northing_m), own.anomaly_nT, own.weighing_sd
    chosen = {"depth_m": spacing, "damping": USUAL_DAMPING, "layers": 1, "rounds": 0}
    try:
        found = choose_layer(*place, value, sd=sd, line=own.passage, line_spacing_m=spacing)
        chosen = {name: getattr(found, name) for name in chosen}
    except InputError:  # one line, or too few to leave any out: as for the grid
        pass
    layer = fitted_layer(*place, value, sd=sd, layer=chosen)
    return layer.at(east, north, height_m=up_m)


def _tell(found: FindingList, older: Older, offset: "JoinOffset", raised: float) -> None:
    """Tell the offset with its error, what height did, and a tilt."""
    if raised > SAME_HEIGHT_M:
        height = (
            f"this survey was continued upward by {raised:.0f} m to its sensor, where readings "
            "surround a place by as much"
        )
    elif older.above_ground_m is None:
        height = "its height isn't set and is taken as this survey's"
    elif raised < -SAME_HEIGHT_M:
        height = (
            f"its sensor was {-raised:.0f} m lower and nothing is continued downward, so the "
            "misfit holds what the height does"
        )
    else:
        height = "its sensor was as high as this survey's"
    found.add(
        "older survey joined",
        f"{older.name}: it reads {offset.offset_nT:+.1f} nT above this survey, sd "
        f"{offset.sd_nT:.1f} nT, misfit after that {offset.misfit_nT:.1f} nT, over "
        f"{offset.patches} patches of {offset.area_m2 / 1e4:.2f} ha together; {height}. "
        "Its readings are taken as free of the variation with time.",
    )
    if offset.tilt_probability < TILTED:
        steep = float(np.hypot(offset.tilt_east_nT_km, offset.tilt_north_nT_km))
        toward = float(
            np.degrees(np.arctan2(offset.tilt_east_nT_km, offset.tilt_north_nT_km)) % 360
        )
        found.add(
            "older survey tilts",
            f"{older.name}: its difference to this survey rises by {steep:.1f} nT/km toward "
            f"{toward:.0f} degrees, chance {offset.tilt_probability:.1g} by accident: another "
            "reference field, epoch or height than set? One constant doesn't join it.",
            severity="doubt",
        )


def _own_frame(own: Used, height_m: float) -> pl.DataFrame:
    """Return this survey's readings as joined points."""
    height = np.full(own.anomaly_nT.size, height_m)
    return _frame(own.easting_m, own.northing_m, height, own.anomaly_nT, own.sd_nT, "this survey")


def _frame(
    east: Floats, north: Floats, height: Floats, value: Floats, sd: Floats, source: str
) -> pl.DataFrame:
    """Return joined points as a frame."""
    return pl.DataFrame(
        {
            "easting_m": float_column(east),
            "northing_m": float_column(north),
            "height_above_ground_m": float_column(height),
            "anomaly_nT": float_column(value),
            "sd_nT": float_column(sd),
            "source": pl.Series([source] * east.size, dtype=pl.String),
        }
    )


def _plain(value: float) -> float | None:
    """Return a number that a document can hold."""
    return round(float(value), 4) if np.isfinite(value) else None
