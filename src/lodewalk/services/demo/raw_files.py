"""The raw files as the crew would hand them in, in several open dialects."""

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from lodewalk.adapters.projection import to_geographic
from lodewalk.services.demo.faults import STANDS, Sheet, runs
from lodewalk.services.demo.field import World
from lodewalk.services.demo.instruments import BaseRecord, TrackRecord
from lodewalk.services.demo.scenario import Scenario
from lodewalk.services.demo.text import numbers, utc_texts, write_rows
from lodewalk.services.demo.walk import ITEM

GPX_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>',
    '<gpx version="1.1" creator="lodewalk demo" xmlns="http://www.topografix.com/GPX/1/1">',
)
COMMA_HEAD = ("time_utc,latitude,longitude,height_m,fix,satellites,hdop,field_nT,quality",)
SEMICOLON_HEAD = (
    "# caderno de campo, hora local",
    "data;hora;linha;campo_nT;sinal",
)
BASE_HEAD = ("# base, local time", "date\ttime\tfield_nT")
COLUMN_MAP = """\
# How to read the semicolon files: Portuguese names, decimal comma, local date and time.
comment = "#"
delimiter = ";"
decimal = ","

[columns]
date = "data"
time = "hora"
line = "linha"
field = "campo_nT"
quality = "sinal"

[time]
date_format = "%d/%m/%Y"
format = "%H:%M:%S"
zone = "{zone}"
"""


def write_comma_file(path: Path, sheet: Sheet) -> int:
    """Write a rover file with positions and UTC; return the number of lines before the rows."""
    clock = sheet.time_s + sheet.record.rover.clock_offset_s
    where = sheet.received
    columns = [
        utc_texts(clock, unit="ms"),
        numbers(where.latitude_deg, 7),
        numbers(where.longitude_deg, 7),
        numbers(where.height_m, 2),
        sheet.fix.tolist(),
        numbers(sheet.satellites, 0),
        numbers(sheet.hdop, 2),
        numbers(sheet.field_nT, sheet.record.rover.decimals),
        numbers(sheet.quality, 2),
    ]
    write_rows(path, COMMA_HEAD, columns)
    return len(COMMA_HEAD)


def write_semicolon_file(path: Path, sheet: Sheet, *, scenario: Scenario) -> int:
    """Write a rover file with line names, local date and time; return the lines before rows."""
    clock = sheet.time_s + sheet.record.rover.clock_offset_s + scenario.local_offset_s
    stamps = utc_texts(clock)
    columns = [
        [f"{stamp[8:10]}/{stamp[5:7]}/{stamp[:4]}" for stamp in stamps],
        [stamp[11:19] for stamp in stamps],
        np.where(np.isin(sheet.line, STANDS), "", sheet.line).tolist(),
        numbers(sheet.field_nT, sheet.record.rover.decimals, comma=True),
        numbers(sheet.quality, 2, comma=True),
    ]
    write_rows(path, SEMICOLON_HEAD, columns, sign=";")
    return len(SEMICOLON_HEAD)


def write_column_map(path: Path, *, scenario: Scenario) -> None:
    """Write the column map of the semicolon files."""
    path.write_text(COLUMN_MAP.format(zone=scenario.local_zone), encoding="utf-8", newline="\n")


def write_base_file(path: Path, record: BaseRecord, *, scenario: Scenario) -> int:
    """Write a base file in local time; return the number of lines before the rows."""
    stamps = utc_texts(record.time_s + scenario.local_offset_s)
    columns = [
        [stamp[:10] for stamp in stamps],
        [stamp[11:19] for stamp in stamps],
        numbers(record.field_nT, 2),
    ]
    write_rows(path, BASE_HEAD, columns, sign="\t")
    return len(BASE_HEAD)


def write_track(path: Path, track: TrackRecord, *, world: World) -> None:
    """Write a handheld's track with a waypoint at the base; heights are above sea level."""
    where, rule = track.received, world.scenario
    east, north, height = world.base_site
    base = [np.atleast_1d(part) for part in to_geographic(east, north, crs=rule.crs)]
    ground = height - rule.base_height_m - rule.geoid_m
    points = zip(
        numbers(where.latitude_deg, 7),
        numbers(where.longitude_deg, 7),
        numbers(where.height_m - rule.geoid_m, 1),
        utc_texts(track.time_s),
        strict=True,
    )
    write_gpx(
        path,
        [
            f'<wpt lat="{base[1][0]:.7f}" lon="{base[0][0]:.7f}"><ele>{ground:.1f}</ele>'
            f"<name>{rule.base}</name><cmt>base</cmt></wpt>",
            f"<trk><name>{track.rover.name} {track.day.date}</name><trkseg>",
            *(
                f'<trkpt lat="{lat}" lon="{lon}"><ele>{ele}</ele><time>{time}</time></trkpt>'
                for lat, lon, ele, time in points
            ),
            "</trkseg></trk>",
        ],
    )


