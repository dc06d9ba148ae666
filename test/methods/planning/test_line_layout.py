"""Lines, lengths, times and block means are held against counting by hand."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.planning.line_layout import (
    LineLayout,
    Readings,
    area_size,
    block_means,
    frame_of,
    line_length,
    line_pieces,
    parallel_lines,
    readings_on,
    within_area,
)

FIELD = [(0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0)]
#: A square of 100 m without its north-eastern quarter.
BENT = [(0, 0), (100, 0), (100, 50), (50, 50), (50, 100), (0, 100)]


def test_lines_leave_no_place_farther_than_half_a_spacing():
    pieces, tie = line_pieces(FIELD, LineLayout(0.0, 30.0))
    assert pieces[:, 0].tolist() == [5.0, 35.0, 65.0, 95.0]
    assert tie.tolist() == [0, 0, 0, 0]


def test_lines_are_walked_to_and_fro_and_ties_come_last():
    pieces, tie = line_pieces(FIELD, LineLayout(0.0, 50.0, 500.0))
    assert pieces.round(9).tolist() == [
        [25.0, 0.0, 25.0, 60.0],
        [75.0, 60.0, 75.0, 0.0],
        [0.0, 15.0, 100.0, 15.0],
        [100.0, 45.0, 0.0, 45.0],
    ]
    assert tie.tolist() == [0, 0, 1, 1]


def test_a_line_over_a_bay_has_two_pieces():
    pieces, _ = line_pieces(BENT, LineLayout(135.0, 200.0))
    assert len(pieces) == 1
    pieces, _ = line_pieces([*BENT[:3], (50, 20), *BENT[4:]], LineLayout(135.0, 200.0))
    lengths = np.hypot(*(pieces[:, 2:] - pieces[:, :2]).T)
    assert len(pieces) == 2
    assert lengths.sum() < 100 * np.sqrt(2)


def test_length_is_that_of_lines_and_ties():
    # Two lines of 60 m and two ties of 100 m.
    assert line_length(FIELD, LineLayout(0.0, 50.0, 500.0)) == pytest.approx(320.0)
    # Eastward lines across the 60 m, ties northward: 2 x 100 + 2 x 60.
    assert line_length(FIELD, LineLayout(90.0, 30.0, 500.0)) == pytest.approx(320.0)
    # The area over the spacing, whatever the azimuth, for close lines.
    for azimuth in (0.0, 33.0, 120.0):
        assert line_length(FIELD, LineLayout(azimuth, 0.5)) == pytest.approx(12_000, rel=0.01)


def test_readings_take_the_time_of_the_way_to_the_next_line_too():
    readings = parallel_lines(FIELD, LineLayout(0.0, 50.0, None, 2.0, pace_m_s=2.0))
    assert readings.line.tolist() == [0] * 31 + [1] * 31
    assert readings.time_s[30] == pytest.approx(30.0)
    assert readings.time_s[31] == pytest.approx(55.0)
    assert readings.northing_m[31] == pytest.approx(60.0)


def test_blocks_are_means_of_neighbours_on_one_line():
    readings = readings_on([(0, 0, 30, 40), (0, 0, 10, 0)], reading_interval_m=5.0)
    blocks = block_means(readings, 10.0)
    assert blocks.count.tolist() == [2, 2, 2, 2, 2, 1, 2, 1]
    assert blocks.easting_m[:2].tolist() == pytest.approx([1.5, 7.5])
    assert blocks.line.tolist() == [0] * 6 + [1] * 2
    # Two readings 5 m apart stand 2.5 m off their mean, along the line.
    assert blocks.spread_m[0].tolist() == pytest.approx([1.5, 2.0])
    values = np.arange(readings.line.size, dtype=float)
    assert blocks.means(values)[:2].tolist() == [0.5, 2.5]
    assert blocks.means(np.stack([values, 2 * values])).shape == (2, 8)


def test_a_line_that_falls_to_the_south_has_its_spread_so():
    blocks = block_means(readings_on([(0, 0, 30, -40)], reading_interval_m=5.0), 10.0)
    assert blocks.spread_m[0].tolist() == pytest.approx([1.5, -2.0])


def test_area_and_what_lies_in_it():
    assert area_size(BENT) == pytest.approx(7500.0)
    places = [(25, 75), (75, 75), (75, 25), (-1, 5)]
    assert within_area(places, BENT).tolist() == [True, False, True, False]


def test_the_frame_of_an_azimuth_turns_to_the_right():
    east, north = np.eye(2)
    assert (north @ frame_of(0.0)).round(12).tolist() == [0.0, 1.0]
    assert (east @ frame_of(90.0)).round(12).tolist() == [0.0, 1.0]
    assert (north @ frame_of(90.0)).round(12).tolist() == [-1.0, 0.0]


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: LineLayout(0.0, 0.0), "spacing_m must be above zero"),
        (lambda: LineLayout(0.0, 10.0, -1.0), "tie_spacing_m must be above zero"),
        (lambda: line_length([(0, 0), (1, 1)], LineLayout(0.0, 1.0)), "at least three pairs"),
        (lambda: area_size([(0, 0), (1, 0), (np.nan, 1)]), "finite"),
        (lambda: block_means(readings_on([(0, 0, 1, 0)]), 0.0), "block_m must be above zero"),
        (
            lambda: Readings(np.zeros(2), np.zeros(1), np.zeros(2, int), np.zeros(2)),
            "same length",
        ),
    ],
)
def test_bad_input_is_told(call, text):
    with pytest.raises(InputError, match=text):
        call()
