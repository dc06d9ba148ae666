"""Meshes and distances around shapes whose distances are plain arithmetic."""

import numpy as np
import pytest
import shapely

from lodewalk.adapters.surroundings import depths_m, distances_m, mesh_places, middle_of


def test_a_mesh_fills_an_outline_evenly():
    ring = shapely.Point(0, 0).buffer(100).difference(shapely.Point(0, 0).buffer(50))
    places = mesh_places(ring, most=800)
    away = np.hypot(*places.T)
    assert 700 < len(places) < 900
    assert ((away > 49) & (away < 100)).all()
    assert np.allclose(places.mean(axis=0), 0, atol=2)
    wider = mesh_places(ring, around_m=30.0, most=800)
    assert np.hypot(*wider.T).max() > 115


@pytest.mark.parametrize("around", [-60.0, -1e6])
def test_nothing_is_left_of_an_outline_made_too_small(around):
    assert len(mesh_places(shapely.box(0, 0, 100, 100), around_m=around)) == 0


def test_distance_and_depth_of_a_disc():
    disc = shapely.Point(0, 0).buffer(50, quad_segs=256)
    places = np.column_stack([np.arange(0.0, 100, 10), np.zeros(10)])
    radius = places[:, 0]
    assert np.allclose(distances_m(places, disc), np.maximum(radius - 50, 0), atol=1e-2)
    assert np.allclose(depths_m(places, disc), np.maximum(50 - radius, 0), atol=1e-2)
    nothing = shapely.Polygon()
    assert np.isinf(distances_m(places, nothing)).all()
    assert (depths_m(places, nothing) == 0).all()


def test_the_middle_of_two_halves_lies_between_them():
    both = shapely.MultiPolygon([shapely.box(0, 0, 2, 2), shapely.box(8, 0, 10, 2)])
    assert middle_of(both) == (5.0, 1.0)
