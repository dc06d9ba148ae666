import codecs
import math
import os

import pytest

from lodewalk.errors import InputError, SettingsError
from lodewalk.formats.delimited import ColumnMap, read, read_and_hash
from lodewalk.records.recorded import RecordedReadings, Track, Waypoints

PLAIN = {"columns": {"time": "time", "field": "nT", "quality": "q"}}
HEAD = "time,nT,q\n"
ROWS = "2025-03-04T08:00:00,22950.1,98\n2025-03-04T08:00:10,22950.2,97\n"


def field(content):
    return content.table.frame["raw_nT"].to_list()


def lines(content):
    return content.table.frame["line_in_file"].to_list()


def test_every_column_of_a_rover(reading):
    raw = (
        "# walked with the sensor at 2 m\n"
        "time,lat,lon,alt,nT,q,fix,sats,hdop,line,stn\n"
        "2025-03-04T08:00:00,-12.5,-41.25,540.5,22950.1,98,4,12,0.8,L10,25\n"
        "2025-03-04T08:00:01,-12.6,-41.26,,99999.9,,rtk,,*,TL1,-5\n"
    )
    names = {
        "time": "time", "latitude": "lat", "longitude": "lon", "height": "alt", "field": "nT",
        "quality": "q", "fix": "fix", "satellites": "sats", "hdop": "hdop", "line": "line",
        "station": "stn",
    }  # fmt: skip
    content = reading(raw, {"comment": "#", "columns": names})
    assert isinstance(content.table, RecordedReadings)
    kept = content.table.frame.drop("recorded_time").to_dict(as_series=False)
    assert kept == {
        "line_in_file": [3, 4],
        "raw_nT": [22950.1, None],
        "quality": [98.0, None],
        "latitude_deg": [-12.5, -12.6],
        "longitude_deg": [-41.25, -41.26],
        "height_m": [540.5, None],
        "fix": ["rtk", "rtk"],
        "satellites": [12.0, None],
        "hdop": [0.8, None],
        "line": ["L10", "TL1"],
        "station": [25.0, -5.0],
    }
    assert "1 readings have no field; they stay, as missing." in content.understood


def test_what_was_understood_is_said(reading):
    content = reading(HEAD + ROWS, PLAIN)
    assert content.understood == (
        "ASCII text, 2 rows from line 2, 3 columns separated by ','.",
        "Time from 'time', field from 'nT', quality from 'q'.",
    )


def test_a_track(reading):
    raw = "lat,lon,ele,time,fix\n-12.5,-41.25,540,2025-03-04T08:00:00Z,1\n*,*,*,*,0\n"
    names = {"latitude": "lat", "longitude": "lon", "height": "ele", "time": "time", "fix": "fix"}
    content = reading(raw, {"columns": names}, role="track")
    assert isinstance(content.table, Track)
    assert content.zone == "UTC"
    frame = content.table.frame.drop("recorded_time")
    assert frame.rows() == [(2, 0, -12.5, -41.25, 540.0, "3d")]


def test_line_marks_part_a_track_into_segments(reading):
    raw = "LINE 1\n1.0 2.0\n1.1 2.1\nLINE 2\n1.2 2.2\n"
    settings = {
        "header": False, "delimiter": "whitespace", "lines": {"mark": "LINE"},
        "columns": {"latitude": 1, "longitude": 2},
    }  # fmt: skip
    content = reading(raw, settings, role="track")
    assert content.table.frame["segment"].to_list() == [0, 0, 1]
    assert content.table.frame["recorded_time"].null_count() == 3


def test_notes(reading):
    raw = 'when;what\n2025-03-04 08:00;"wire fence; rusty ""new"" post"\n;\n;gate\n'
    settings = {"delimiter": ";", "columns": {"time": "when", "text": "what"}}
    content = reading(raw, settings, role="notes")
    assert isinstance(content.table, Waypoints)
    assert lines(content) == [2, 3, 4]
    assert content.table.frame["text"].to_list() == ['wire fence; rusty "new" post', None, "gate"]
    assert content.table.frame["name"].to_list() == [None] * 3


@pytest.mark.parametrize(
    "text",
    ["99999", "99999.9", "99999.99", "9999.9", "999999.0", "NaN", "nan", "NAN", "", "  ", "*",
     "-1", "-1.00", "n/a"],
)  # fmt: skip
def test_missing_field_values_stay_as_null(reading, text):
    settings = {**PLAIN, "missing": ["", "*", "-1", "n/a"]}
    assert field(reading(f"{HEAD}2025-03-04T08:00:00,{text},9\n", settings)) == [None]


