"""A line that was walked twice: a place has one distance, whichever passage it was read on."""

import numpy as np
import polars as pl
import pytest

from lodewalk.services.curves.one_axis import one_axis


def passage(number, places):
    """Return readings at places along a line that goes north, each from its own beginning."""
    places = np.asarray(places, dtype=float)
    return pl.DataFrame(
        {
            "passage": [number] * len(places),
            "distance_m": np.abs(places - places[0]),
            "easting_m": np.full(len(places), 500.0),
            "northing_m": 1000.0 + places,
        }
    )


@pytest.mark.parametrize("again", [np.arange(250.0, 440, 2), np.arange(440.0, 250, -2)])
def test_a_part_walked_again_lies_where_it_was_walked_first(again):
    first = np.arange(0.0, 500, 2)
    found = one_axis(pl.concat([passage(0, first), passage(7, again)])).to_numpy()
    assert np.allclose(found[: len(first)], first)
    assert np.allclose(found[len(first) :], again)


def test_distances_of_a_line_walked_once_stay():
    once = passage(3, np.arange(90.0, 10, -1))
    assert one_axis(once).to_list() == once["distance_m"].to_list()


def test_a_reading_without_a_position_keeps_its_lack_of_a_distance():
    first, again = passage(0, np.arange(0.0, 100, 2)), passage(1, np.arange(40.0, 90, 2))
    lost = again.with_columns(
        pl.when(pl.int_range(pl.len()) == 3).then(None).otherwise(pl.col(name)).alias(name)
        for name in ("distance_m", "easting_m", "northing_m")
    )
    found = one_axis(pl.concat([first, lost])).to_numpy()[len(first) :]
    assert np.isnan(found[3])
    assert np.allclose(np.delete(found, 3), np.delete(np.arange(40.0, 90, 2), 3))
