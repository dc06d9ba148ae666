"""Walks over a planned area: legs in metres from its corner, with or without names of lines."""

import json
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
from pyproj import Transformer

from lodewalk.services.add import add_files
from lodewalk.survey.folder import open_folder
from lodewalk.survey.store import read_product
from planned_area import CRS, SOUTH, WEST

PACE_M_S, ASIDE_M = 1.25, 24.0
START = datetime(2026, 12, 7, 12, tzinfo=UTC)


def track(legs):
    """Return time, name, easting and northing each second; ways between legs go beside lines."""
    times, names, places = [], [], []
    now, here = 0.0, None
    for name, first, last in legs:
        first, last = np.array(first, dtype=float), np.array(last, dtype=float)
        ways = [] if here is None else _aside(here, first)
        for label, start, end in (*ways, (name, first, last)):
            if np.allclose(start, end):
                continue
            count = max(2, int(np.hypot(*(end - start)) / PACE_M_S))
            share = np.arange(1, count + 1)[:, np.newaxis] / count
            places.append(start + share * (end - start))
            times.append(now + np.arange(1, count + 1))
            names += [label] * count
            now = times[-1][-1]
        here = last
    return np.concatenate(times), names, np.concatenate(places)


def _aside(here, there):
    """Return the way to the next leg, north and south in the middle between two lines."""
    corners = [here, (there[0] - ASIDE_M, here[1]), (there[0] - ASIDE_M, there[1]), there]
    corners = [np.array(corner, dtype=float) for corner in corners]
    return [(None, *ends) for ends in pairwise(corners)]


def walk(survey, folder, legs, *, day=0, instrument="R1", named=False, level_nT=0.0):
    """Add a rover file of one day's legs, and the base's record of that day."""
    seconds, names, places = track(legs)
    start = START + timedelta(days=day)
    to_wgs84 = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    longitude, latitude = to_wgs84.transform(WEST + places[:, 0], SOUTH + places[:, 1])
    noise = np.random.default_rng([day, int(instrument[1:])]).normal(0.0, 0.1, seconds.size)
    rows = ["time_utc,latitude,longitude,line,total_field_nT"]
    for time, name, north, east, value in zip(
        seconds, names, latitude, longitude, noise, strict=True
    ):
        stamp = (start + timedelta(seconds=float(time))).strftime("%Y-%m-%dT%H:%M:%SZ")
        line = name if named and name else ""
        rows.append(f"{stamp},{north:.8f},{east:.8f},{line},{22950 + level_nT + value:.2f}")
    if not named:
        rows = [",".join(part for n, part in enumerate(row.split(",")) if n != 3) for row in rows]
    rover = folder / f"{instrument}-{day}.csv"
    rover.write_text("\n".join(rows) + "\n")
    add_files(survey, [rover], role="rover", instrument=instrument)
    base = folder / f"base-{day}.csv"
    if not base.exists():
        base_times = np.arange(-900.0, seconds[-1] + 3600.0, 10.0)
        stamps = [
            (start + timedelta(seconds=float(t))).strftime("%Y-%m-%dT%H:%M:%SZ") for t in base_times
        ]
        values = 22900 + np.random.default_rng(99).normal(0.0, 0.02, len(stamps))
        base.write_text(
            "\n".join(["time_utc,total_field_nT", *map("{},{:.2f}".format, stamps, values)]) + "\n"
        )
        add_files(survey, [base], role="base", instrument="B1")


def geojson(path, *rings, **properties):
    """Write polygons given by metres from the corner of the survey as GeoJSON."""
    to_wgs84 = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    features = [
        {
            "type": "Feature",
            "properties": properties,
            "geometry": {
                "type": "Polygon",
                "coordinates": [
                    [list(to_wgs84.transform(WEST + e, SOUTH + n)) for e, n in [*ring, ring[0]]]
                ],
            },
        }
        for ring in rings
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def spaced(survey, spacing):
    """Return the survey with another line spacing."""
    text = survey.settings_file.read_text()
    survey.settings_file.write_text(
        text.replace("line_spacing_m = 50.0", f"line_spacing_m = {spacing:.1f}")
    )
    return open_folder(survey.path)


def legs(survey, *names):
    """Return the planned lines as legs, in metres from the corner of the area."""
    rows = {row["line"]: row for row in read_product(survey, "planned_lines").frame.to_dicts()}
    return [
        (
            name,
            *(
                (rows[name][f"easting_{n}_m"] - WEST, rows[name][f"northing_{n}_m"] - SOUTH)
                for n in (1, 2)
            ),
        )
        for name in names
    ]
