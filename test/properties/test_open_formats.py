"""Open formats: any bytes give content or one clear error, and what is written comes back."""

from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType

import numpy as np
import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from lodewalk.errors import InputError
from lodewalk.formats import gpx, iaga2002, nmea
from lodewalk.formats.content import Content
from lodewalk.formats.netcdf import read_grids, write_grids
from lodewalk.records.grid import Grid
from lodewalk.records.recorded import Observatory, Route, Track, Waypoints
from lodewalk.records.table import float_column

READERS = [
    (iaga2002, "observatory"), (iaga2002, "base"), (nmea, "track"),
    (gpx, "track"), (gpx, "plan"), (gpx, "notes"),
]  # fmt: skip

IAGA = b"""\
 Format                 IAGA-2002                                    |
 Reported               XYZF                                         |
DATE       TIME         DOY     LIMX      LIMY      LIMZ      LIMF   |
2024-03-01 00:00:00.000 061     17336.70  -1468.90  46212.00  49378.80
2024-03-01 00:01:00.000 061     17336.70  -1468.60  46212.00  99999.00
"""
NMEA = b"""\
$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A
$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47
"""
GPX = b"""\
<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1"><wpt lat="1" lon="2"><name>a</name></wpt>
<rte><rtept lat="1" lon="2"/></rte><trk><trkseg><trkpt lat="1" lon="2"><ele>3</ele>
<time>2024-03-01T09:30:00.5+02:00</time><sat>4</sat></trkpt></trkseg></trk></gpx>
"""


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """Return a good file with a piece replaced, or anything at all."""
    good = draw(st.sampled_from([IAGA, NMEA, GPX]))
    start = draw(st.integers(0, len(good)))
    end = draw(st.integers(start, min(len(good), start + 30)))
    piece = draw(st.one_of(st.binary(max_size=30), st.text(max_size=10).map(_encoded)))
    return good[:start] + piece + good[end:]


def _encoded(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")


def content_or_error(module: ModuleType, role: str, raw: bytes) -> Content | None:
    """Read bytes; None where they are refused."""
    with TemporaryDirectory() as folder:
        path = Path(folder, "file")
        path.write_bytes(raw)
        try:
            return module.read(path, role=role, column_map=None)
        except InputError as error:
            assert str(error).startswith("file")  # noqa: PT017
            return None


@pytest.mark.parametrize(("module", "role"), READERS)
@settings(deadline=None)
@given(raw=st.one_of(st.binary(max_size=300), damaged()))
@example(raw=b"")
@example(raw=IAGA)
@example(raw=NMEA)
@example(raw=GPX)
@example(raw=GPX.decode().encode("utf-16"))
@example(raw=IAGA.replace(b"\n", b"\r"))
@example(raw=NMEA.replace(b"\n", b"\x00"))
def test_any_bytes_give_content_or_one_error(module: ModuleType, role: str, raw: bytes) -> None:
    content = content_or_error(module, role, raw)
    assert 0.0 <= module.recognise(raw) <= 1.0
    if content is not None:
        assert len(content.table) > 0
        assert content.understood
        assert content.zone == "UTC"


@given(raw=st.binary(max_size=300).map(lambda tail: b"\x89HDF\r\n\x1a\n" + tail))
@settings(max_examples=30, deadline=None)
def test_any_bytes_give_grids_or_one_error(raw: bytes) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder, "grids.nc")
        path.write_bytes(raw)
        with pytest.raises(InputError, match=r"grids\.nc"):
            read_grids(path)


def columns(count: int, **wanted: st.SearchStrategy[float]) -> st.SearchStrategy[dict[str, list]]:
    """Return columns of values that may be missing, each with at least one value."""
    return st.fixed_dictionaries(
        {
            name: st.lists(st.none() | values, min_size=count, max_size=count).filter(
                lambda column: any(value is not None for value in column)
            )
            for name, values in wanted.items()
        }
    )


NANOTESLA = st.integers(-7_000_000, 7_000_000).map(lambda hundredths: hundredths / 100)
SETS = {
    "XYZF": ("north_nT", "east_nT", "down_nT", "total_field_nT"),
    "FZYX": ("north_nT", "east_nT", "down_nT", "total_field_nT"),
    "HEZF": ("horizontal_nT", "sensor_east_nT", "down_nT", "total_field_nT"),
    "DHZS": ("declination_deg", "horizontal_nT", "down_nT", "total_field_nT"),
}


@st.composite
def series(draw: st.DrawFn) -> tuple[str, Observatory]:
    """Return a set of elements and a series that holds them."""
    elements = draw(st.sampled_from(sorted(SETS)))
    count = draw(st.integers(1, 5))
    values = dict.fromkeys(SETS[elements], NANOTESLA)
    if "declination_deg" in values:
        values["declination_deg"] = st.integers(-1_080_000, 1_080_000).map(lambda n: n / 6000)
    moments = st.integers(0, 4_000_000_000_000).map(lambda milli: milli * 1000)
    times = draw(st.lists(moments, min_size=count, max_size=count))
    parts = draw(columns(count, **values))
    frame = pl.DataFrame(
        {
            "line_in_file": pl.Series(range(14, 14 + count), dtype=pl.Int64),
            "recorded_time": pl.Series(times).cast(pl.Datetime("us")),
            **{name: pl.Series(column, dtype=pl.Float64) for name, column in parts.items()},
        }
    )
    return elements, Observatory(frame)