@pytest.mark.parametrize("text", ["0.0", "99998.9", "22999.99", "-5", "1e4", "+9999.1"])
def test_other_field_values_stay_as_they_are(reading, text):
    assert field(reading(f"{HEAD}2025-03-04T08:00:00,{text},9\n", PLAIN)) == [float(text)]


def test_nines_are_missing_in_the_field_only(reading):
    content = reading(f"{HEAD}2025-03-04T08:00:00,22950,9999\n", PLAIN)
    assert content.table.frame["quality"].to_list() == [9999.0]


def test_fixes_by_the_numbers_of_nmea(reading):
    raw = "".join(f"2025-03-04T08:00:00,22950,{n}\n" for n in (0, 1, 2, 4, 5, 8, "RTK"))
    content = reading(raw, {"header": False, "columns": {"time": 1, "field": 2, "fix": 3}})
    kinds = ["none", "3d", "dgps", "rtk", "float", "none", "rtk"]
    assert content.table.frame["fix"].to_list() == kinds


def test_numbers_listed_as_missing_leave_texts_alone(reading):
    settings = {
        "missing": ["0"], "header": False, "columns": {"time": 1, "field": 2, "line": 3},
    }  # fmt: skip
    content = reading("2025-03-04T08:00:00,0.0,0\n", settings)
    assert content.table.frame.select("raw_nT", "line").row(0) == (None, "0")


def test_widths(reading):
    raw = "Base day 1\n08:00:00 22950.1 98\n08:00:10 99999.9\n08:00:20\n"
    settings = {
        "skip": 1, "header": False, "widths": [8, 8, 3],
        "columns": {"time": 1, "field": 2, "quality": 3}, "time": {"date": "2025-03-04"},
    }  # fmt: skip
    content = reading(raw, settings)
    assert field(content) == [22950.1, None, None]
    assert lines(content) == [2, 3, 4]


def test_names_in_a_line_that_is_passed_over(reading):
    raw = "made by hand\n# time|nT|q\n(UTC)|(nT)|()\n2025-03-04T08:00:00|22950.1|98\n"
    settings = {**PLAIN, "skip": 3, "header": 2, "comment": ["#", "//"], "delimiter": "|"}
    content = reading(raw, settings)
    assert field(content) == [22950.1]
    assert lines(content) == [4]


def test_blank_lines_comments_and_repeated_headers_are_passed_over(reading):
    raw = f"\n{HEAD}\n{ROWS}\n# pause\n{HEAD}2025-03-04T08:01:00,22950.3,96\n\n\n"
    content = reading(raw, {**PLAIN, "comment": "#"})
    assert field(content) == [22950.1, 22950.2, 22950.3]
    assert lines(content) == [4, 5, 9]


def test_names_are_found_without_regard_to_case(reading):
    assert field(reading(HEAD.upper() + ROWS, PLAIN)) == [22950.1, 22950.2]


def test_a_delimiter_of_several_characters(reading):
    raw = (HEAD + ROWS).replace(",", " :: ")
    assert field(reading(raw, {**PLAIN, "delimiter": "::"})) == [22950.1, 22950.2]


def test_a_trailing_delimiter(reading):
    raw = HEAD + ROWS.replace("\n", ",\n")
    assert field(reading(raw, PLAIN)) == [22950.1, 22950.2]


def test_a_column_without_a_name_is_not_guessed(reading):
    raw = HEAD + "1,2025-03-04T08:00:00,22950.1,98\n"
    with pytest.raises(InputError, match="line 2: The first row has 4 columns below 3 names"):
        reading(raw, PLAIN)


MARKED = "LINE 10\n{0}\n{0}\nTie: T1\n{0}\n"


@pytest.mark.parametrize(
    ("rule", "raw", "names"),
    [
        ({"mark": "LINE"}, "{0}\nLINE 10\n{0}\nLINE,20,\n{0}\n", [None, "10", "20"]),
        ({"mark": "#L"}, "#L=A\n# a comment\n{0}\n#L=B b\n{0}\n", ["A", "B b"]),
        ({"pattern": "^(?:LINE|Tie):? (.+)$"}, MARKED, ["10", "10", "T1"]),
    ],
)
def test_line_marks(reading, rule, raw, names):
    settings = {
        "header": False, "comment": "#", "columns": {"time": 1, "field": 2}, "lines": rule,
    }  # fmt: skip
    content = reading(raw.format("2025-03-04T08:00:00,22950.1"), settings)
    assert content.table.frame["line"].to_list() == names


