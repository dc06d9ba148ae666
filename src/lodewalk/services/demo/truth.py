"""The truth beside the raw files: every reading, body, fault and clock as it really was."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

from lodewalk.adapters.projection import to_geographic
from lodewalk.services.demo.faults import Fault, Sheet
from lodewalk.services.demo.field import Point, World
from lodewalk.services.demo.instruments import BaseRecord, Position
from lodewalk.services.demo.scenario import Rock
from lodewalk.services.demo.text import numbers, utc_texts, write_rows
from lodewalk.validation import FloatArray

READING_HEAD = (
    "file,line_in_file,instrument,time_utc,line,easting_m,northing_m,height_m,"
    "height_above_ground_m,azimuth_deg,reference_nT,anomaly_nT,steel_nT,external_nT,noise_nT,"
    "recorded_easting_m,recorded_northing_m,anomaly_at_recorded_nT,fault"
)
FAULT_HEAD = (
    "kind,instrument,file,first_line_in_file,last_line_in_file,start_utc,end_utc,size_nT,note"
)
CROSSING_HEAD = (
    "body,line,easting_m,northing_m,along_m,depth_below_ground_m,top_height_m,half_width_m,"
    "dip_deg,strike_deg"
)


@dataclass(frozen=True)
class WrittenSheet:
    """A rover's rows, the file and line where they begin, and where file or track put them."""

    sheet: Sheet
    file: str
    head: int
    position: Position


def write_readings(path: Path, *, world: World, written: Sequence[WrittenSheet]) -> None:
    """Write one row for each row of each rover file."""
    parts = [_reading_columns(world, item) for item in written]
    columns = [list(chain.from_iterable(texts)) for texts in zip(*parts, strict=True)]
    write_rows(path, (READING_HEAD,), columns)


def _reading_columns(world: World, written: WrittenSheet) -> list[list[str]]:
    """Return the columns of one rover file."""
    sheet, position = written.sheet, written.position
    record, source, steady = sheet.record, sheet.source, sheet.record.steady
    return [
        [written.file] * len(source),
        [str(written.head + row + 1) for row in range(len(source))],
        [record.rover.name] * len(source),
        utc_texts(sheet.time_s),
        sheet.line.tolist(),
        *(
            numbers(part[source], decimals)
            for part, decimals in (
                (record.easting_m, 3),
                (record.northing_m, 3),
                (record.height_m, 3),
                (record.height_above_ground_m, 3),
                (record.walked.azimuth_deg, 1),
                (steady.reference_nT, 3),
                (steady.anomaly_nT, 3),
                (steady.steel_nT, 3),
                (record.external_nT, 3),
                (record.noise_nT, 3),
            )
        ),
        numbers(position.easting_m, 3),
        numbers(position.northing_m, 3),
        numbers(_anomaly_at(world, position), 3),
        sheet.fault.tolist(),
    ]


def _anomaly_at(world: World, position: Position) -> FloatArray:
    """Return the true anomaly at recorded positions, the sensor at its usual height."""
    found = np.flatnonzero(np.isfinite(position.easting_m))
    east, north = position.easting_m[found], position.northing_m[found]
    along, across = world.place.from_grid(east, north)
    height = world.place.ground(along, across) + world.scenario.sensor_height_m
    result = np.full(len(position.easting_m), np.nan)
    result[found] = world.field_at(east, north, height).anomaly_nT
    return result


def write_faults(path: Path, *, faults: Sequence[Fault]) -> None:
    """Write the planted faults."""
    columns = [
        [fault.kind for fault in faults],
        [fault.instrument for fault in faults],
        [fault.file for fault in faults],
        ["" if fault.first_line is None else str(fault.first_line) for fault in faults],
        ["" if fault.last_line is None else str(fault.last_line) for fault in faults],
        utc_texts(np.array([fault.start_s for fault in faults])),
        utc_texts(np.array([fault.end_s for fault in faults])),
        numbers([fault.size_nT for fault in faults], 2),
        [fault.note for fault in faults],
    ]
    write_rows(path, (FAULT_HEAD,), columns)


def write_base(path: Path, *, records: Sequence[BaseRecord]) -> None:
    """Write the true change of the field at the times of the base, gaps included."""
    time, external = (
        np.concatenate([getattr(record, name) for record in records])
        for name in ("time_s", "external_nT")
    )
    write_rows(path, ("time_utc,external_nT",), [utc_texts(time), numbers(external, 3)])


