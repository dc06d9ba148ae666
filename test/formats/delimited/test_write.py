from datetime import datetime

import polars as pl
import pytest

from lodewalk.errors import InputError
from lodewalk.formats.delimited import ColumnMap, read, write
from lodewalk.records.recorded import RecordedReadings, Track, Waypoints

TIMES = [datetime(2025, 3, 4, 8, 15, 30, 250_000), datetime(2025, 3, 4, 8, 15, 31)]


def readings(**more):
    columns = {"line_in_file": [2, 3], "recorded_time": TIMES, "raw_nT": [22950.1, None], **more}
    return RecordedReadings(pl.DataFrame(columns))


def notes(*texts):
    empty = pl.lit(None, dtype=pl.Float64)
    columns = {"line_in_file": range(len(texts)), "text": pl.Series(texts, dtype=pl.String)}
    frame = pl.DataFrame(columns).with_columns(
        pl.lit(None, dtype=pl.Datetime("us")).alias("recorded_time"),
        *[empty.alias(name) for name in ("latitude_deg", "longitude_deg", "height_m")],
        pl.lit("A").alias("name"),
    )
    return Waypoints(frame)


@pytest.mark.parametrize(
    ("settings", "text"),
    [
        ({"columns": {"time": "t", "field": "nT"}},
         "t,nT\n2025-03-04T08:15:30.250,22950.1\n2025-03-04T08:15:31,\n"),
        ({"columns": {"field": 3, "time": 1}, "delimiter": ";", "decimal": ",", "skip": 1,
          "time": {"format": "%d/%m/%Y %H:%M:%S%.f"}},
         "\ntime;column2;field\n04/03/2025 08:15:30,250;;22950,1\n04/03/2025 08:15:31;;\n"),
        ({"columns": {"date": 1, "time": 2, "field": 3}, "delimiter": "whitespace",
          "header": False, "time": {"date_format": "%d%m%y", "format": "%H%M%S%.f"}},
         "040325 081530.250 22950.1\n040325 081531 *\n"),
        ({"columns": {"year": 1, "day_of_year": 2, "seconds_of_day": 3, "field": 4},
          "header": False}, "2025,63,29730.250000,22950.1\n2025,63,29731.000000,\n"),
        ({"columns": {"month": 1, "day": 2, "hour": 3, "minute": 4, "second": 5, "field": 6},
          "header": False, "widths": [3, 3, 3, 3, 10, 8], "time": {"year": 2025}},
         "3  4  8  15 30.250000 22950.1 \n3  4  8  15 31.000000         \n"),
        ({"columns": {"time": "t", "field": "nT"}, "header": 2, "time": {"format": "unix"}},
         "\nt,nT\n1741076130.250000,22950.1\n1741076131.000000,\n"),
        ({"columns": {"time": 1, "field": 2}, "header": False, "lines": {"mark": "LINE"}},
         "LINE 10\n2025-03-04T08:15:30.250,22950.1\nLINE 20\n2025-03-04T08:15:31,\n"),
        ({"columns": {"time": 1, "line": 2, "fix": 3}, "header": False, "comment": "1",
          "time": {"format": "%H:%M:%S%z", "date": "2025-03-04"},
          "position": {"fix": {"R": "rtk"}}},
         '08:15:30Z,"10",R\n08:15:31Z,20,none\n'),
    ],
)  # fmt: skip
def test_what_is_written(tmp_path, settings, text):
    path = tmp_path / "out.csv"
    table = readings(line=["10", "20"], fix=["rtk", "none"])
    write(path, table, ColumnMap.from_dict(settings))
    assert path.read_text() == text


def test_angles(tmp_path):
    path = tmp_path / "out.csv"
    frame = pl.DataFrame(
        {
            "line_in_file": [1, 2],
            "recorded_time": TIMES,
            "segment": [0, 0],
            "latitude_deg": [-12.5, 48.999999999999993],
            "longitude_deg": [-41.25, 0.0],
            "height_m": [None, 1.5],
        }
    )
    names = ["latitude", "latitude_hemisphere", "longitude", "longitude_hemisphere", "height"]
    settings = {
        "header": False, "columns": {name: n + 1 for n, name in enumerate(names)},
        "position": {"angles": "ddmm.mmm"},
    }  # fmt: skip
    write(path, Track(frame), ColumnMap.from_dict(settings))
    assert path.read_text() == "1230.0,S,4115.0,W,\n4900.0,N,0.0,E,1.5\n"


@pytest.mark.parametrize(
    ("texts", "settings", "message"),
    [
        (["a\nb"], {}, "A text with a line end"),
        ([" a"], {}, "outer blanks"),
        (["*"], {}, "mark of missing"),
        (["a  b"], {"delimiter": "whitespace"}, "A text with"),
        (["a::b"], {"delimiter": "::"}, "A text holds a sign of the delimiter. Found 'a::b'"),
        (["abcdef"], {"widths": [5]}, "A value is longer than the 5 characters of column 1"),
        (["# a"], {"widths": [5], "comment": "#"}, "A row would not be read as a row"),
        (["text"], {"header": True}, "A row would not be read as a row. Found 'text'"),
        ([None], {"missing": [""]}, "A row would not be read as a row. Found ''"),
        ([None], {"delimiter": "whitespace", "missing": []}, "text has missing values, which"),
    ],
)
def test_what_would_not_read_back_is_refused(tmp_path, texts, settings, message):
    chosen = ColumnMap.from_dict({"header": False, "columns": {"text": 1}, **settings})
    with pytest.raises(InputError, match=message):
        write(tmp_path / "out.csv", notes(*texts), chosen)


def test_marks_that_can_not_be_written(tmp_path):
    settings = {"header": False, "columns": {"time": 1, "field": 2}}
    path = tmp_path / "out.csv"
    chosen = ColumnMap.from_dict({**settings, "lines": {"pattern": "LINE (.+)"}})
    with pytest.raises(InputError, match="given by a pattern can't be written"):
        write(path, readings(line=["1", "2"]), chosen)
    chosen = ColumnMap.from_dict({**settings, "lines": {"mark": "LINE"}})
    with pytest.raises(InputError, match="Rows without a line can't follow a line mark"):
        write(path, readings(line=["1", None]), chosen)


def test_a_file_that_was_read_is_written_as_it_was(tmp_path):
    raw = 'name,text,when\nA1,"wire, fence",2025-03-04T08:00:00\nB 2,"a ""new"" post",\n'
    path = tmp_path / "notes.csv"
    path.write_text(raw)
    chosen = ColumnMap.from_dict({"columns": {"name": "name", "text": "text", "time": "when"}})
    table = read(path, role="notes", column_map=chosen).table
    write(path, table, chosen)
    assert path.read_text() == raw
