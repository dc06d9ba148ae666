"""The IAGA-2002 reader on one-second days of the Conrad Observatory."""

import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from lodewalk.formats import iaga2002
from lodewalk.formats.registry import recognise
from lodewalk.records.recorded import Observatory, RecordedReadings
from outside.readers import read_iaga

DAY_RECORDS = 86_400


@pytest.fixture(scope="module")
def day_2023(conrad_2023_base: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file inside the archive."""
    folder = tmp_path_factory.mktemp("conrad_2023")
    with zipfile.ZipFile(conrad_2023_base) as archive:
        (name,) = archive.namelist()
        return Path(archive.extract(name, folder))


def test_day_with_scalar_and_vector(conrad_2018_iaga: Path, figures: Callable[[str], None]) -> None:
    content = iaga2002.read(conrad_2018_iaga, role="observatory", column_map=None)
    table = content.table
    assert isinstance(table, Observatory)
    assert len(table) == DAY_RECORDS
    names = ("horizontal_nT", "sensor_east_nT", "down_nT")
    length = np.sqrt(sum(table.floats(name) ** 2 for name in names))
    difference = table.floats("total_field_nT") - length
    mean, spread = np.nanmean(difference), np.nanstd(difference)
    figures(f"IAGA-2002, Conrad 2018-08-29: F minus vector {mean:.3f} ± {spread:.3f} nT")
    # Seen in the file with separate tools: -6.49 ± 0.021 nT, 13 missing F.
    assert mean == pytest.approx(-6.49, abs=0.005)
    assert spread == pytest.approx(0.021, abs=0.001)
    assert int(np.isnan(table.floats("total_field_nT")).sum()) == 13
    assert "F lacks 13" in content.understood[2]
    assert "each 1 s from 2018-08-29T00:00:00Z to 2018-08-29T23:59:59Z" in content.understood[1]


@pytest.mark.parametrize("letter", ["E", "H", "Z", "F"])
def test_every_value_agrees_with_a_plain_split(conrad_2018_iaga: Path, letter: str) -> None:
    name = {
        "E": "sensor_east_nT", "H": "horizontal_nT", "Z": "down_nT", "F": "total_field_nT",
    }[letter]  # fmt: skip
    table = iaga2002.read(conrad_2018_iaga, role="observatory", column_map=None).table
    plain = read_iaga(conrad_2018_iaga)
    np.testing.assert_array_equal(table.floats(name), plain[letter])
    np.testing.assert_array_equal(table.seconds("recorded_time"), plain["time_s"])


def test_base_without_scalar_takes_the_vector(conrad_2023_base: Path, day_2023: Path) -> None:
    content = iaga2002.read(day_2023, role="base", column_map=None)
    assert isinstance(content.table, RecordedReadings)
    plain = read_iaga(conrad_2023_base)
    length = np.sqrt(plain["H"] ** 2 + plain["E"] ** 2 + plain["Z"] ** 2)
    np.testing.assert_allclose(content.table.floats("raw_nT"), length, rtol=0, atol=1e-9)
    assert "F has no values" in content.understood[2]
    assert "length of H, E and Z; the file has no scalar" in content.understood[3]


def test_base_with_scalar_takes_the_scalar(conrad_2018_iaga: Path) -> None:
    content = iaga2002.read(conrad_2018_iaga, role="base", column_map=None)
    np.testing.assert_array_equal(content.table.floats("raw_nT"), read_iaga(conrad_2018_iaga)["F"])


def test_files_are_recognised(conrad_2018_iaga: Path, day_2023: Path) -> None:
    assert recognise(conrad_2018_iaga, role="base").name == "iaga2002"
    assert recognise(day_2023, role="observatory").name == "iaga2002"
