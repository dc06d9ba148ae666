"""What must hold for any delimited text: write then read, and no surprise from any bytes."""

from contextlib import suppress
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import polars as pl
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from lodewalk.errors import InputError
from lodewalk.formats.content import Content
from lodewalk.formats.delimited import ColumnMap, propose, read, recognise, write
from lodewalk.formats.delimited.read import any_fields
from lodewalk.records.recorded import RecordedReadings, Track, Waypoints

TIME = pl.Datetime("us")
FIX_WORDS = ["none", "2d", "3d", "dgps", "rtk", "float"]
finite = st.floats(allow_nan=False, allow_infinity=False)
# The field may be anything but a run of nines, which stands for no reading.
fields = st.one_of(
    st.floats(10_000, 90_000), st.floats(-1e6, 9_000), st.sampled_from([0.0, -0.0, 1e-300, 2.5])
)
moments = st.datetimes(datetime(1970, 1, 1), datetime(2100, 12, 31, 23, 59, 59))
words = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=8
).filter(lambda text: text == text.strip() and text != "*")
layouts = st.fixed_dictionaries(
    {
        "delimiter": st.sampled_from([",", ";", "\t", "|", "::", "whitespace", "~"]),
        "decimal": st.sampled_from([".", ","]),
        "header": st.sampled_from([True, False, 3]),
        "skip": st.integers(0, 4),
        "comment": st.sampled_from([[], ["#"], ["//", "%"]]),
    }
).filter(lambda layout: layout["delimiter"] != layout["decimal"])


def columns(draw, names, layout):
    """Return a map from our names to numbers in some order, with gaps, or to names."""
    order = draw(st.permutations(range(1, len(names) + 3)))
    numbered = dict(zip(names, order, strict=False))
    if layout["header"] is False or draw(st.booleans()):
        return numbered
    return {name: f"my {name}" for name in draw(st.permutations(names))}


def read_back(table, settings, *, role):
    with TemporaryDirectory() as folder:
        path = Path(folder, "raw.txt")
        chosen = ColumnMap.from_dict(settings)
        write(path, table, chosen)
        return read(path, role=role, column_map=chosen)


@st.composite
def written_readings(draw):
    layout = draw(layouts)
    size = draw(st.integers(1, 6))

    def series(strategy, dtype=pl.Float64):
        values = draw(st.lists(st.none() | strategy, min_size=size, max_size=size))
        return pl.Series(values, dtype=dtype)

    optional = {
        "quality": series(finite),
        "latitude_deg": series(st.floats(-90, 90)),
        "longitude_deg": series(st.floats(-180, 360)),
        "easting_m": series(finite),
        "northing_m": series(finite),
        "height_m": series(finite),
        "fix": series(st.sampled_from(FIX_WORDS), pl.String),
        "satellites": series(st.integers(0, 60).map(float)),
        "hdop": series(finite),
        "line": series(words, pl.String),
        "station": series(finite),
    }
    kept = draw(st.sets(st.sampled_from(sorted(optional))))
    times = draw(st.lists(moments, min_size=size, max_size=size))
    frame = pl.DataFrame(
        {
            "line_in_file": range(size),
            "recorded_time": pl.Series(times, dtype=TIME),
            "raw_nT": series(fields),
            **{name: column for name, column in optional.items() if name in kept},
        }
    )
    ours = [name.removesuffix("_deg").removesuffix("_m") for name in optional if name in kept]
    parts, rule = draw(
        st.sampled_from(
            [
                (["time"], {}),
                (["time"], {"format": "%d/%m/%Y %H:%M:%S%.6f"}),
                (["time"], {"format": "%Y-%jT%H%M%S%.fZ"}),
                (["time"], {"format": "%Y-%m-%d %H:%M:%S%.f %z"}),
                (["time"], {"format": "unix"}),
                (["date", "time"], {}),
                (["date", "time"], {"date_format": "%Y%m%d", "format": "%H%M%S%.f"}),
                (["date", "time"], {"date_format": "%d %b %Y", "format": "%I:%M:%S%.f %p"}),
                (["year", "month", "day", "hour", "minute", "second"], {}),
                (["year", "day_of_year", "seconds_of_day"], {}),
                (["date", "hour"], {}),
                (["date", "hour", "minute"], {}),
            ]
        )
    )
    settings = {**layout, "columns": columns(draw, [*parts, "field", *ours], layout)}
    return RecordedReadings(frame), {**settings, "time": rule}