@pytest.mark.parametrize(
    ("encode", "words"),
    [
        (lambda text: text.encode("latin-1"), "Latin-1"),
        (lambda text: text.encode(), "UTF-8"),
        (lambda text: text.encode("utf-8-sig"), "UTF-8 with a byte order mark"),
        (lambda text: text.encode("utf-16"), "UTF-16"),
        (lambda text: codecs.BOM_UTF16_BE + text.encode("utf-16-be"), "UTF-16"),
        (lambda text: text.replace("\n", "\r\n").encode(), "UTF-8"),
        (lambda text: text.replace("\n", "\r").encode(), "UTF-8"),
        (lambda text: text.encode() + b"\x1a", "UTF-8"),
    ],
)
def test_encodings_and_line_ends(reading, encode, words):
    raw = "hora,nT,q,anotação\n2025-03-04T08:00:00,22950.1,98,é\n2025-03-04T08:00:10,*,97,ã\n"
    settings = {"columns": {"time": "hora", "field": "nT", "line": "anotação"}}
    content = reading(encode(raw), settings)
    assert field(content) == [22950.1, None]
    assert content.table.frame["line"].to_list() == ["é", "ã"]
    assert content.understood[0].startswith(f"{words} text")


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"", "The file is empty"),
        (b"  \n\n", "The file is empty"),
        (b"time,nT,q\n1\x00,2,3\n", "line 2: The file is binary"),
        (HEAD.encode() + b"\x81\xff,22950,1\n", "line 2: The file is not plain text"),
        (b"\xff\xfea\x00,\x00\n\x00\x00\xd8", "not plain text"),
        (HEAD.encode(), "holds no rows below its head"),
        (HEAD + "2025-03-04T08:00:00,22950.1,98\n2025-03-04T08:00:10,229", "line 3: The last line "
         "is cut off.*Download the file again"),
        (HEAD + ROWS + "2025-03-04T08:00:20,22950.3\n" + ROWS, "line 4: This row has 2 columns "
         "where the rows above have 3"),
        (HEAD + ROWS + "2025-03-04T08:00:20,22950.3,1,2\n", "line 4: This row has 4 columns"),
        (HEAD + ROWS + "2025-03-04T08:00:20,22950.3\n" + ROWS.strip(), "line 4: This row has 2"),
        (HEAD + "x" * 40_000 + "\r" + "x" * 40_000 + ",1,2\n", "line 2: A line may hold at most"),
        (HEAD + ROWS + "2025-03-04T08:00:20,x,1\n", r"day1\.csv, line 4: field must be a number\. "
         r"Found 'x'\. If this stands for a missing value, add it to missing"),
        (HEAD + ROWS + "2025-03-04T08:00:20,inf,1\n", "line 4: field must be finite. Found inf"),
        (HEAD + ROWS + '2025-03-04T08:00:20,"1,1\n', "line 4: The quotes on this line do not"),
        (HEAD + ROWS + 'x"y,"z,1\n' + 'x"y,"z,1\n', "line 4: The quotes on this line do not"),
        (HEAD + ROWS + "# note\n", "line 4: This row has 1 columns"),
        (HEAD + "x" * 70_000 + ",1,2\n", "line 2: A line may hold at most 65,536 bytes"),
    ],
)  # fmt: skip
def test_a_bad_file_is_one_clear_error(reading, raw, message):
    with pytest.raises(InputError, match=message):
        reading(raw, PLAIN)


