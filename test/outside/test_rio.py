"""Crossings of 128 flight lines and 9 tie lines near Rio de Janeiro, 1978.

The expected figures were computed beforehand by other code from the same file: about 320 crossings,
median misfit 0.29 nT (tie line minus line), median size 5.2 nT, RMS 57 nT, heights up to 205 m
apart.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from lodewalk.methods.corrections.crossings import Crossings, crossing_misfits, find_crossings
from outside.readers import read_rio

EARTH_RADIUS_M = 6_371_000.0


@pytest.fixture(scope="module")
def table(rio_lines: Path) -> pl.DataFrame:
    return read_rio(rio_lines)


@pytest.fixture(scope="module")
def crossings(table: pl.DataFrame) -> Crossings:
    """Of every pair of lines, on a local plane: good to 1 % of a distance over this area."""
    latitude = np.radians(table["latitude"].to_numpy())
    longitude = np.radians(table["longitude"].to_numpy())
    easting = EARTH_RADIUS_M * longitude * np.cos(latitude.mean())
    return find_crossings(
        table["line_number"].to_numpy(), easting, EARTH_RADIUS_M * latitude, max_gap_m=300.0
    )


def test_file_is_what_it_is_said_to_be(table: pl.DataFrame) -> None:
    assert table.height == 37_718
    lines = table.group_by("line_type").agg(pl.col("line_number").n_unique()).sort("line_type")
    assert lines.rows() == [("LINE", 128), ("TIE", 9)]
    assert table.height - table.unique(["longitude", "latitude"]).height == 5
    # Each line stands together in the file, as `find_crossings` asks.
    number = table["line_number"].to_numpy()
    assert np.count_nonzero(np.diff(number)) + 1 == 137


def test_crossings_and_misfits(
    table: pl.DataFrame, crossings: Crossings, figures: Callable[[str], None]
) -> None:
    tie = (table["line_type"] == "TIE").to_numpy()
    first_is_tie = tie[np.floor(crossings.first).astype(int)]
    with_tie = first_is_tie != tie[np.floor(crossings.second).astype(int)]
    misfit = crossing_misfits(crossings, table["total_field_anomaly_nt"].to_numpy())
    tie_minus_line = np.where(first_is_tie, misfit, -misfit)[with_tie]
    apart_m = crossing_misfits(crossings, table["height_ell_m"].to_numpy())[with_tie]
    rms = np.sqrt(np.mean(tie_minus_line**2))
    figures(
        f"Rio: {with_tie.sum()} crossings of line and tie line; misfit median "
        f"{np.median(tie_minus_line):+.2f}, median size {np.median(np.abs(tie_minus_line)):.2f}, "
        f"RMS {rms:.1f} nT; heights up to {np.abs(apart_m).max():.0f} m apart"
    )
    assert with_tie.sum() == pytest.approx(320, abs=2)
    assert np.median(tie_minus_line) == pytest.approx(0.29, abs=0.02)
    assert np.median(np.abs(tie_minus_line)) == pytest.approx(5.2, abs=0.1)
    assert rms == pytest.approx(57.0, abs=0.5)
    assert np.abs(apart_m).max() == pytest.approx(205.0, abs=0.5)