@given(written_readings())
@settings(deadline=None, max_examples=150)
def test_readings_are_read_back_as_they_were_written(case):
    table, settings = case
    try:
        content = read_back(table, settings, role="rover")
    except InputError as error:
        assume("The columns shift" not in str(error))  # any numbers may look like that
        assume("would not be read as a row" not in str(error))
        assume("holds a sign of the delimiter" not in str(error))
        raise
    left = content.table.frame.drop("line_in_file")
    assert left.equals(table.frame.drop("line_in_file"), null_equal=True)
    first = content.table.frame["line_in_file"]
    assert np.all(np.diff(first.to_numpy()) == 1)


@st.composite
def written_notes(draw):
    layout = draw(layouts)
    size = draw(st.integers(1, 5))

    def column(strategy, dtype):
        values = draw(st.lists(st.none() | strategy, min_size=size, max_size=size))
        return pl.Series(values, dtype=dtype)

    frame = pl.DataFrame(
        {
            "line_in_file": range(size),
            "recorded_time": column(moments, TIME),
            "latitude_deg": column(st.floats(-90, 90), pl.Float64),
            "longitude_deg": column(st.floats(-180, 180), pl.Float64),
            "height_m": column(finite, pl.Float64),
            "name": column(words, pl.String),
            "text": column(words, pl.String),
        }
    )
    ours = ["time", "latitude", "longitude", "height", "name", "text"]
    return Waypoints(frame), {**layout, "columns": columns(draw, ours, layout)}


@given(written_notes())
@settings(deadline=None, max_examples=100)
def test_notes_are_read_back_as_they_were_written(case):
    table, settings = case
    try:
        content = read_back(table, settings, role="notes")
    except InputError as error:
        # Refused by the writer, never read back as something else.
        assume("can't be written" not in str(error))
        assume("would not be read as a row" not in str(error))
        assume("holds a sign of the delimiter" not in str(error))
        raise
    left = content.table.frame.drop("line_in_file")
    assert left.equals(table.frame.drop("line_in_file"), null_equal=True)


@given(
    st.lists(st.tuples(st.floats(-89, 89), st.floats(-179, 179)), min_size=1, max_size=6),
    st.booleans(),
    st.sampled_from([",", "whitespace"]),
)
@settings(deadline=None, max_examples=60)
def test_degrees_and_minutes_are_read_back_to_a_tenth_of_a_micrometre(places, letters, delimiter):
    size = len(places)
    frame = pl.DataFrame(
        {
            "line_in_file": range(size),
            "recorded_time": pl.Series([None] * size, dtype=TIME),
            "segment": [0] * size,
            "latitude_deg": [place[0] for place in places],
            "longitude_deg": [place[1] for place in places],
            "height_m": pl.Series([None] * size, dtype=pl.Float64),
        }
    )
    names = ["latitude", "longitude"]
    names += ["latitude_hemisphere", "longitude_hemisphere"] * letters
    settings = {
        "delimiter": delimiter,
        "columns": {name: number for number, name in enumerate(names, start=1)},
        "position": {"angles": "ddmm.mmm"},
    }
    found = read_back(Track(frame), settings, role="track").table.frame
    for name in ("latitude_deg", "longitude_deg"):
        np.testing.assert_allclose(found[name], frame[name], rtol=0, atol=1e-12)


