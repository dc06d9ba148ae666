"""Many prisms against the plain sum over corners in extended precision."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import (
    block_field,
    prism_slopes,
    prisms_field,
    upright_block,
)
from lodewalk.methods.bodies.dipole import FIELD_CONSTANT


def plain_sum(points, bounds, magnetisation):
    """Return the field of prisms as sums over their corners, in extended precision."""
    where = [np.asarray(part, dtype=np.longdouble) for part in points]
    total = np.zeros((3, where[0].size), dtype=np.longdouble)
    for block, (north, east, down) in zip(bounds, magnetisation, strict=True):
        own = np.array([east, north, -down], dtype=np.longdouble)
        for corner in np.ndindex(2, 2, 2):
            x = [np.longdouble(block[2 * i + corner[i]]) - where[i] for i in range(3)]
            r = np.sqrt(x[0] ** 2 + x[1] ** 2 + x[2] ** 2)
            sign = -1 if sum(corner) % 2 == 0 else 1
            for i in range(3):
                j, k = (i + 1) % 3, (i + 2) % 3
                total[i] -= sign * own[i] * np.arctan2(x[j] * x[k], x[i] * r)
                total[i] += sign * own[j] * np.log(x[k] + r)
                total[j] += sign * own[i] * np.log(x[k] + r)
    total *= FIELD_CONSTANT
    return np.array([total[1], total[0], -total[2]], dtype=float)


def some(prisms, points, seed=5):
    rng = np.random.default_rng(seed)
    low = rng.uniform([-50.0, -50.0, -60.0], [40.0, 40.0, -20.0], (prisms, 3))
    high = low + rng.uniform(1.0, 15.0, (prisms, 3))
    bounds = np.stack([low, high], axis=2).reshape(prisms, 6)
    where = (*rng.uniform(-70.0, 70.0, (2, points)), rng.uniform(0.0, 10.0, points))
    return where, bounds, rng.normal(0.0, 1.0, (prisms, 3))


# more of either than are worked on at once
@pytest.mark.parametrize(("prisms", "points"), [(60, 700), (1, 3), (9000, 2)])
def test_equal_to_the_plain_sum(prisms, points):
    where, bounds, own = some(prisms, points)
    found = np.array(prisms_field(*where, bounds=bounds, magnetisation=own))
    expected = plain_sum(where, bounds, own)
    # rounding grows as the square of the distance in sides: 100 m and 1 m at the most
    np.testing.assert_allclose(found, expected, atol=1e-11 * prisms**0.5 * np.abs(own).max() * 100)


def test_beside_and_below_a_prism_too():
    rng = np.random.default_rng(6)
    where = tuple(rng.uniform(-40.0, 40.0, (3, 400)))
    outside = np.max(np.abs(where), axis=0) > 10.5
    where = tuple(part[outside] for part in where)
    bounds, own = [[-10.0, 10.0, -10.0, 10.0, -10.0, 10.0]], [[1.0, -2.0, 0.5]]
    found = np.array(prisms_field(*where, bounds=bounds, magnetisation=own))
    np.testing.assert_allclose(found, plain_sum(where, bounds, own), atol=1e-10)


def test_level_with_a_face_and_in_line_with_an_edge():
    where = np.array([[5.0, 5.0, 20.0, 5.0], [30.0, 5.0, 5.0, -9.0], [-5.0, 3.0, -5.0, 0.0]])
    bounds = [[-5.0, 5.0, -5.0, 5.0, -15.0, -5.0]]
    corners = upright_block(
        centre=[0, 0, -5], length_m=10.0, width_m=10.0, azimuth_deg=0.0, depth_extent_m=10.0
    )
    own = [0.4, -1.0, 2.0]
    found = np.array(prisms_field(*where, bounds=bounds, magnetisation=own))
    expected = np.array(block_field(*where, corners=corners, magnetisation=own))
    np.testing.assert_allclose(found, expected, atol=1e-10)
    assert np.isfinite(prism_slopes(*where, bounds=bounds[0], magnetisation=own)).all()


def test_an_endless_slab_has_no_field():
    field = prisms_field(
        3.0, -4.0, 1.0, bounds=[[-5e7, 5e7, -5e7, 5e7, -15.0, -5.0]], magnetisation=[1.0, 2.0, 3.0]
    )
    # the far sides leave 8 C M (thickness / width)
    np.testing.assert_allclose(np.array(field), 0.0, atol=1e-3)


def test_points_keep_their_shape_and_prisms_may_share_a_magnetisation():
    east, north = np.meshgrid([0.0, 10.0, 20.0], [5.0, 6.0])
    _, bounds, own = some(4, 1)
    parts = prisms_field(east, north, 3.0, bounds=bounds, magnetisation=own[0])
    assert [part.shape for part in parts] == [(2, 3)] * 3
    every = prisms_field(east, north, 3.0, bounds=bounds, magnetisation=np.tile(own[0], (4, 1)))
    np.testing.assert_array_equal(np.array(parts), np.array(every))


@pytest.mark.parametrize(
    ("bounds", "text"),
    [
        ([[0.0, 1.0, 0.0, 1.0, 0.0]], "six finite bounds"),
        ([[0.0, 1.0, 0.0, np.nan, 0.0, 1.0]], "six finite bounds"),
        ([[0.0, 1.0, 2.0, 1.0, 0.0, 1.0]], "below its east, north and top"),
    ],
)
def test_bounds_must_be_in_order(bounds, text):
    with pytest.raises(InputError, match=text):
        prisms_field(0.0, 0.0, 9.0, bounds=bounds, magnetisation=[0, 0, 1])