@pytest.mark.parametrize("encoding", ["utf-16", "mac"])
def test_a_long_line_in_other_forms(reading, encoding):
    text = HEAD + "x" * 66_000 + ",1,2\n"
    raw = text.replace("\n", "\r").encode() if encoding == "mac" else text.encode("utf-16")
    with pytest.raises(InputError, match="line 2: A line may hold at most"):
        reading(raw, PLAIN)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"columns": {"time": "time", "field": "F"}}, r"The column 'F' for field is not in the "
         r"file\. Its columns are time, nT, q; correct columns\.field"),
        ({"columns": {"time": "time", "field": 4}}, "Column 4 for field does not exist.*has 3"),
        ({**PLAIN, "header": 9}, "The line of names lies beyond the end of the file. Found 9"),
        ({**PLAIN, "skip": 3}, "holds no rows below its head"),
        ({**PLAIN, "delimiter": ";"}, "'time' for time is not in the file. Its columns are time,n"),
        ({"columns": {"time": 1, "field": 2, "fix": 3}}, "line 2: fix must be one of none, 2d.*"
         r"Found '98'\. Give the meaning of this mark in position\.fix"),
        ({"header": False, "widths": [19, 9], "columns": {"time": 1, "field": 2}},
         "line 2: A row is longer than the widths together, 28 characters"),
        ({"columns": {"time": 1, "field": 2}, "lines": {"mark": HEAD.strip()}},
         "line 1: A line mark must name a line"),
    ],
)  # fmt: skip
def test_a_map_that_does_not_fit_the_file(reading, settings, message):
    with pytest.raises(InputError, match=message):
        reading(HEAD + ROWS, settings)


def test_a_row_is_not_taken_for_the_names(reading):
    settings = {"columns": {"time": 1, "field": 2}}
    with pytest.raises(InputError, match=r"line 1: The line of names holds values\. Found '22950"):
        reading(ROWS, settings)
    with pytest.raises(InputError, match=r"line 1: .* If this is the line of names, set header"):
        reading(HEAD + ROWS, {**settings, "header": False})


def test_a_name_that_stands_twice(reading):
    with pytest.raises(InputError, match="'nT' for field stands more than once in the file"):
        reading("time,nT,nT\n" + ROWS, {"columns": {"time": "time", "field": "nT"}})


@pytest.mark.parametrize(
    ("role", "columns", "message"),
    [
        ("rover", {"time": 1}, "needs field for a file of role rover"),
        ("base", {"field": 2}, "needs time for a file of role base"),
        ("track", {"time": 1, "latitude": 2}, "needs latitude and longitude, or easting and nort"),
        ("notes", {"time": 1}, "needs name, text or a position"),
    ],
)
def test_a_map_must_serve_the_role(reading, role, columns, message):
    with pytest.raises(SettingsError, match=message):
        reading(HEAD + ROWS, {"columns": columns}, role=role)


def test_an_unknown_role(reading):
    with pytest.raises(InputError, match=r"rover, track, notes, older. Found 'plan'"):
        reading(HEAD + ROWS, PLAIN, role="plan")


def shifting(*tails):
    return "".join(f"2025-03-04T08:00:0{n},{tail}\n" for n, tail in enumerate(tails))


def test_columns_that_shift_half_way(reading):
    good, shifted = "22950.1,98,7,0", "98,22950.1,98,7"
    raw = shifting(good, good, shifted, shifted, shifted)
    settings = {"header": False, "columns": {"time": 1, "field": 2}}
    with pytest.raises(InputError, match=r"line 3: The columns shift.*Found 98\.0"):
        reading(raw, settings)
    # a second sensor was in range before too, so nothing shifts
    second = [f"{value},98,22951.1" for value in (22950.1, 22950.1, 98, 98, 98)]
    assert field(reading(shifting(*second), settings))[-1] == 98.0
    dead = "0.0,98,7,0"
    content = reading(shifting(good, good, dead, dead, dead), settings)
    assert field(content) == [22950.1, 22950.1, 0.0, 0.0, 0.0]


def test_a_field_far_from_the_earths_is_said_to_be_doubtful(reading):
    content = reading(HEAD + "2025-03-04T08:00:00,22.95,98\n", PLAIN)
    assert any("is it the right column, and in nT?" in text for text in content.understood)


def test_the_fast_and_the_exact_way_give_the_same(tmp_path):
    """A comment line makes the reader take the slower way; the values must not change."""
    rows = [
        f"2025-03-04 08:{n // 60:02d}:{n % 60:02d}.{n % 10},{22950 + math.sin(n):.17g},{n},{-n}e-3"
        for n in range(2000)
    ]
    path = tmp_path / "a.csv"
    chosen = ColumnMap.from_dict(
        {"header": False, "comment": "#", "missing": ["", "7", "1999"],
         "columns": {"time": 1, "field": 2, "quality": 3, "height": 4}}
    )  # fmt: skip
    path.write_text("\n".join([*rows, ""]))
    fast = read(path, role="base", column_map=chosen)
    path.write_text("\n".join([*rows, "# end", ""]))
    exact = read(path, role="base", column_map=chosen)
    assert fast.understood[0].startswith("ASCII")
    assert exact.understood[0].startswith("UTF-8")
    assert fast.table.frame.equals(exact.table.frame)
    assert fast.table.frame["quality"].null_count() == 2
    # numbers in text lead to the nearest double, as Python's own parser finds it
    assert fast.table.frame["raw_nT"].to_list() == [float(row.split(",")[1]) for row in rows]