texts = st.lists(
    st.lists(
        st.sampled_from(
            ["", " ", "1", "-2.5", "22950.1", "99999", "nan", "x", '"', '"a"', "2025-03-04",
             "08:00:01", "2025-03-04T08:00:00Z", "12.5S", "#", "é", "LINE 1", "1e999", "\t"]
        ),
        min_size=1, max_size=5,
    ).map(",".join),
    max_size=12,
)  # fmt: skip
texts = st.tuples(texts, st.sampled_from(["\n", "\r\n", "\r"])).map(
    lambda pair: pair[1].join(pair[0])
)
raw_bytes = st.one_of(
    st.binary(max_size=300),
    texts.map(str.encode),
    texts.map(lambda text: text.encode("utf-16")),
    texts.map(lambda text: text.encode("latin-1")),
)
MAPS = [
    {"columns": {"time": 1, "field": 2}},
    {"header": False, "comment": "#", "columns": {"time": 1, "field": 2, "latitude": 3}},
    {"delimiter": "whitespace", "columns": {"date": 1, "time": 2, "field": 3}},
    {"header": False, "widths": [10, 9, 8], "columns": {"date": 1, "time": 2, "field": 3}},
    {"header": False, "delimiter": ";", "decimal": ",", "lines": {"mark": "LINE"},
     "columns": {"seconds_of_day": 1, "field": 2}, "time": {"date": "2025-03-04"}},
    {"header": False, "columns": {"year": 1, "month": 2, "day": 3, "time": 4, "field": 5}},
    {"header": 2, "skip": 3, "columns": {"time": "time", "field": 2}, "time": {"format": "unix"}},
]  # fmt: skip


@given(raw_bytes, st.sampled_from(MAPS), st.sampled_from(["base", "rover", "track", "notes"]))
@example(b'1,"\n', MAPS[1], "rover")
@example(b"\xff\xfe", MAPS[0], "base")
@example(b"a\n" * 3, MAPS[1], "rover")
@settings(deadline=None, max_examples=400)
def test_any_bytes_give_content_or_one_clear_error(raw, column_settings, role):
    with TemporaryDirectory() as folder:
        path = Path(folder, "raw.txt")
        path.write_bytes(raw)
        try:
            content = read(path, role=role, column_map=ColumnMap.from_dict(column_settings))
        except InputError:
            return
        assert isinstance(content, Content)


@given(raw_bytes, st.sampled_from(["base", "rover", "track", "notes"]))
@settings(deadline=None, max_examples=400)
def test_a_map_is_proposed_for_any_bytes(raw, role):
    assert 0.0 <= recognise(raw) <= 0.5
    with TemporaryDirectory() as folder:
        path = Path(folder, "raw.txt")
        path.write_bytes(raw)
        try:
            proposal = propose(path, role=role)
        except InputError:
            return
        assert 0.0 <= proposal.confidence <= 1.0
        assert ColumnMap.from_dict(proposal.column_map.to_dict()) == proposal.column_map
        with suppress(InputError):
            read(path, role=role, column_map=proposal.column_map)


@given(
    st.lists(
        st.tuples(moments, fields, finite).map(
            lambda row: f"{row[0].isoformat()},{row[1]},{row[2]}"
        ),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from(["\n", "\r\n"]),
    st.sampled_from(["", "\n", "# note\n", "x,1,2\n", "1\n", "2025-03-04T08:00:00,1"]),
)
@settings(deadline=None, max_examples=100)
def test_the_fast_way_never_differs_from_the_exact_one(rows, end, tail):
    with TemporaryDirectory() as folder:
        path = Path(folder, "raw.csv")
        path.write_bytes((end.join([*rows, ""]) + tail).encode())
        chosen = ColumnMap.from_dict(
            {"header": False, "comment": "#", "columns": {"time": 1, "field": 2, "height": 3}}
        )
        try:
            table = read(path, role="base", column_map=chosen).table
        except InputError:
            return
        exact = any_fields(path, chosen)
        assert table.frame["line_in_file"].equals(exact.frame["line_in_file"])
        numbers = exact.frame["height"].cast(pl.Float64)
        assert table.frame["height_m"].equals(numbers, null_equal=True)
