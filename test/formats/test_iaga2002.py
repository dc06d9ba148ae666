"""IAGA-2002: the published layout, what is refused, and what is understood."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from lodewalk.errors import InputError
from lodewalk.formats import iaga2002
from lodewalk.formats.content import Content
from lodewalk.records.recorded import Observatory, RecordedReadings
from lodewalk.records.table import float_column

# Header after the sample file of the format's description (IAGA-2002, revision of July 2003,
# National Centers for Environmental Information), with an invented station.
HEADER = """\
 Format                 IAGA-2002                                    |
 Source of Data         Lime Hill Field School                       |
 Station Name           Lime Hill                                    |
 IAGA CODE              LIM                                          |
 Geodetic Latitude      61.160                                       |
 Geodetic Longitude     314.560                                      |
 Elevation              4                                            |
 Reported               {reported:<45}|
 Sensor Orientation     DIF                                          |
 Digital Sampling       0.01 seconds                                 |
 Data Interval Type     Filtered 1-minute (00:30 - 01:29)            |
 Data Type              Definitive                                   |
 # Header and comment records begin with a space, end with a bar     |
 # and are padded with spaces.                                       |
"""


def lines_of(elements: str, rows: list[tuple[float, ...]], *, reported: str = "") -> list[str]:
    """Return a file of one record a minute of 1 March 2024 (day 61 of a leap year)."""
    names = "".join(f"LIM{letter:<7}" for letter in elements)
    lines = HEADER.format(reported=reported or elements).splitlines()
    lines.append(f"DATE       TIME         DOY     {names}"[:69].ljust(69) + "|")
    for minute, row in enumerate(rows):
        values = " ".join(f"{value:9.2f}" for value in row)
        lines.append(f"2024-03-01 00:{minute:02d}:00.000 061    {values}")
    return lines


ROWS = [(17336.70, -1468.90, 46212.00, 49378.80), (17336.70, -1468.60, 46212.00, 49378.80)]


@pytest.fixture
def reading(tmp_path: Path) -> Callable[..., Content]:
    def read(lines: list[str], *, role: str = "observatory", end: str = "\n") -> Content:
        path = tmp_path / "lim20240301.min"
        path.write_bytes(end.join([*lines, ""]).encode("utf-8"))
        return iaga2002.read(path, role=role, column_map=None)

    return read


def test_order_of_the_elements_comes_from_the_file(reading: Callable[..., Content]) -> None:
    content = reading(lines_of("ZXFY", [(46212.0, 17336.7, 49378.8, -1468.9)]))
    assert isinstance(content.table, Observatory)
    row = content.table.frame.row(0, named=True)
    assert (row["north_nT"], row["east_nT"]) == (17336.70, -1468.90)
    assert (row["down_nT"], row["total_field_nT"]) == (46212.00, 49378.80)
    assert row["line_in_file"] == 16
    assert row["recorded_time"].isoformat() == "2024-03-01T00:00:00"
    assert content.zone == "UTC"


def test_scalar_and_vector_of_an_observatory_agree(reading: Callable[..., Content]) -> None:
    # Rows as Eskdalemuir recorded them on 2003-04-11 (definitive minute means): F is the scalar.
    table = reading(lines_of("XYZF", ROWS)).table
    names = ("north_nT", "east_nT", "down_nT")
    length = np.sqrt(sum(table.floats(name) ** 2 for name in names))
    assert table.floats("total_field_nT") == pytest.approx(length, abs=0.2)


def test_declination_is_in_minutes_of_arc(reading: Callable[..., Content]) -> None:
    content = reading(lines_of("DHZF", [(-90.0, 17000.0, 46000.0, 49040.8)]))
    assert content.table.floats("declination_deg").tolist() == [-1.5]
    assert any("minutes of arc" in sentence for sentence in content.understood)


def test_missing_values_are_null(reading: Callable[..., Content]) -> None:
    rows = [(99999.00, -1468.9, 46212.0, 88888.00), (17336.7, 999999.0, 46212.0, 88888.00)]
    content = reading(lines_of("XYZF", rows))
    frame = content.table.frame
    assert frame["north_nT"].to_list() == [None, 17336.7]
    assert frame["east_nT"].to_list() == [-1468.9, None]
    assert "total_field_nT" not in frame.columns
    assert "X lacks 1; Y lacks 1; F has no values" in content.understood[2]


def test_inclination_gives_the_down_component(reading: Callable[..., Content]) -> None:
    # I = 60 degrees = 3600 minutes: Z = H tan I, F = H / cos I.
    rows = [(-90.0, 20000.0, 3600.0, 40000.0)]
    table = reading(lines_of("DHIF", rows)).table
    assert table.floats("down_nT") == pytest.approx([20000.0 * 3**0.5], abs=1e-6)
    table = reading(lines_of("DHIG", [(-90.0, 20000.0, 3600.0, 2.5)])).table
    assert table.floats("total_field_nT") == pytest.approx([39997.5], abs=1e-6)


def test_inclination_and_total_field_give_both_components(
    reading: Callable[..., Content],
) -> None:
    table = reading(lines_of("DIFZ", [(-90.0, 3600.0, 40000.0, 99999.0)])).table
    assert table.floats("horizontal_nT") == pytest.approx([20000.0], abs=1e-6)
    assert table.floats("down_nT") == pytest.approx([20000.0 * 3**0.5], abs=1e-6)


def test_base_takes_the_scalar_and_never_mixes(reading: Callable[..., Content]) -> None:
    rows = [(3000.0, 0.0, 4000.0, 5006.5), (3000.0, 0.0, 4000.0, 99999.0)]
    content = reading(lines_of("HEZF", rows), role="base")
    assert isinstance(content.table, RecordedReadings)
    assert content.table.frame["raw_nT"].to_list() == [5006.5, None]
    assert content.understood[-1] == "The total field is the scalar F of the file."


@pytest.mark.parametrize(
    ("elements", "row", "total", "said"),
    [
        ("XYZF", (2000.0, 3000.0, 6000.0, 88888.0), 7000.0, "length of X, Y and Z; the file"),
        ("HEZF", (3000.0, 0.0, 4000.0, 99999.0), 5000.0, "length of H, E and Z"),
        ("DHZF", (5.0, 3000.0, 4000.0, 99999.0), 5000.0, "length of H and Z"),
        ("XYZG", (2000.0, 3000.0, 6000.0, 6.5), 6993.5, "length of X, Y and Z minus G"),
        ("XYZS", (2000.0, 3000.0, 6000.0, 7006.5), 7006.5, "scalar S"),
    ],
)
def test_total_field_of_a_base(
    reading: Callable[..., Content],
    elements: str,
    row: tuple[float, ...],
    total: float,
    said: str,
) -> None:
    content = reading(lines_of(elements, [row]), role="base")
    assert content.table.floats("raw_nT") == pytest.approx([total])
    assert said in content.understood[-1]


def test_understood_names_station_extent_and_order(reading: Callable[..., Content]) -> None:
    station, extent, elements = reading(lines_of("XYZF", ROWS)).understood
    assert station == (
        "IAGA-2002 file of Lime Hill (LIM), latitude 61.16°, longitude 314.56°, elevation 4 m."
    )
    assert extent.startswith("2 records each 60 s from 2024-03-01T00:00:00Z to")
    assert "data type Definitive" in extent
    assert elements == "Elements X, Y, Z, F in this order, in nT."


def test_windows_line_ends_and_blank_end_are_fine(reading: Callable[..., Content]) -> None:
    lines = [line.ljust(70) for line in lines_of("XYZF", ROWS)]
    assert len(reading([*lines, "", "\x1a"], end="\r\n").table) == 2


def test_element_left_blank_in_every_record(reading: Callable[..., Content]) -> None:
    lines = [line[:60] if line.startswith("2024") else line for line in lines_of("XYZF", ROWS)]
    frame = reading(lines).table.frame
    assert "total_field_nT" not in frame.columns
    assert frame["down_nT"].to_list() == [46212.0, 46212.0]


def test_unknown_elements_are_left_out_and_said(reading: Callable[..., Content]) -> None:
    content = reading(lines_of("UVZF", ROWS))
    assert set(content.table.frame.columns) == {
        "line_in_file", "recorded_time", "down_nT", "total_field_nT",
    }  # fmt: skip
    assert "U is not read; V is not read" in content.understood[2]


def changed(lines: list[str], number: int, text: str) -> list[str]:
    """Return the lines with one replaced, counted from 1."""
    return [*lines[: number - 1], text, *lines[number:]]


GOOD = lines_of("XYZF", ROWS)
FIRST = "2024-03-01 00:00:00.000 061     17336.70  -1468.90  46212.00  49378.80"


def test_the_record_is_that_of_the_standard() -> None:
    assert GOOD[15] == FIRST
    assert {len(line) for line in GOOD} == {70}


@pytest.mark.parametrize(
    ("number", "text", "message"),
    [
        (1, " Format                 IAGA-2000", "line 1: .*must begin with its format record"),
        (15, "DATE       TIME         DOY     LIMX      LIMY", "line 15: .*four different"),
        (15, "DATE       TIME         DOY     LIMX LIMX LIMZ LIMF", "four different elements"),
        (15, "DATE       TIME         LIMX LIMY LIMZ LIMF", "must name DATE, TIME, DOY"),
        (15, "DATE       TIME         DOY     LIMX LIMY LIMS LIMF", "total field twice"),
        (15, "DATE       TIME         DOY     LIMD LIMH LIMZ LIMF", r"reported \(XYZF\) must be"),
        (16, FIRST[:-1], "line 16: A data record must have 70 characters, not 69"),
        (16, FIRST + "|", "line 16: A data record must have 70 characters, not 71"),
        (16, FIRST[:27] + FIRST[28:] + "0", "line 16: .*in fixed columns"),
        (16, FIRST.replace("-1468.90", "-1468,90"), "line 16: .*in fixed columns"),
        (16, FIRST.replace(" 17336.70", "      nan"), "line 16: .*in fixed columns"),
        (16, FIRST.replace("061", "060"), "line 16: The day of year must be that of the date"),
        (16, FIRST.replace("03-01", "02-30"), "line 16: Date and time must exist"),
        (16, FIRST.replace("00:00:00", "24:00:00"), "line 16: Date and time must exist"),
        (16, GOOD[0], "line 16: A second header begins"),
        (17, FIRST[:58], "line 17: The last record is cut short"),
        (17, FIRST[:60], "line 17: The last record is cut short"),
        (17, FIRST[:12], "line 17: The last record is cut short"),
    ],
)
def test_damage_is_refused_with_its_line(
    reading: Callable[..., Content], number: int, text: str, message: str
) -> None:
    with pytest.raises(InputError, match=message):
        reading(changed(GOOD, number, text))


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([], "must begin with its format record"),
        (GOOD[:9], "line 10: The data header, which begins with DATE, is missing"),
        (GOOD[:15], "no data records"),
        (lines_of("XYZF", [(99999.0, 99999.0, 99999.0, 88888.0)]), "Every value .* is missing"),
    ],
)
def test_empty_and_headless_files(
    reading: Callable[..., Content], lines: list[str], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        reading(lines)


def test_base_without_a_vector_is_refused(reading: Callable[..., Content]) -> None:
    lines = lines_of("XYZF", [(17336.7, 99999.0, 46212.0, 99999.0)])
    with pytest.raises(InputError, match=r"total field or three components.*as an observatory"):
        reading(lines, role="base")


def test_role_is_checked(reading: Callable[..., Content]) -> None:
    with pytest.raises(InputError, match="serves as observatory or base"):
        reading(GOOD, role="rover")


def test_header_beyond_ascii_is_fine(tmp_path: Path) -> None:
    text = "\n".join(GOOD).replace("Lime Hill Field School", "Técnica de Minería      ")
    path = tmp_path / "a.min"
    path.write_bytes(text.encode("latin-1"))
    assert len(iaga2002.read(path, role="observatory", column_map=None).table) == 2


def test_recognises_the_format_record_only() -> None:
    assert iaga2002.recognise("\n".join(GOOD).encode()) == 1.0
    assert iaga2002.recognise(b"\xef\xbb\xbf" + GOOD[0].encode()) == 1.0
    assert iaga2002.recognise(b"DATE       TIME         DOY") == 0.0
    assert iaga2002.recognise(b"") == 0.0


def observatory(**columns: list[float]) -> Observatory:
    """Return a series of one value a second."""
    count = len(next(iter(columns.values())))
    times = pl.Series([1_709_251_200_000_000 + 1_000_000 * i for i in range(count)])
    return Observatory(
        pl.DataFrame(
            {
                "line_in_file": pl.Series(range(1, count + 1), dtype=pl.Int64),
                "recorded_time": times.cast(pl.Datetime("us")),
                **{name: float_column(np.array(values)) for name, values in columns.items()},
            }
        )
    )


PLACE = {"station": "Lime Hill", "latitude_deg": 61.16, "longitude_deg": -45.44}


def test_written_record_is_that_of_the_standard(tmp_path: Path) -> None:
    path = tmp_path / "out.sec"
    series = observatory(
        north_nT=[17336.70], east_nT=[-1468.90], down_nT=[46212.0], total_field_nT=[49378.80]
    )
    iaga2002.write(path, series, code="LIM", elevation_m=4, **PLACE)
    lines = path.read_text("ascii").splitlines()
    assert {len(line) for line in lines} == {70}
    assert lines[0] == GOOD[0]
    assert lines[12] == GOOD[14]
    assert lines[13] == FIRST


def test_written_declination_and_missing_values(tmp_path: Path) -> None:
    path = tmp_path / "out.sec"
    series = observatory(declination_deg=[-1.5], horizontal_nT=[float("nan")], down_nT=[46212.0])
    iaga2002.write(path, series, **PLACE)
    assert path.read_text("ascii").splitlines()[-1] == (
        "2024-03-01 00:00:00.000 061       -90.00  99999.00  46212.00  88888.00"
    )


@pytest.mark.parametrize(
    ("series", "arguments", "message"),
    [
        ({"north_nT": [88887.999]}, {}, "Element X must be below 88888"),
        ({"north_nT": [1.0]}, {"elements": "XYZ"}, "must be four of X"),
        ({"north_nT": [1.0]}, {"elements": "XYFS"}, "must be four of X"),
        ({"north_nT": [1.0]}, {"source": "x" * 46}, "45 printable ASCII characters"),
        ({"north_nT": [1.0]}, {"source": "Minería"}, "45 printable ASCII characters"),
        ({"north_nT": [1.0]}, {"source": "a\tb"}, "45 printable ASCII characters"),
    ],
)
def test_what_the_format_cannot_hold(
    tmp_path: Path, series: dict[str, list[float]], arguments: dict[str, str], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        iaga2002.write(tmp_path / "out.sec", observatory(**series), **PLACE, **arguments)


def test_time_between_milliseconds_is_not_written(tmp_path: Path) -> None:
    series = observatory(north_nT=[1.0])
    shifted = series.frame.with_columns(pl.col("recorded_time") + pl.duration(microseconds=1))
    with pytest.raises(InputError, match="whole milliseconds"):
        iaga2002.write(tmp_path / "out.sec", Observatory(shifted), **PLACE)
