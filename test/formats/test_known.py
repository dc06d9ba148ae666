"""Tables of what boreholes and outcrops tell, and what is refused."""

import pytest

from lodewalk.errors import InputError
from lodewalk.formats import known
from lodewalk.formats.registry import recognise
from lodewalk.records.recorded import Known

TABLE = """\
# holes of the spring
name;what;easting;northing;value;sd;towards
BH1;depth;5012,5;7300;12,4;0,3;
BH2;not reached;5080;7310;30;;
creek;width;5100;7290;8;1;
creek;dip;5100;7290;75;5;95
"""


@pytest.fixture
def reading(tmp_path):
    def read(text, role="known"):
        path = tmp_path / "known.csv"
        path.write_text(text, encoding="utf-8")
        return known.read(path, role=role)

    return read


def test_a_table(reading):
    content = reading(TABLE)
    assert isinstance(content.table, Known)
    frame = content.table.frame
    assert frame["line_in_file"].to_list() == [3, 4, 5, 6]
    assert frame["what"].to_list() == ["depth", "not_reached", "width", "dip"]
    assert frame["easting_m"].to_list() == [5012.5, 5080.0, 5100.0, 5100.0]
    assert frame["value"].to_list() == [12.4, 30.0, 8.0, 75.0]
    assert frame["sd"].to_list() == [0.3, None, 1.0, 5.0]
    assert frame["towards_deg"].to_list() == [None, None, None, 95.0]
    assert frame["name"].to_list() == ["BH1", "BH2", "creek", "creek"]
    assert content.understood == (
        "Known: 4 rows (1 of depth, 1 of not_reached, 1 of width, 1 of dip).",
    )


def test_places_may_be_geographic(reading):
    frame = reading("what,latitude,longitude,value\ndepth,-33.5,151.2,9\n").table.frame
    assert frame["latitude_deg"].to_list() == [-33.5]
    assert "easting_m" not in frame.columns


@pytest.mark.parametrize(
    ("text", "match", "line"),
    [
        ("what,value\ndepth,3\n", "must name the place", 1),
        ("easting,northing,value\n1,2,3\n", "must name a column what", 1),
        ("what,easting,northing\ndepth,1,2\n", "must name a column value", 1),
        ("what,what,easting,northing,value\na,b,1,2,3\n", "names what twice", 1),
        ("what,easting,northing,value\n", "holds no rows", 1),
        ("what,easting,northing,value\nheight,1,2,3\n", "must be one of depth", 2),
        ("what,easting,northing,value\ndepth,1,2,-3\n", "above 0 and at most 5000 m", 2),
        ("what,easting,northing,value\ndepth,1,2,deep\n", "value must be a number", 2),
        ("what,easting,northing,value\ndepth,1,2\n", "must have 4 fields", 2),
        ("what,easting,northing,value,sd\ndepth,1,2,3,0\n", "sd must be above zero", 2),
        ("what,easting,northing,value\ndip,1,2,60\n", "needs the azimuth", 2),
        ("what,easting,northing,value,towards\ndip,1,2,60,400\n", "0 to 360", 2),
        ("what,easting,northing,value,towards\ndip,1,2,95,40\n", "at most 90 degrees", 2),
    ],
)
def test_what_is_refused(text, match, line, reading):
    with pytest.raises(InputError, match=match) as caught:
        reading(text)
    assert caught.value.line == line


def test_another_role_is_refused(reading):
    with pytest.raises(InputError, match="serves as known"):
        reading(TABLE, role="rover")


def test_the_format_is_recognised(tmp_path):
    assert known.recognise(TABLE.encode()) == 0.9
    assert known.recognise(b"time,field\n08:00:00,22950.1\n") == 0.0
    assert known.recognise(b"") == 0.0
    path = tmp_path / "facts.txt"
    path.write_text("hole,easting,northing\nBH1,1,2\n", encoding="utf-8")
    assert recognise(path, role="known").name == "known"  # whose reader says what is lacking
