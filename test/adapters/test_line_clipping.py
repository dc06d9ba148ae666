"""Clipped lines, against the Cauchy-Crofton formula and a construction of their own."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from lodewalk.adapters.line_clipping import (
    across_extent,
    clipped_lines,
    line_offsets,
)
from lodewalk.errors import InputError
from planned_area import kept_clear

#: Far from the origin, as survey coordinates are.
CORNER = np.array([560_000.0, 7_245_000.0])


def star(seed, corners=11, size=400.0):
    """Return a polygon that isn't convex."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radius = size * rng.uniform(0.3, 1.0, corners)
    return shapely.Polygon(
        CORNER + np.column_stack([np.cos(angle), np.sin(angle)]) * radius[:, None]
    )


def holed(seed):
    """Return a star with round and square holes, and the holes."""
    rng = np.random.default_rng(seed + 100)
    places = CORNER + rng.uniform(-200, 200, (6, 2))
    shapes = [shapely.Point(p) for p in places[:3]] + [
        shapely.box(*p, *(p + 40)) for p in places[3:]
    ]
    return star(seed), shapes, rng.uniform(5, 40, 6)


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10_000), st.floats(0, 180), st.floats(15, 90))
def test_the_mean_length_over_all_offsets_is_area_over_spacing(seed, azimuth, spacing):
    field, shapes, buffers = holed(seed % 50)
    walkable = field.difference(kept_clear(shapes, buffers))
    offsets = (np.arange(64) + 0.5) / 64 * spacing
    lengths = [
        clipped_lines(
            field, walkable, azimuth_deg=azimuth, spacing_m=spacing, offset_m=offset
        ).length_m.sum()
        for offset in offsets
    ]
    # The chord length is piecewise linear across the area: the midpoint rule on 64 offsets leaves
    # at most its total variation over the number of chords, far less on average.
    assert np.mean(lengths) == pytest.approx(walkable.area / spacing, rel=4e-3)


@pytest.mark.parametrize("seed", range(4))
def test_the_mean_over_azimuths_is_area_over_spacing(seed):
    field, shapes, buffers = holed(seed)
    walkable = field.difference(kept_clear(shapes, buffers))
    rng = np.random.default_rng(seed)
    lengths = [
        clipped_lines(
            field, walkable, azimuth_deg=azimuth, spacing_m=30.0, offset_m=rng.uniform(0, 30)
        ).length_m.sum()
        for azimuth in (np.arange(600) + 0.5) * 180 / 600
    ]
    sure = 4 * np.std(lengths) / np.sqrt(600)
    assert np.mean(lengths) == pytest.approx(walkable.area / 30, abs=sure)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000), st.floats(0, 180), st.floats(10, 90))
def test_every_piece_is_allowed_and_nothing_allowed_is_left(seed, azimuth, spacing):
    field, shapes, buffers = holed(seed % 50)
    walkable = field.difference(kept_clear(shapes, buffers))
    found = clipped_lines(field, walkable, azimuth_deg=azimuth, spacing_m=spacing)
    pieces = shapely.linestrings(np.stack([found.first, found.second], axis=1))
    # The oracle is the distance of densely placed points from the shapes as they were given.
    for piece in pieces:
        points = shapely.points(shapely.get_coordinates(shapely.segmentize(piece, 1.0)))
        assert shapely.distance(points, field).max() <= 1e-6
        for shape, buffer in zip(shapes, buffers, strict=True):
            assert shapely.distance(points, shape).min() >= buffer - 1e-6
    # By quadrature along each line, allowed by hand: nothing that may be walked is missing.
    angle = np.radians(azimuth)
    along = np.array([np.sin(angle), np.cos(angle)])
    across = np.array([along[1], -along[0]])
    low, high = across_extent(field, azimuth)
    places = low + line_offsets(high - low, spacing)
    steps = (shapely.get_coordinates(field) @ along).min() + np.arange(0, 900, 0.5)
    grid = places[:, None, None] * across + steps[None, :, None] * along
    inside = shapely.contains_xy(walkable, grid[..., 0].ravel(), grid[..., 1].ravel())
    ends = 2 * len(pieces) + 2
    assert found.length_m.sum() == pytest.approx(0.5 * inside.sum(), abs=0.5 * ends + 1)


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10_000), st.floats(0, 180), st.floats(5, 90))
def test_pieces_are_those_of_the_library_s_overlay(seed, azimuth, spacing):
    field, shapes, buffers = holed(seed % 50)
    walkable = field.difference(kept_clear(shapes, buffers))
    found = clipped_lines(field, walkable, azimuth_deg=azimuth, spacing_m=spacing)
    angle = np.radians(azimuth)
    along = np.array([np.sin(angle), np.cos(angle)])
    across = np.array([along[1], -along[0]])
    low, high = across_extent(field, azimuth)
    reach = shapely.get_coordinates(field) @ along
    whole = [
        shapely.LineString([place * across + end * along for end in (reach.min(), reach.max())])
        for place in low + line_offsets(high - low, spacing)
    ]
    other = [part for line in whole for part in shapely.get_parts(line.intersection(walkable))]
    lengths = sorted(part.length for part in other if part.length > 1e-5)
    assert np.allclose(np.sort(found.length_m[found.length_m > 1e-5]), lengths, atol=1e-6)