def write_plan(path: Path, *, world: World) -> None:
    """Write the planned lines as routes."""
    body: list[str] = []
    for name in world.scenario.line_names():
        ends = np.array(world.scenario.line_ends(name))
        east, north = world.place.to_grid(ends[:, 0], ends[:, 1])
        longitude, latitude = to_geographic(east, north, crs=world.scenario.crs)
        body.append(f"<rte><name>{name}</name>")
        body += [
            f'<rtept lat="{lat}" lon="{lon}"></rtept>'
            for lat, lon in zip(numbers(latitude, 7), numbers(longitude, 7), strict=True)
        ]
        body.append("</rte>")
    write_gpx(path, body)


def write_gpx(path: Path, body: Iterable[str]) -> None:
    """Write a GPX 1.1 file."""
    path.write_text("\n".join([*GPX_HEAD, *body, "</gpx>", ""]), encoding="utf-8", newline="\n")


def write_notes(path: Path, *, world: World, sheets: Sequence[Sheet]) -> None:
    """Write the field notes: fence crossings, what went wrong, and what the weather did."""
    rows = [
        *_fence_notes(world, sheets),
        *_outage_notes(world, sheets),
        *(note for sheet in sheets for note in _test_notes(sheet)),
    ]
    rows.sort(key=lambda row: row[0])
    head = ("time,latitude,longitude,name,text",)
    write_rows(path, head, list(zip(*rows, strict=True)))


def _fence_notes(world: World, sheets: Sequence[Sheet]) -> Iterable[tuple[str, ...]]:
    """Yield a note at the first and the last crossing of the fence on each walk."""
    rule = world.scenario.fence
    for sheet in sheets:
        walked = sheet.record.walked
        off = np.abs(walked.along_m - rule.along_m - rule.skew * walked.across_m)
        on_line = np.flatnonzero((walked.line != "") & (off < 1.5))
        for row in (on_line[0], on_line[-1]):
            text = f"wire fence on steel posts crosses {walked.line[row]} ({_who(sheet)})"
            yield _note(sheet, int(row), "fence", text)


def _outage_notes(world: World, sheets: Sequence[Sheet]) -> Iterable[tuple[str, ...]]:
    """Yield a note for each outage, by who noticed it."""
    for outage in world.scenario.outages:
        same_day = [sheet for sheet in sheets if sheet.record.day.date == outage.date]
        own = [sheet for sheet in same_day if sheet.record.rover.name == outage.instrument]
        sheet = (own or same_day)[0]
        at = sheet.record.day.midnight_s + outage.end_s
        row = int(np.searchsorted(sheet.record.walked.time_s, at))
        yield _note(sheet, row, outage.instrument, f"{outage.note} ({_who(sheet)})")


def _test_notes(sheet: Sheet) -> Iterable[tuple[str, ...]]:
    """Yield the notes that begin and end each stand: check station, and an item on and off."""
    line, name = sheet.record.walked.line, sheet.record.rover.name
    for first, last in runs(line == "check"):
        off = last + 1 < len(line) and line[last + 1] == ITEM
        for test in ("check station", "without radio") if off else ("check station",):
            yield _note(sheet, first, name, f"test: {test} start")
            yield _note(sheet, last, name, f"test: {test} end")
    for first, last in runs(line == ITEM):
        yield _note(sheet, first, name, "test: with radio start")
        yield _note(sheet, last, name, "test: with radio end")


def _note(sheet: Sheet, row: int, name: str, text: str) -> tuple[str, ...]:
    """Return one note at a second of a walk, placed by the walker's receiver."""
    where, at = sheet.record.received, [row]
    return (
        utc_texts(sheet.record.walked.time_s[at])[0],
        numbers(where.latitude_deg[at], 6)[0],
        numbers(where.longitude_deg[at], 6)[0],
        name,
        text,
    )


def _who(sheet: Sheet) -> str:
    """Return the initials of who walked."""
    return sheet.record.rover.carried_by
