"""GPX: the published schema, what is refused, and what is understood."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from xml.etree import ElementTree as ET

import polars as pl
import pytest
import xmlschema

from lodewalk.errors import InputError
from lodewalk.formats import gpx
from lodewalk.formats.content import Content
from lodewalk.formats.gpx import parse
from lodewalk.records.recorded import Route, Track, Waypoints

SCHEMA = Path(__file__).parents[1] / "published" / "gpx11.xsd"

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx version="1.1" creator="Lime Hill" xmlns="http://www.topografix.com/GPX/1/1">\n'
)

WALK = (
    HEAD
    + """\
<wpt lat="-27.5" lon="-48.25"><ele>12.5</ele><time>2024-03-01T09:00:00Z</time>
<name>C1</name><cmt>gate, iron</cmt><desc>left open</desc></wpt>
<wpt lat="-27.6" lon="-48.25"><cmt>wire</cmt><desc>wire</desc></wpt>
<rte><name>L1</name>
<rtept lat="-27.5" lon="-48.25"/>
<rtept lat="-27.6" lon="-48.25"><name>end</name></rtept></rte>
<rte><rtept lat="-27.7" lon="-48.25"/></rte>
<rte><name>L1</name><rtept lat="-27.8" lon="-48.25"/></rte>
<trk><name>day 1</name><trkseg>
<trkpt lat="-27.5" lon="-48.25"><ele>12.5</ele><time>2024-03-01T09:00:00.25Z</time>
<fix>3D</fix><sat>9</sat><hdop>0.8</hdop></trkpt>
<trkpt lat="-27.6" lon="-48.26"><time>2024-03-01T10:00:00+02:00</time></trkpt>
</trkseg><trkseg/><trkseg>
<trkpt lat="-27.7" lon="-48.27"/>
</trkseg></trk>
</gpx>
"""
)


@pytest.fixture
def reading(tmp_path: Path) -> Callable[..., Content]:
    def read(text: str | bytes, *, role: str = "track") -> Content:
        path = tmp_path / "walk.gpx"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return gpx.read(path, role=role, column_map=None)

    return read


def test_track(reading: Callable[..., Content]) -> None:
    content = reading(WALK)
    assert isinstance(content.table, Track)
    frame = content.table.frame
    assert frame["line_in_file"].to_list() == [12, 14, 16]
    assert frame["segment"].to_list() == [0, 0, 1]
    assert frame["latitude_deg"].to_list() == [-27.5, -27.6, -27.7]
    assert frame["longitude_deg"].to_list() == [-48.25, -48.26, -48.27]
    assert frame["height_m"].to_list() == [12.5, None, None]
    assert frame["recorded_time"].to_list() == [
        datetime(2024, 3, 1, 9, 0, 0, 250_000),
        datetime(2024, 3, 1, 8),
        None,
    ]
    assert frame["fix"].to_list() == ["3d", None, None]
    assert frame["satellites"].to_list() == [9.0, None, None]
    assert frame["hdop"].to_list() == [0.8, None, None]
    assert content.zone == "UTC"
    assert content.understood == (
        "GPX 1.1: 3 track points in 2 segments; from 2024-03-01T08:00:00Z to "
        "2024-03-01T09:00:00.250000Z; 1 without a time; "
        "left aside: 2 waypoints, 4 route points.",
    )


def test_routes_become_lines_with_names_of_their_own(reading: Callable[..., Content]) -> None:
    content = reading(WALK, role="plan")
    assert isinstance(content.table, Route)
    assert content.table.frame["line"].to_list() == ["L1", "L1", "route 2", "L1 (2)"]
    assert content.table.frame["line_in_file"].to_list() == [7, 8, 9, 10]
    assert content.understood[1] == "A further route called L1 is now L1 (2)."


def test_waypoints_become_notes(reading: Callable[..., Content]) -> None:
    content = reading(WALK, role="notes")
    assert isinstance(content.table, Waypoints)
    frame = content.table.frame
    assert frame["name"].to_list() == ["C1", None]
    assert frame["text"].to_list() == ["gate, iron; left open", "wire"]
    assert frame["recorded_time"].to_list() == [datetime(2024, 3, 1, 9), None]
    assert frame["height_m"].to_list() == [12.5, None]


def test_fix_columns_only_where_the_file_has_them(reading: Callable[..., Content]) -> None:
    table = reading(HEAD + '<trk><trkseg><trkpt lat="1" lon="2"/></trkseg></trk></gpx>').table
    assert not any(table.has(name) for name in ("fix", "satellites", "hdop"))
    assert table.frame["recorded_time"].to_list() == [None]


def test_version_1_0_is_accepted_with_a_note(reading: Callable[..., Content]) -> None:
    content = reading(WALK.replace('gpx version="1.1"', 'gpx version="1.0"'))
    assert content.understood[0].startswith("GPX 1.0: 3 track points")
    assert content.understood[0].endswith("read by the rules of GPX 1.1.")


def test_prefixed_elements_and_extensions(reading: Callable[..., Content]) -> None:
    text = (
        '<g:gpx version="1.1" xmlns:g="http://www.topografix.com/GPX/1/1" xmlns:e="urn:e">'
        '<g:trk><g:trkseg><g:trkpt lat="1" lon="2"><e:time>noon</e:time>'
        "<g:extensions><g:time>noon</g:time></g:extensions>"
        "<g:time>2024-03-01T09:00:00Z</g:time></g:trkpt></g:trkseg></g:trk></g:gpx>"
    )
    assert reading(text).table.frame["recorded_time"].to_list() == [datetime(2024, 3, 1, 9)]


@pytest.mark.parametrize("encoding", ["utf-16", "iso-8859-1", "cp1252"])
def test_encodings(reading: Callable[..., Content], encoding: str) -> None:
    text = f'<?xml version="1.0" encoding="{encoding}"?><gpx version="1.1"><wpt lat="1" lon="2">'
    text += "<name>Córrego</name></wpt></gpx>"
    frame = reading(text.encode(encoding), role="notes").table.frame
    assert frame["name"].to_list() == ["Córrego"]


def one(time: str) -> str:
    """Return a track of one point with a time."""
    return (
        f"{HEAD}<trk><trkseg>\n<trkpt lat='1' lon='2'><time>{time}</time></trkpt>"
        "</trkseg></trk></gpx>"
    )


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("2024-03-01T09:30:00Z", datetime(2024, 3, 1, 9, 30)),
        (" 2024-03-01T09:30:00.1234567Z\n", datetime(2024, 3, 1, 9, 30, 0, 123456)),
        ("2024-03-01T09:30:00-03:30", datetime(2024, 3, 1, 13)),
        ("2024-01-01T00:30:00+02:00", datetime(2023, 12, 31, 22, 30)),
        ("2016-12-31T23:59:60Z", datetime(2017, 1, 1)),
        ("1980-01-06T00:00:00Z", datetime(1980, 1, 6)),
    ],
)
def test_times(reading: Callable[..., Content], text: str, time: datetime) -> None:
    content = reading(one(text))
    assert content.table.frame["recorded_time"].to_list() == [time]
    assert len(content.understood) == 1


@pytest.mark.parametrize(
    "text",
    [
        "1980-01-05T23:59:59Z",
        "1901-12-13T20:45:52.207Z",
        "0000-00-00T00:00:00Z",
        "2024-02-30T00:00:00Z",
    ],
)
def test_time_no_receiver_can_have_is_missing_and_said(
    reading: Callable[..., Content], text: str
) -> None:
    content = reading(one(text))
    assert content.table.frame["recorded_time"].to_list() == [None]
    assert content.understood[1] == (
        "1 time can't be of a GPS receiver, first in line 4: taken as missing."
    )


def test_time_without_a_zone_is_said(reading: Callable[..., Content]) -> None:
    assert reading(one("2024-03-01T09:30:00")).understood[1] == (
        "1 time without a zone: taken as UTC."
    )


def point(attributes: str, child: str = "") -> str:
    """Return a track of one point in line 4."""
    return f"{HEAD}<trk><trkseg>\n<trkpt {attributes}>{child}</trkpt></trkseg></trk></gpx>"


LINES = "\n".join
BILLION_LAUGHS = (
    '<?xml version="1.0"?>\n<!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>\n'
    '<gpx version="1.1"><wpt lat="1" lon="2"><name>&b;</name></wpt></gpx>'
)
OUTSIDE_ENTITY = '<!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/passwd">]><gpx>&a;</gpx>'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (point('lat="91" lon="-48.25"'), r"line 4: Latitude must lie .* Found 91.0\. Are lat"),
        (point('lat="-140.5" lon="-27"'), r"line 4: .*swapped\?"),
        (point('lat="-140.5" lon="170"'), r"line 4: Latitude must lie .* Found -140.5\.$"),
        (point('lat="1" lon="180.001"'), "line 4: Longitude must lie"),
        (point('lat="1"'), "line 4: A point must have latitude and longitude"),
        (point('lat="1,5" lon="2"'), "line 4: A point must have .* Found '1,5'"),
        (point('lat="nan" lon="2"'), "line 4: A point must have .* Found 'nan'"),
        (point('lat="1" lon="2"', "<ele>high</ele>"), "line 4: The height must be a number"),
        (point('lat="1" lon="2"', "<sat>all</sat>"), "line 4: The number of satellites"),
        (one("yesterday"), "line 4: A time must look like"),
        (WALK[: WALK.index("9</sat>")], "line 13: The file must be well-formed XML .*cut short"),
        (WALK.replace("</trkseg>", "", 1), r"line 17: .*\(mismatched tag\)"),
        (WALK.replace("gate, iron", "gate & iron"), "line 4: .*well-formed"),
        ("<kml/>", "line 1: The root of the file must be gpx. Found 'kml'"),
        ("", "line 1: The file must be well-formed"),
        ("lat,lon\n1,2\n", "line 1: The file must be well-formed"),
        (BILLION_LAUGHS, "line 2: A GPX file may not declare a document type or entities"),
        (OUTSIDE_ENTITY, "line 1: A GPX file may not declare"),
        ('<?xml version="1.0" encoding="utf-77"?><gpx/>', "line 1: "),
        ('<?xml version="1.0" encoding="gb18030"?><gpx/>', "line 1: "),
        (HEAD + "<a>" * 64, "line 3: Elements may not be nested deeper than 64"),
        (HEAD + "<wpt lat='" + "1" * 2_000_000, "longer than a mebibyte"),
        (HEAD + "<!--" + "1" * 2_000_000, "longer than a mebibyte"),
        (point('lat="1" lon="2"', "<ele>" + "1" * 1_100_000), "texts .* are too long"),
    ],
)
def test_damage_and_danger_are_refused_with_the_line(
    reading: Callable[..., Content], text: str, message: str
) -> None:
    with pytest.raises(InputError, match=message):
        reading(text)


def test_texts_and_points_of_a_file_are_bounded(
    reading: Callable[..., Content], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parse, "MAX_POINTS", 2)
    with pytest.raises(InputError, match="2 points at most"):
        reading(WALK)
    monkeypatch.setattr(parse, "MAX_KEPT_CHARACTERS", 20)
    with pytest.raises(InputError, match="texts of the file are too long"):
        reading(WALK, role="notes")


@pytest.mark.parametrize(
    ("role", "text", "message"),
    [
        ("plan", one(""), r"no route points. It holds 1 track point \(role track\)"),
        ("notes", HEAD + "</gpx>", "no waypoints. It holds no points at all"),
        ("rover", WALK, "serves as track, plan, notes, area or exclusion"),
    ],
)
def test_file_without_points_for_the_role(
    reading: Callable[..., Content], role: str, text: str, message: str
) -> None:
    with pytest.raises(InputError, match=message):
        reading(text, role=role)


def test_recognises_the_root() -> None:
    assert gpx.recognise(WALK[:200].encode()) == 1.0
    assert gpx.recognise(WALK.encode("utf-16")) == 1.0
    assert gpx.recognise(b"<g:gpx>") == 1.0
    assert gpx.recognise(b"<kml><gpxfile/></kml>") == 0.0
    assert gpx.recognise(b"") == 0.0


@pytest.fixture(scope="module")
def schema() -> xmlschema.XMLSchema:
    return xmlschema.XMLSchema(str(SCHEMA))


def track(**changes: list[object]) -> Track:
    """Return two points, some columns changed."""
    columns: dict[str, list[object]] = {
        "line_in_file": [1, 2],
        "recorded_time": [datetime(2024, 3, 1, 9, 0, 0, 250_000), None],
        "segment": [0, 1],
        "latitude_deg": [-27.5, 1e-7],
        "longitude_deg": [-48.25, 180.0],
        "height_m": [12.5, None],
        "fix": ["rtk", None],
        "satellites": [9.0, None],
        "hdop": [0.8, float("nan")],
    }
    frame = pl.DataFrame({**columns, **changes}, strict=False)
    return Track(frame.with_columns(pl.col("recorded_time").cast(pl.Datetime("us"))))


ROUTES = Route(
    pl.DataFrame(
        {
            "line_in_file": [1, 2, 3],
            "line": ["L1", "L1", "T & <1>"],
            "latitude_deg": [-27.5, -27.6, -27.5],
            "longitude_deg": [-48.25, -48.25, -48.5],
        }
    )
)
NOTES = Waypoints(
    pl.DataFrame(
        {
            "line_in_file": [1, 2],
            "recorded_time": pl.Series([None, None], dtype=pl.Datetime("us")),
            "latitude_deg": [-27.5, None],
            "longitude_deg": [-48.25, None],
            "height_m": pl.Series([None, None], dtype=pl.Float64),
            "name": ["C1", "C2"],
            "text": ["gate\nof iron", None],
        }
    )
)


def test_written_file_keeps_to_the_schema(tmp_path: Path, schema: xmlschema.XMLSchema) -> None:
    path = tmp_path / "out.gpx"
    gpx.write(path, tracks=track(), routes=ROUTES, waypoints=NOTES, creator='Lime & "Hill"')
    schema.validate(str(path))
    text = path.read_text("utf-8")
    assert ET.parse(path).getroot().get("creator") == 'Lime & "Hill"'
    assert 'lon="-180.0"' in text
    assert 'lat="0.0000001"' in text
    assert "<fix>dgps</fix>" in text
    assert "nan" not in text


def test_schema_tells_good_from_bad(tmp_path: Path, schema: xmlschema.XMLSchema) -> None:
    path = tmp_path / "out.gpx"
    gpx.write(path, tracks=track(), waypoints=NOTES)
    good = path.read_text("utf-8")
    swapped = good.replace("<name>C1</name>", "").replace("</desc>", "</desc><name>C1</name>")
    assert schema.is_valid(good)
    assert not schema.is_valid(swapped)
    assert not schema.is_valid(good.replace('lon="-180.0"', 'lon="180.0"'))


def test_written_file_reads_back(tmp_path: Path) -> None:
    path = tmp_path / "out.gpx"
    gpx.write(path, tracks=track(), routes=ROUTES, waypoints=NOTES)
    back = gpx.read(path, role="track", column_map=None).table
    assert back.frame["segment"].to_list() == [0, 1]
    assert back.frame["recorded_time"].to_list() == track().frame["recorded_time"].to_list()
    assert back.floats("latitude_deg") == pytest.approx([-27.5, 1e-7], abs=1e-10)
    lines = gpx.read(path, role="plan", column_map=None).table.frame["line"].to_list()
    assert lines == ["L1", "L1", "T & <1>"]
    notes = gpx.read(path, role="notes", column_map=None).table.frame
    assert notes["text"].to_list() == ["gate\nof iron"]


def test_same_points_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.gpx", "b.gpx"):
        gpx.write(tmp_path / name, tracks=track(), routes=ROUTES, waypoints=NOTES)
    assert (tmp_path / "a.gpx").read_bytes() == (tmp_path / "b.gpx").read_bytes()


@pytest.mark.parametrize("letter", ["\x00", "\x1b", "\r", "\ud800", "\uffff"])
def test_text_that_xml_cannot_hold_is_refused(tmp_path: Path, letter: str) -> None:
    with pytest.raises(InputError, match="control characters"):
        gpx.write(tmp_path / "out.gpx", tracks=track(), creator=f"a{letter}")


def test_position_out_of_range_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="latitude_deg must lie in -90 to 90"):
        gpx.write(tmp_path / "out.gpx", tracks=track(latitude_deg=[91.0, 1.0]))
