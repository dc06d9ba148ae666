"""An invented plan: lines in several days with ties, base, check station, turns and exclusions."""

import math

import numpy as np
import polars as pl
from pyproj import Transformer

from lodewalk.records.planning import Outline, PlannedLines, PlannedPoints, PlannedSurvey

CRS, TITLE = "EPSG:31982", "SIRGAS 2000 / UTM zone 22S (EPSG:31982)"
WEST, SOUTH = 600_000.0, 7_240_000.0


def ring(*corners):
    """Return a closed ring."""
    return np.array([*corners, corners[0]], dtype=float)


def box(west, south, east, north):
    return ring((west, south), (east, south), (east, north), (west, north))


def piece(line, kind, number, part, day, rover, ends, *, reversed_=False):
    """Return one row of planned lines."""
    (e1, n1), (e2, n2) = ends
    length = math.hypot(e2 - e1, n2 - n1)
    return {
        "line": line,
        "kind": kind,
        "number": number,
        "piece": part,
        "day": day,
        "rover": rover,
        "reversed": reversed_,
        "easting_1_m": e1,
        "northing_1_m": n1,
        "easting_2_m": e2,
        "northing_2_m": n2,
        "length_m": length,
        "ground_length_m": length,
        "azimuth_deg": math.degrees(math.atan2(e2 - e1, n2 - n1)) % 360,
    }


def lines_of(count, days, *, spacing, length, azimuth=0.0, rovers=1, west=WEST, south=SOUTH):
    """Return parallel lines walked to and fro, each fifth in two pieces round a fence, and ties."""
    turn = math.radians(azimuth)
    along = np.array([math.sin(turn), math.cos(turn)])
    across = np.array([along[1], -along[0]])
    corner = np.array([west, south])

    def at(u, v):
        return tuple((corner + u * across + v * along).tolist())

    rows = []
    per_day = math.ceil(count / days)
    for index in range(count):
        day, rover = index // per_day + 1, index % rovers + 1
        u, back = index * spacing, bool(index % 2)
        cuts = [(0.0, length)]
        if index % 5 == 4:
            cuts = [(0.0, 0.4 * length), (0.55 * length, length)]
        cuts = cuts[::-1] if back else cuts
        for part, (low, high) in enumerate(cuts, 1):
            name = f"L{10 * (index + 1):04d}" + (f"-{part}" if len(cuts) > 1 else "")
            ends = (at(u, low), at(u, high))
            rows.append(piece(name, "line", index + 1, part, day, rover, ends, reversed_=back))
    reach = (count - 1) * spacing
    ties = (0.2 * length, 0.8 * length) if count > 1 else ()
    for number, v in enumerate(ties, 1):
        ends = (at(0, v), at(reach, v))
        rows.append(piece(f"T{10 * number:04d}", "tie", number, 1, days, 1, ends))
    repeat = (at(0, 0), at(0, min(200.0, length)))
    rows += [piece("R1", "repeat", 1, 1, day, 1, repeat) for day in range(1, days + 1)]
    rows.sort(key=lambda row: (row["day"], row["rover"]))
    return PlannedLines(pl.DataFrame(rows, schema=schema(PlannedLines)))


def schema(table):
    return {column.name: column.dtype for column in table.SCHEMA}


def stations(row, each):
    """Return (name, kind, day, easting, northing, text, rover, line) along a piece as walked."""
    ends = [(row["easting_1_m"], row["northing_1_m"]), (row["easting_2_m"], row["northing_2_m"])]
    (e1, n1), (e2, n2) = ends[::-1] if row["reversed"] else ends
    between = np.arange(each, row["length_m"] - each / 4, each)
    for along in (0.0, *between, row["length_m"]):
        share = along / row["length_m"]
        kind = {0.0: "start", 1.0: "end"}.get(share, "on line")
        daily = row["kind"] == "repeat"
        yield (
            f"{row['line']}-{round(along):03d}", kind, 0 if daily else row["day"],
            e1 + share * (e2 - e1), n1 + share * (n2 - n1), f"{kind} of {row['line']}",
            0 if daily else row["rover"], row["line"],
        )  # fmt: skip


