import tomllib

import pytest

from lodewalk.errors import SettingsError
from lodewalk.formats.delimited import ColumnMap

FULL = """
skip = 3
header = 2
comment = "#"
delimiter = ";"
decimal = ","
missing = ["", "-9999"]

[columns]
date = "Datum"
time = 2
field = "F"
line = 4
station = 5

[time]
format = "%H%M%S%.f"
date_format = "%d.%m.%Y"
zone = "America/Bahia"

[position]
crs = "EPSG:31984"
local_grid = true
pegs = [
  {line = "10", station = 0, easting = 500000.0, northing = 8500000.0},
  {line = "10", station = 100.5, easting = 500100.0, northing = 8500000.0},
]
fix = {A = "3d"}
"""


@pytest.fixture
def written(tmp_path):
    def function(text):
        path = tmp_path / "map.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return function


def test_every_key_of_a_toml_file_is_read(written):
    chosen = ColumnMap.from_toml(written(FULL))
    assert (chosen.skip, chosen.header, chosen.comment) == (3, 2, ("#",))
    assert (chosen.delimiter, chosen.decimal, chosen.missing) == (";", ",", ("", "-9999"))
    assert chosen.columns == {"date": "Datum", "time": 2, "field": "F", "line": 4, "station": 5}
    assert chosen.time.zone == "America/Bahia"
    assert chosen.position.pegs[1].station == 100.5
    assert chosen.position.fix == {"A": "3d"}


def test_defaults():
    assert ColumnMap.from_dict({}).to_dict() == {
        "skip": 0,
        "header": True,
        "comment": [],
        "delimiter": ",",
        "widths": None,
        "decimal": ".",
        "missing": ["", "*"],
        "columns": {},
        "time": {
            "format": "iso", "date_format": "iso", "year": None, "date": None, "zone": None,
        },
        "position": {
            "crs": None, "angles": "decimal degrees", "fix": {}, "local_grid": False, "pegs": [],
        },
        "lines": {"mark": None, "pattern": None},
    }  # fmt: skip


def test_dict_and_toml_lead_back_to_the_same_map(written):
    chosen = ColumnMap.from_toml(written(FULL))
    assert ColumnMap.from_dict(chosen.to_dict()) == chosen
    assert tomllib.loads(chosen.to_toml())["columns"]["date"] == "Datum"
    assert ColumnMap.from_toml(written(chosen.to_toml())) == chosen


def test_any_text_can_be_written_as_toml(written):
    strange = {"delimiter": "\t", "comment": ["\x7f", "\\", "\x01", "ç\U0001f9ed"]}
    chosen = ColumnMap.from_dict({**strange, "position": {"fix": {"a b": "3d"}}})
    assert ColumnMap.from_toml(written(chosen.to_toml())) == chosen


def test_stating_a_default_changes_nothing():
    stated = ColumnMap.from_dict({"delimiter": ",", "skip": 0, "time": {"zone": None}})
    assert stated.to_dict() == ColumnMap.from_dict({}).to_dict()


