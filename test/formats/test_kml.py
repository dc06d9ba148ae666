"""KML: the example of the standard, what is refused, and what is understood."""

import pytest

from lodewalk.errors import InputError
from lodewalk.formats import kml
from lodewalk.formats.kml import parse
from lodewalk.records.recorded import Route, Shapes, Waypoints

#: OGC 07-147r2 (2008), section 10.8.4, retyped: a polygon with a hole.
EXAMPLE = """\
<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2">
<Document>
  <name>Polygon.kml</name>
  <open>0</open>
  <Placemark>
    <name>hollow box</name>
    <Polygon>
      <extrude>1</extrude>
      <altitudeMode>relativeToGround</altitudeMode>
      <outerBoundaryIs>
        <LinearRing>
          <coordinates>
            -122.366278,37.818844,30
            -122.365248,37.819267,30
            -122.365640,37.819861,30
            -122.366669,37.819429,30
            -122.366278,37.818844,30
          </coordinates>
        </LinearRing>
      </outerBoundaryIs>
      <innerBoundaryIs>
        <LinearRing>
          <coordinates>
            -122.366212,37.818977,30
            -122.365424,37.819294,30
            -122.365704,37.819731,30
            -122.366488,37.819402,30
            -122.366212,37.818977,30
          </coordinates>
        </LinearRing>
      </innerBoundaryIs>
    </Polygon>
  </Placemark>
</Document>
</kml>
"""
HEAD = '<kml xmlns="http://www.opengis.net/kml/2.2">\n'


def placemark(body):
    return f"{HEAD}<Placemark>\n{body}</Placemark></kml>"


def line(coordinates):
    return placemark(f"<LineString>\n<coordinates>{coordinates}</coordinates></LineString>")


@pytest.fixture
def reading(tmp_path):
    def read(text, *, role="area"):
        path = tmp_path / "area.kml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return kml.read(path, role=role, column_map=None)

    return read


def test_the_example_of_the_standard(reading):
    content = reading(EXAMPLE)
    assert isinstance(content.table, Shapes)
    frame = content.table.frame
    assert frame["first"].to_list()[:2] == [-122.366278, -122.365248]
    assert frame["second"].to_list()[5:7] == [37.818977, 37.819294]
    assert frame["ring"].to_list() == [0] * 5 + [1] * 5
    assert frame["line_in_file"].to_list() == [14, 15, 16, 17, 18, 25, 26, 27, 28, 29]
    assert set(frame["name"]) == {"hollow box"}
    assert content.understood == (
        "KML: 1 polygon with 1 hole; 10 corners in WGS 84 (EPSG:4326).",
        "Heights of 10 places are left aside.",
    )


def test_a_hole_before_the_outline_is_still_a_hole(reading):
    start, end = EXAMPLE.index("<outerB"), EXAMPLE.index("<innerB")
    stop = EXAMPLE.index("    </Polygon>")
    turned = EXAMPLE[:start] + EXAMPLE[end:stop] + EXAMPLE[start:end] + EXAMPLE[stop:]
    frame = reading(turned).table.frame
    assert frame["first"].to_list()[0] == -122.366278
    assert frame["ring"].to_list() == [0] * 5 + [1] * 5


def test_extended_data_tell_kind_and_buffer(reading):
    data = (
        '<ExtendedData><Data name="Kind"><displayName>what</displayName><value>road</value></Data>'
        '<SchemaData><SimpleData name="buffer_m">7.5</SimpleData></SchemaData></ExtendedData>'
    )
    body = f"<name>A\n 1</name>{data}<LineString><coordinates>1,2 3,4</coordinates></LineString>"
    row = reading(placemark(body), role="exclusion").table.frame.row(0, named=True)
    assert (row["name"], row["kind"], row["buffer_m"]) == ("A 1", "road", 7.5)