def points_of(places, *, crs=CRS):
    """Return points from (name, kind, day, easting, northing, text, rover, line)."""
    to_wgs84 = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    rows = []
    for name, kind, day, east, north, text, rover, line in places:
        longitude, latitude = to_wgs84.transform(east, north)
        rows.append(
            {"name": name, "kind": kind, "day": day, "rover": rover, "line": line,
             "easting_m": east, "northing_m": north, "height_m": None, "latitude_deg": latitude,
             "longitude_deg": longitude, "text": text}
        )  # fmt: skip
    return PlannedPoints(pl.DataFrame(rows, schema=schema(PlannedPoints)))


def outlines_of(west, south, east, north):
    """Return the area with a hole, a fence kept clear of, and a pond."""
    wide, tall = east - west, north - south

    def at(u, v):
        return west + u * wide, south + v * tall

    def part(u0, v0, u1, v1):
        return box(*at(u0, v0), *at(u1, v1))

    area = (part(-0.03, -0.03, 1.03, 1.03), part(0.42, 0.62, 0.5, 0.7))
    fence = np.array([at(-0.03, 0.42), at(0.5, 0.47), at(1.03, 0.53)])
    pond = part(0.7, 0.1, 0.82, 0.18)
    return (
        Outline("area", "North block", "", "polygon", area),
        Outline("exclusion", "wire fence", "fence", "line", (fence,), 10.0),
        Outline("exclusion", "pond", "water", "polygon", (pond,), 5.0),
        Outline("kept clear", "pond", "water", "polygon", (part(0.69, 0.09, 0.83, 0.19),), None),
    )


def planned(
    count=60, days=3, *, spacing=25.0, length=600.0, azimuth=0.0, rovers=1, name="North hill",
    crs=CRS, title=TITLE, west=WEST, south=SOUTH, far_base=False, each=100.0, **options,
):  # fmt: skip
    """Return a whole plan."""
    lines = lines_of(
        count, days, spacing=spacing, length=length, azimuth=azimuth, rovers=rovers, west=west,
        south=south,
    )  # fmt: skip
    frame = lines.frame
    east = np.concatenate([frame["easting_1_m"], frame["easting_2_m"]])
    north = np.concatenate([frame["northing_1_m"], frame["northing_2_m"]])
    edges = east.min(), north.min(), east.max(), north.max()
    wide, tall = edges[2] - edges[0], edges[3] - edges[1]
    base = (edges[0] - (9000 if far_base else 0.08 * wide), edges[1] + 0.5 * tall)
    stands = [
        ("BASE", "base", *base, "Base: five readings around it within 2 nT"),
        ("BASE-2", "other base", base[0], base[1] + 0.2 * tall, "Other site of the base"),
        ("CHECK", "check station", edges[0] + 0.02 * wide, edges[1] - 0.05 * tall,
         "Check station, morning and evening"),
        ("TURNS", "turns", edges[0] + 0.08 * wide, edges[1] - 0.06 * tall,
         "Turn-around spot: even field"),
    ]  # fmt: skip
    distinct = frame.unique("line", keep="first", maintain_order=True).iter_rows(named=True)
    places = [(name, kind, 0, *place, text, 0, None) for name, kind, *place, text in stands]
    places += [place for row in distinct for place in stations(row, each)]
    points = points_of(places, crs=crs)
    dates = tuple(f"2026-03-{9 + day:02d}" for day in range(days))
    words = {"dates": dates, "convergence_deg": -0.42, "declination_deg": -19.87} | options
    return PlannedSurvey(
        name=name, crs=crs, crs_title=title, lines=lines, points=points,
        outlines=outlines_of(*edges), **words,
    )  # fmt: skip