def write_clocks(path: Path, *, world: World) -> None:
    """Write the clock error of each instrument, its clock minus UTC."""
    names = [rover.name for rover in world.scenario.rovers]
    offsets = [rover.clock_offset_s for rover in world.scenario.rovers]
    columns = [[*names, world.scenario.base], numbers([*offsets, 0.0], 3)]
    write_rows(path, ("instrument,offset_s",), columns)


def write_bodies(path: Path, *, world: World) -> None:
    """Write every magnetic body with its parameters."""
    sources = world.sources
    document: dict[str, Any] = {
        "ambient_north_east_down_nT": _rounded(sources.ambient_nT, 3),
        "rocks": [
            {
                **asdict(rock),
                "corners_easting_northing_height_m": _rounded(sources.corners[rock.name], 3),
                "magnetisation_north_east_down_A_m": _rounded(sources.magnetisation[rock.name], 6),
            }
            for rock in world.scenario.rocks
        ],
        "boulders": [_point(point) for point in sources.boulders],
        "steel": [_point(point) for point in sources.steel],
    }
    write_json(path, document)


def _point(point: Point) -> dict[str, Any]:
    """Return a small body as plain values."""
    return {
        "name": point.name,
        "centre_easting_northing_height_m": _rounded(point.centre, 3),
        "moment_north_east_down_A_m2": _rounded(point.moment, 4),
    }


def _rounded(values: FloatArray, decimals: int) -> Any:
    """Return an array as nested lists of rounded numbers."""
    return np.round(values, decimals).tolist()


def write_crossings(path: Path, *, world: World) -> None:
    """Write where each dyke's top lies under each planned line, and how deep."""
    rows = [
        row
        for rock in world.scenario.rocks
        if rock.kind == "dyke"
        for name in world.scenario.line_names()
        if (row := _crossing(world, rock, name)) is not None
    ]
    write_rows(path, (CROSSING_HEAD,), list(zip(*rows, strict=True)))


def _crossing(world: World, rock: Rock, name: str) -> tuple[str, ...] | None:
    """Return the row of a dyke under a line, or None where it ends before the line."""
    turn = np.radians(rock.strike_deg - world.scenario.line_azimuth_deg)
    (first_along, first_across), (last_along, last_across) = world.scenario.line_ends(name)
    strike = np.array([np.cos(turn), np.sin(turn)])
    ahead = np.array([last_along - first_along, last_across - first_across])
    offset = np.array([rock.along_m - first_along, rock.across_m - first_across])
    share, reach = np.linalg.solve(np.column_stack([ahead, -strike]), offset)
    if not (0.0 <= share <= 1.0 and abs(reach) <= rock.length_m / 2.0):
        return None
    along, across = (np.array(part) for part in (first_along, first_across) + share * ahead)
    middle = world.place.ground(np.array(rock.along_m), np.array(rock.across_m))
    top = float(middle) - rock.depth_m
    east, north = world.place.to_grid(along, across)
    depth = float(world.place.ground(along, across)) - top
    values = (float(east), float(north), share * np.hypot(*ahead), depth, top, rock.width_m / 2.0)
    return (rock.name, name, *numbers(values, 2), *numbers((rock.dip_deg, rock.strike_deg), 1))


def write_summary(path: Path, *, world: World, readings: int, files: Sequence[str]) -> None:
    """Write what the rest of the truth hangs on: seed, epoch, base site and its steady field."""
    east, north, height = world.base_site
    longitude, latitude = to_geographic(east, north, crs=world.scenario.crs)
    rule = world.scenario
    write_json(
        path,
        {
            "scenario": "invented; place, people and field days do not exist",
            "seed": world.seed,
            "name": rule.name,
            "crs": rule.crs,
            "reference_model": "IGRF-14",
            "reference_epoch_year": rule.epoch_year,
            "geoid_height_m": rule.geoid_m,
            "sensor_height_m": rule.sensor_height_m,
            "base": {
                "instrument": rule.base,
                "latitude_deg": round(float(latitude), 7),
                "longitude_deg": round(float(longitude), 7),
                "easting_m": round(east, 3),
                "northing_m": round(north, 3),
                "height_m": round(height, 3),
                "steady_total_field_nT": round(world.base_total_field, 3),
            },
            "rover_readings": readings,
            "files": list(files),
            "raw_nT": "reference + anomaly + external + noise, then the fault",
        },
    )


def write_json(path: Path, document: dict[str, Any]) -> None:
    """Write a document as JSON."""
    text = json.dumps(document, indent=1, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")