def test_lines_become_a_plan_and_points_notes(reading):
    body = (
        "<name>L1</name><MultiGeometry><LineString><coordinates>1,2 3,4</coordinates></LineString>"
        "<LineString><coordinates>5,6 7,8</coordinates></LineString></MultiGeometry>"
    )
    content = reading(placemark(body), role="plan")
    assert isinstance(content.table, Route)
    assert content.table.frame["line"].to_list() == ["L1", "L1", "L1 (2)", "L1 (2)"]
    assert content.understood[-1] == "A further line called L1 is now L1 (2)."
    body = "<name>C1</name><description>gate</description><Point><coordinates>1,2</coordinates>"
    notes = reading(placemark(f"{body}</Point>"), role="notes").table
    assert isinstance(notes, Waypoints)
    row = notes.frame.row(0, named=True)
    assert (row["name"], row["text"], row["longitude_deg"]) == ("C1", "gate", 1.0)


def test_what_is_left_aside_is_told(reading):
    text = (
        '<kml xmlns="http://earth.google.com/kml/2.1"><Document><NetworkLink><Link>'
        "<href>http://nowhere.invalid/a.kml</href></Link></NetworkLink>"
        "<Placemark><name>empty</name></Placemark><Placemark><LineString><coordinates>1,2 3,4"
        "</coordinates></LineString></Placemark></Document></kml>"
    )
    assert reading(text, role="exclusion").understood[1:] == (
        "Namespace http://earth.google.com/kml/2.1: read by the rules of KML 2.2.",
        "Placemarks without a shape, left aside: 1.",
        "Links to other files, not followed: 1.",
    )


def test_prefixes_and_other_namespaces(reading):
    text = (
        '<k:kml xmlns:k="http://www.opengis.net/kml/2.2" xmlns:o="urn:o"><k:Placemark>'
        "<o:LineString><o:coordinates>noon</o:coordinates></o:LineString><k:LineString>"
        "<k:coordinates>1,2 3,4</k:coordinates></k:LineString></k:Placemark></k:kml>"
    )
    assert reading(text, role="exclusion").table.frame["first"].to_list() == [1, 3]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (EXAMPLE[: EXAMPLE.index("37.819429") + 3], "line 17: .* well-formed XML .*cut short"),
        (EXAMPLE.replace("37.819861", "97.819861"), "line 16: Latitude must lie in -90 to 90"),
        (EXAMPLE.replace("37.819861,30", "37.819861, 30"), "line 16: Coord.* Found '30'"),
        (line("1,2 3,4"), r"no polygon. It holds 1 line\. Draw the area as a polygon"),
        (line("1,2 noon"), "line 4: Coordinates must be .* Found 'noon'. No blank"),
        (line("1;2 3;4"), "line 4: Coordinates must be"),
        (line(" "), "line 4: Coordinates must not be empty"),
        (placemark("<Point><coordinates>1,2 3,4</coordinates></Point>"), "must have one place"),
        (placemark("<Polygon></Polygon>"), "must have an outer boundary"),
        (HEAD + "</kml>", "no polygon. It holds no shapes at all"),
        ("<gpx/>", "root of the file must be kml. Found 'gpx'"),
        ('<!DOCTYPE kml [<!ENTITY a "x">]><kml>&a;</kml>', "document type or entities"),
        (HEAD + "<Folder>" * 100, "nested deeper than 64"),
        (HEAD + '<Folder id="' + "1" * 3_000_000, "longer than a mebibyte"),
        ("", "well-formed"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(text, message, reading):
    with pytest.raises(InputError, match=message):
        reading(text)


def test_a_line_with_one_place_is_refused(reading):
    with pytest.raises(InputError, match="line 4: A line needs at least 2 different places"):
        reading(line("1,2 1,2"), role="exclusion")


def test_corners_and_texts_are_bounded(reading, monkeypatch):
    monkeypatch.setattr(parse, "MAX_CORNERS", 4)
    with pytest.raises(InputError, match="4 corners at most"):
        reading(EXAMPLE)
    monkeypatch.setattr(parse, "MAX_TEXT_CHARACTERS", 5)
    with pytest.raises(InputError, match="texts of the file are too long"):
        reading(EXAMPLE)


def test_recognises_the_root():
    assert kml.recognise(EXAMPLE.encode()) == 1.0
    assert kml.recognise(EXAMPLE.replace("UTF-8", "UTF-16").encode("utf-16")) == 1.0
    assert kml.recognise(b"<gpx><kmlfile/></gpx>") == 0.0