@given(st.floats(1, 5000), st.floats(1, 300))
def test_lines_cover_a_width_evenly(width, spacing):
    places = line_offsets(width, spacing)
    assert np.allclose(np.diff(places), spacing)
    assert places[0] == pytest.approx(width - places[-1], abs=1e-6)
    assert -1e-9 <= places[0] <= spacing / 2 + 1e-6


def test_pieces_follow_the_azimuth_and_are_counted_from_the_left():
    field = shapely.box(0, 0, 100, 60)
    found = clipped_lines(field, field, azimuth_deg=90.0, spacing_m=20.0)
    # Looking east the left is north.
    assert found.first[:, 1].tolist() == [50.0, 30.0, 10.0]
    assert (found.first[:, 0] == 0).all()
    assert (found.second[:, 0] == 100).all()
    assert found.number.tolist() == [0, 1, 2]
    assert found.piece.tolist() == [0, 0, 0]


def test_short_pieces_are_left_out_and_told():
    triangle = shapely.Polygon([(0, 0), (100, 0), (0, 100)])
    found = clipped_lines(triangle, triangle, azimuth_deg=0.0, spacing_m=20.0, shortest_m=35.0)
    # Chords of the triangle at 10, 30, 50, 70, 90.
    assert found.length_m.tolist() == pytest.approx([90, 70, 50])
    assert found.short_m.tolist() == pytest.approx([30, 10])


def test_a_line_through_a_corner_of_a_hole_stays_one_piece():
    field = shapely.box(0, 0, 100, 100)
    diamond = shapely.Polygon([(50, 50), (60, 40), (70, 50), (60, 60)])
    rest = field.difference(diamond)
    found = clipped_lines(field, rest, azimuth_deg=0.0, spacing_m=100.0)
    assert found.length_m.tolist() == [100.0]


def test_edges_along_the_lines_and_corners_on_them_do_no_harm():
    # A cross of squares whose edges and corners lie on the lines at 25, 75, 125 and 175.
    field = shapely.box(0, 0, 200, 200)
    rest = field.difference(
        shapely.union_all(
            [shapely.box(25, 50, 75, 100), shapely.Polygon([(125, 50), (175, 90), (125, 130)])]
        )
    )
    found = clipped_lines(field, rest, azimuth_deg=0.0, spacing_m=50.0)
    by_line = [found.length_m[found.number == n].sum() for n in range(4)]
    # What lies along an edge may count as in or out; what a line only touches leaves it whole.
    assert by_line[0] in (150, 200)
    assert by_line[1] in (150, 200)
    assert by_line[2] in (120, 200)
    assert by_line[3] == 200
    assert all(length > 1 for length in found.length_m)


def test_a_circle_kept_clear_has_its_own_length_of_chord():
    field = shapely.box(-100, -100, 100, 100)
    rest = field.difference(kept_clear([shapely.Point(0, 0)], [40.0]))
    found = clipped_lines(field, rest, azimuth_deg=0.0, spacing_m=5.0)
    chords = quad(lambda x: 2 * np.sqrt(1600 - x * x), -40, 40)[0] / 5
    assert 200 * 40 - found.length_m.sum() == pytest.approx(chords, rel=0.02)


def test_a_spacing_of_zero_and_one_far_too_small_are_refused():
    field = shapely.box(0, 0, 1e6, 1e6)
    with pytest.raises(InputError, match="above zero"):
        clipped_lines(field, field, azimuth_deg=0.0, spacing_m=0.0)
    with pytest.raises(InputError, match="more than 100000 lines"):
        clipped_lines(field, field, azimuth_deg=0.0, spacing_m=1.0)
    with pytest.raises(InputError, match="empty"):
        clipped_lines(shapely.Polygon(), field, azimuth_deg=0.0, spacing_m=1.0)


def test_nothing_to_walk_gives_no_piece():
    field = shapely.box(0, 0, 100, 100)
    found = clipped_lines(field, shapely.Polygon(), azimuth_deg=0.0, spacing_m=10.0)
    assert found.number.size == found.short_m.size == 0