@settings(deadline=None)
@given(made=series())
def test_iaga_2002_comes_back(made: tuple[str, Observatory]) -> None:
    elements, observatory = made
    with TemporaryDirectory() as folder:
        path = Path(folder, "lim.sec")
        iaga2002.write(
            path, observatory, station="Lime Hill", latitude_deg=1.0, longitude_deg=2.0,
            elements=elements,
        )  # fmt: skip
        assert {len(line) for line in path.read_text("ascii").splitlines()} == {70}
        back = iaga2002.read(path, role="observatory", column_map=None).table
    assert back.frame.columns == observatory.frame.columns
    exact = ("line_in_file", "recorded_time")
    assert back.frame.select(exact).equals(observatory.frame.select(exact))
    for name in SETS[elements]:
        np.testing.assert_allclose(
            back.floats(name), observatory.floats(name), atol=1e-9, equal_nan=True
        )


LATITUDE = st.integers(-900_000_000, 900_000_000).map(lambda n: n / 1e7)
LONGITUDE = st.integers(-1_800_000_000, 1_799_999_999).map(lambda n: n / 1e7)
HEIGHT = st.none() | st.integers(-500_000, 9_000_000).map(lambda n: n / 1000)
MOMENT = st.none() | st.datetimes(datetime(1980, 1, 6), datetime(2100, 1, 1))
WORDS = st.text(
    st.characters(exclude_categories=("Cc", "Cs"), exclude_characters="\ufffe\uffff"),
    min_size=1,
    max_size=20,
).filter(lambda text: text == " ".join(text.split()))


def rows_of(**parts: st.SearchStrategy[object]) -> st.SearchStrategy[list[dict[str, object]]]:
    """Return one to five rows."""
    place = {"latitude_deg": LATITUDE, "longitude_deg": LONGITUDE}
    return st.lists(st.fixed_dictionaries({**place, **parts}), min_size=1, max_size=5)


def frame_of(rows: list[dict[str, object]], **types: pl.DataType) -> pl.DataFrame:
    """Return the rows with a line number."""
    schema = {"latitude_deg": pl.Float64(), "longitude_deg": pl.Float64(), **types}
    frame = pl.DataFrame(rows, schema=schema)
    return frame.with_columns(pl.Series("line_in_file", range(len(rows)), dtype=pl.Int64))


TIMED = {"height_m": pl.Float64(), "recorded_time": pl.Datetime("us")}


@settings(deadline=None)
@given(
    points=rows_of(
        height_m=HEIGHT,
        recorded_time=MOMENT,
        segment=st.integers(0, 3),
        fix=st.sampled_from([None, "none", "2d", "3d", "dgps"]),
        satellites=st.none() | st.integers(0, 40).map(float),
        hdop=st.none() | st.integers(0, 999).map(lambda n: n / 10),
    ),
    lines=rows_of(line=WORDS),
    notes=rows_of(
        height_m=HEIGHT, recorded_time=MOMENT, name=st.none() | WORDS, text=st.none() | WORDS
    ),
)
def test_gpx_comes_back(
    points: list[dict[str, object]],
    lines: list[dict[str, object]],
    notes: list[dict[str, object]],
) -> None:
    points.sort(key=lambda row: row["segment"])
    unique = {line["line"]: line for line in lines}
    fixes = {"fix": pl.String(), "satellites": pl.Float64(), "hdop": pl.Float64()}
    track = Track(frame_of(points, **TIMED, segment=pl.Int64(), **fixes))
    route = Route(frame_of(list(unique.values()), line=pl.String()))
    waypoints = Waypoints(frame_of(notes, **TIMED, name=pl.String(), text=pl.String()))
    with TemporaryDirectory() as folder:
        path = Path(folder, "walk.gpx")
        gpx.write(path, tracks=track, routes=route, waypoints=waypoints)
        back = {
            role: gpx.read(path, role=role, column_map=None).table.frame
            for role in ("track", "plan", "notes")
        }
    wanted = track.frame.with_columns(pl.col("segment").rle_id().cast(pl.Int64))
    for name in wanted.columns[1:]:
        if name in back["track"].columns:
            assert back["track"][name].to_list() == wanted[name].to_list()
        else:
            assert wanted[name].is_null().all()
    for role, table in (("plan", route), ("notes", waypoints)):
        assert back[role].drop("line_in_file").equals(table.frame.drop("line_in_file"))


FINITE = st.floats(-1e7, 1e7)


@settings(max_examples=30, deadline=None)
@given(
    values=hnp.arrays(
        np.float64,
        hnp.array_shapes(min_dims=2, max_dims=2, max_side=5),
        elements=st.floats(),
    ),
    west=FINITE,
    south=FINITE,
    spacing=st.floats(0.01, 1000.0),
    unit=st.sampled_from(["nT", "nT/m", "deg", "", "A/m"]),
)
def test_grids_come_back(
    values: np.ndarray, west: float, south: float, spacing: float, unit: str
) -> None:
    grids = [
        Grid(values, west, south, spacing, "EPSG:31982", unit, "anomaly"),
        Grid(-values, west, south, spacing, "EPSG:31982", unit, "inverted"),
        Grid(values, west + 1.0, south, spacing, "EPSG:31982", unit, "shifted"),
    ]
    with TemporaryDirectory() as folder:
        path = Path(folder, "grids.nc")
        write_grids(path, grids)
        back = read_grids(path)
    assert [grid.digest() for grid in back] == [grid.digest() for grid in grids]


def test_the_good_files_are_good() -> None:
    for raw, module, role in ((IAGA, iaga2002, "base"), (NMEA, nmea, "track"), (GPX, gpx, "plan")):
        assert content_or_error(module, role, raw) is not None
    assert float_column(np.array([np.nan]))[0] is None