def test_rows_that_only_look_regular_are_read_the_exact_way(reading):
    head = "number,time,nT,line\n"
    row = "1,2025-03-04T08:00:00,22950.1,A\n"
    names = {"time": "time", "field": "nT", "line": "line"}
    settings = {"comment": "#", "columns": names}
    raw = head + row + "#" + row + row
    assert lines(reading(raw, settings)) == [2, 4]
    raw = head + row * 3000 + row.replace("A", '"B"')
    assert reading(raw, settings).table.frame["line"][-1] == "B"


def test_the_hash_is_that_of_the_raw_bytes(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"time,nT,q\n2025-03-04T08:00:00,22950.1,98\n")
    _, scan = read_and_hash(path, role="base", column_map=ColumnMap.from_dict(PLAIN))
    # sha256sum of the same 41 bytes
    assert scan.sha256 == "985dfc343471a347eedc1118dbd2712230e9a4def7e50cd7646b1e42d462829e"


def test_without_a_map_a_clear_file_is_read(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("Time (UTC),Field (nT)\n" + "2025-03-04T08:00:00,22950.1\n" * 3)
    content = read(path, role="base", column_map=None)
    assert (content.zone, field(content)) == ("UTC", [22950.1] * 3)


def test_without_a_map_a_doubtful_file_is_refused(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("a,b\n05/04/2025 08:00:00,22950.1\n")
    with pytest.raises(InputError, match=r"either order.*Give a column map"):
        read(path, role="base", column_map=None)


def test_names_with_a_quote_and_a_carriage_return(reading):
    raw = 'a\n\nti"me\r,nT\n2025-03-04T08:00:00,22950.1\n'
    with pytest.raises(InputError, match="line 3: The quotes on this line do not match"):
        reading(raw, {"header": 3, "skip": 3, "columns": {"time": 1, "field": "nT"}})


def test_a_row_with_a_quote_and_a_carriage_return(reading):
    raw = '2025-03-04T08:00:00,22950.1,a\n2025-03-04T08:00:01,22950.1,"b" c\rd\n'
    with pytest.raises(InputError, match="line 2: The quotes on this line do not match"):
        reading(raw, {"header": False, "columns": {"time": 1, "field": 2}})


def test_a_folder_whose_name_is_not_utf_8(tmp_path):
    folder = tmp_path / os.fsdecode(b"m\xe4rz")
    folder.mkdir()
    path = folder / "day1.csv"
    path.write_text("2025-03-04T08:00:00,22950.1\n")
    chosen = ColumnMap.from_dict({"header": False, "columns": {"time": 1, "field": 2}})
    content = read(path, role="base", column_map=chosen)
    assert content.table.frame["raw_nT"].to_list() == [22950.1]


@pytest.mark.parametrize("end", ["22951", "22951.", "22951.2"])
def test_a_file_that_breaks_off_inside_its_last_value_is_refused(tmp_path, end):
    path = tmp_path / "base.csv"
    rows = [f"2025-03-04T08:00:{second:02d}Z,22950.{second:02d}" for second in range(30)]
    path.write_text("\n".join(["time_utc,nT", *rows, f"2025-03-04T08:00:30Z,{end}"]))
    with pytest.raises(InputError, match="line 32: The last line is cut off"):
        read(path, role="base", column_map=None)


@pytest.mark.parametrize(
    "values",
    [
        [f"22950.{second:02d}" for second in range(31)],
        [f"{22950 + second / 4:g}" for second in range(30)] + ["22951"],
        [f"{22950 + second}" for second in range(31)],
    ],
    ids=["the same decimals", "decimals as they come", "no decimals"],
)
def test_a_last_line_without_an_end_may_be_whole(tmp_path, values):
    path = tmp_path / "base.csv"
    rows = [f"2025-03-04T08:00:{second:02d}Z,{value}" for second, value in enumerate(values)]
    path.write_text("\n".join(["time_utc,nT", *rows]))
    assert len(read(path, role="base", column_map=None).table) == 31