def test_a_date_may_be_a_toml_date(written):
    assert ColumnMap.from_toml(written("[time]\ndate = 2025-03-04")).time.date == "2025-03-04"


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"delimeter": ";"}, r"delimeter is an unknown key.*Did you mean delimiter\?"),
        ({"time": {"zon": "UTC"}}, r"time\.zon is an unknown key.*format, date_format, year"),
        ({"skip": -1}, "skip must be the number of lines .* Found -1"),
        ({"skip": "two"}, "skip must be .* Found 'two'"),
        ({"skip": True}, "skip must be"),
        ({"header": "yes"}, "header must be true, false, or the number of the line"),
        ({"header": 0}, "header must be"),
        ({"comment": 5}, "comment must be a text, or list of texts"),
        ({"comment": [""]}, "comment can't be an empty text"),
        ({"decimal": ";"}, r'decimal must be "\." or ","'),
        ({"delimiter": ""}, "delimiter can't be empty"),
        ({"delimiter": "\n"}, "delimiter can't be empty or hold a quote or line end"),
        ({"decimal": ","}, "delimiter and decimal must differ"),
        ({"delimiter": ";", "widths": [3]}, "delimiter and widths can't stand together"),
        ({"widths": [0]}, "widths must be a list of column widths"),
        ({"widths": []}, "widths must be a list of column widths"),
        ({"widths": [3, 4], "columns": {"field": 3}}, r"columns\.field lies beyond the last"),
        ({"columns": {"feild": 2}}, r"columns\.feild is unknown.*The names are time, date"),
        ({"columns": {"field": 0}}, r"columns\.field must be the file's name .* from 1"),
        ({"columns": {"field": 1.5}}, r"columns\.field must be"),
        ({"columns": {"field": ""}}, r"columns\.field must be"),
        ({"columns": {"field": 2, "quality": 2}}, "read the same column. Found 2"),
        ({"columns": {"field": "F"}, "header": False}, "is a name, but header is false"),
        ({"columns": 5}, "columns must be a table"),
        ({"time": "UTC"}, "time must be a table"),
        ({"time": {"zone": "America/Baia"}}, r"unknown time zone.*America/Bahia"),
        ({"time": {"zone": "+25:00"}}, "unknown time zone"),
        ({"time": {"zone": "America"}}, "unknown time zone"),
        ({"time": {"zone": "../UTC"}}, "unknown time zone"),
        ({"time": {"year": 25}}, r"time\.year must be the year of the first row, 1970 to 2100"),
        ({"time": {"date": "2025-02-30"}}, r"time\.date must be a date"),
        ({"time": {"date": "20250203"}}, r"time\.date must be a date"),
        ({"time": {"format": "%Q"}}, r"time\.format has the unknown directive %Q"),
        ({"time": {"format": "%H:%M:%"}}, "has a percent sign without a directive"),
        ({"time": {"format": "%z %H"}}, "may have the offset %z at its end only"),
        ({"time": {"date_format": "%Y"}}, r"time\.date_format gives neither a day nor hour"),
        ({"time": {"date_format": "unix"}}, r"time\.date_format can't be unix"),
        ({"position": {"crs": "UTM 23S"}}, r'position\.crs must be "EPSG:" and a code'),
        ({"position": {"angles": "dms"}}, r'position\.angles must be "decimal degrees" or'),
        ({"position": {"fix": {"A": "good"}}}, r"position\.fix\.A must be .* none, 2d, 3d"),
        ({"position": {"local_grid": True, "pegs": [{"line": "1"}]}}, r"pegs\.0\.station is miss"),
        ({"position": {"local_grid": True, "pegs": [{"line": "1", "station": 0.0,
                                                     "easting": 1.0, "northing": 2.0}]}},
         "must be two or more pegs"),
        ({"position": {"pegs": [{"line": "1", "station": 0.0, "easting": 1.0,
                                 "northing": 2.0}] * 2}}, "need a local grid"),
        ({"lines": {"mark": "LINE", "pattern": "L(.)"}}, "can't stand together"),
        ({"lines": {"pattern": "LINE"}}, "needs a group for the name"),
        ({"lines": {"pattern": "(LINE"}}, "must be a regular expression"),
        ({"lines": {"pattern": "(?<=L)(.)"}}, "without look-around"),
        ({"lines": {"mark": "L"}, "columns": {"line": 1}}, "can't stand together"),
    ],
)  # fmt: skip
def test_a_wrong_setting_is_named_with_its_remedy(settings, message):
    with pytest.raises(SettingsError, match=message):
        ColumnMap.from_dict(settings)


def test_an_error_in_a_file_names_the_file(written):
    with pytest.raises(SettingsError, match=r"map\.toml: skip must be"):
        ColumnMap.from_toml(written("skip = -1"))


def test_a_file_that_is_not_toml(written):
    with pytest.raises(SettingsError, match=r"map\.toml, line 2: The column map is not TOML"):
        ColumnMap.from_toml(written("skip = 1\nheader = \n"))
    with pytest.raises(SettingsError, match="not TOML"):
        ColumnMap.from_toml(written(b"comment = '\xff'"))


def test_a_map_cannot_be_changed():
    with pytest.raises(ValueError, match="frozen"):
        ColumnMap.from_dict({}).skip = 3  # type: ignore[misc]
