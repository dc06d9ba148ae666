"""Polyhedra and blocks against dipole sums, the two-dimensional dyke and potential theory."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import (
    ambient_vector,
    block_field,
    dipole_field,
    dipping_block,
    dyke_anomaly,
    induced_magnetisation,
    polyhedron_field,
    profile_distance,
    projected_anomaly,
    upright_block,
)
from lodewalk.methods.bodies.prism import BLOCK_FACES

MAGNETISATION = np.array([0.3, -0.2, -0.5])
DIPPING = dipping_block(
    centre=[20.0, -10.0, -6.0],
    length_m=40.0,
    width_m=12.0,
    strike_deg=130.0,
    dip_deg=55.0,
    depth_extent_m=30.0,
)


def points(count=40, *, spread=60.0, low=2.0, high=25.0):
    rng = np.random.default_rng(7)
    east, north = rng.uniform(-spread, spread, (2, count))
    return east, north, rng.uniform(low, high, count)


def dipole_sum(where, corners, magnetisation, *, order=24):
    """Integrate dipoles over the block by Gauss-Legendre quadrature in its own three edges."""
    nodes, weights = np.polynomial.legendre.leggauss(order)
    share, weight = 0.5 * (nodes + 1.0), 0.5 * weights
    edges = np.array([corners[1], corners[3], corners[4]]) - corners[0]
    volume = abs(np.linalg.det(edges))
    total = np.zeros((3, len(where[0])))
    for i, j, k in np.ndindex(order, order, order):
        centre = corners[0] + share[i] * edges[0] + share[j] * edges[1] + share[k] * edges[2]
        moment = volume * weight[i] * weight[j] * weight[k] * magnetisation
        total += np.array(dipole_field(*where, centre=centre, moment=moment))
    return total


def test_dipping_block_equals_a_sum_of_dipoles():
    where = points(12)
    field = np.array(block_field(*where, corners=DIPPING, magnetisation=MAGNETISATION))
    expected = dipole_sum(where, DIPPING, MAGNETISATION)
    assert np.abs(expected).max() > 10.0
    np.testing.assert_allclose(field, expected, atol=1e-6 * np.abs(expected).max())


@pytest.mark.parametrize(
    ("distance", "expected"), [(0.0, 147.5836), (20.0, 77.7509), (50.0, -9.5989)]
)
def test_long_upright_block_at_the_pole(distance, expected):
    # the two-dimensional closed form (k F / 2 pi)(angle of top - angle of bottom), k F = 500 nT
    corners = upright_block(
        centre=[0, 0, -10], length_m=1e5, width_m=40.0, azimuth_deg=0.0, depth_extent_m=100.0
    )
    magnetisation = induced_magnetisation([0, 0, 50000.0], susceptibility=0.01)
    down = block_field(distance, 0.0, 0.0, corners=corners, magnetisation=magnetisation)[2]
    assert down == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("strike", [0.0, 40.0, 130.0, 290.0])
@pytest.mark.parametrize("dip", [35.0, 90.0, 120.0])
@pytest.mark.parametrize("inclination", [-60.0, 0.0, 20.0])
def test_long_dyke_equals_the_two_dimensional_form(strike, dip, inclination):
    declination, k = -19.0, 0.02
    ambient = ambient_vector(
        strength_nT=23000.0, inclination_deg=inclination, declination_deg=declination
    )
    corners = dipping_block(
        centre=[5.0, 7.0, -10.0],
        length_m=4e4,
        width_m=16.0,
        strike_deg=strike,
        dip_deg=dip,
        depth_extent_m=80.0,
    )
    east, north, _ = points()
    magnetisation = induced_magnetisation(ambient, susceptibility=k)
    field = block_field(east, north, 0.0, corners=corners, magnetisation=magnetisation)
    expected = dyke_anomaly(
        profile_distance(east, north, point=[5.0, 7.0], strike_deg=strike),
        depth_m=10.0,
        bottom_depth_m=90.0,
        half_width_m=8.0,
        dip_deg=dip,
        susceptibility=k,
        strength_nT=23000.0,
        inclination_deg=inclination,
        profile_azimuth_deg=strike + 90.0 - declination,
    )
    # the ends, 20 km off, are worth (half width)(extent)/(20 km)^2 of k F: below 1e-3 nT
    np.testing.assert_allclose(projected_anomaly(field, ambient_nT=ambient), expected, atol=2e-3)


def test_two_halves_make_the_whole():
    shape = {"width_m": 12.0, "strike_deg": 0.0, "dip_deg": 70.0, "depth_extent_m": 30.0}
    where = points()

    def field(north, length):
        corners = dipping_block(centre=[0.0, north, -6.0], length_m=length, **shape)
        return np.array(block_field(*where, corners=corners, magnetisation=MAGNETISATION))

    np.testing.assert_allclose(field(-10.0, 20.0) + field(15.0, 30.0), field(5.0, 50.0), atol=1e-9)


def test_all_lengths_scaled_leave_a_block_unchanged():
    where = np.array(points())
    once = block_field(*where, corners=DIPPING, magnetisation=MAGNETISATION)
    scaled = block_field(*(3.0 * where), corners=3.0 * DIPPING, magnetisation=MAGNETISATION)
    np.testing.assert_allclose(np.array(scaled), np.array(once), atol=1e-10)


def test_outside_field_has_neither_sources_nor_curl():
    east, north, height = points(20, low=4.0)
    step = 1e-3

    def field(shift):
        moved = (east + shift[0], north + shift[1], height + shift[2])
        parts = block_field(*moved, corners=DIPPING, magnetisation=MAGNETISATION)
        return np.array([parts[1], parts[0], -parts[2]])  # towards east, north and up

    slopes = np.array(
        [(field(step * axis) - field(-step * axis)) / (2 * step) for axis in np.eye(3)]
    )
    largest = np.abs(slopes).max()
    assert largest > 1.0
    np.testing.assert_allclose(np.trace(slopes), 0.0, atol=1e-6 * largest)
    np.testing.assert_allclose(slopes, slopes.transpose(1, 0, 2), atol=1e-6 * largest)


def test_an_endless_slab_has_no_field():
    # the far sides leave (2 mu0 M / pi)(thickness / width): 5e-5 nT here
    corners = upright_block(
        centre=[0, 0, -5], length_m=1e8, width_m=1e8, azimuth_deg=20.0, depth_extent_m=10.0
    )
    field = block_field(3.0, -4.0, 1.0, corners=corners, magnetisation=MAGNETISATION)
    np.testing.assert_allclose(np.array(field), 0.0, atol=2e-4)


def test_far_away_a_block_is_a_dipole():
    corners = upright_block(
        centre=[0, 0, 5], length_m=10.0, width_m=10.0, azimuth_deg=0.0, depth_extent_m=10.0
    )
    where = (np.array([300.0, -50.0]), np.array([20.0, 400.0]), np.array([100.0, 250.0]))
    field = block_field(*where, corners=corners, magnetisation=MAGNETISATION)
    dipole = dipole_field(*where, centre=[0, 0, 0], moment=1000.0 * MAGNETISATION)
    # the next term of a cube is of order (10 / 300)^4 of the first
    np.testing.assert_allclose(np.array(field), np.array(dipole), rtol=2e-5, atol=1e-9)


def test_points_level_with_a_face_or_in_line_with_an_edge_are_finite():
    corners = upright_block(
        centre=[0, 0, -5], length_m=10.0, width_m=10.0, azimuth_deg=0.0, depth_extent_m=10.0
    )
    where = np.array([[5.0, 5.0, 20.0], [30.0, 5.0, 5.0], [-5.0, 3.0, -5.0]])
    field = np.array(block_field(*where, corners=corners, magnetisation=MAGNETISATION))
    assert np.isfinite(field).all()
    nearby = np.array(block_field(*(where + 1e-6), corners=corners, magnetisation=MAGNETISATION))
    np.testing.assert_allclose(field, nearby, atol=1e-4)


def test_points_keep_their_shape():
    east, north = np.meshgrid([0.0, 10.0, 20.0], [5.0, 6.0])
    parts = block_field(east, north, 3.0, corners=DIPPING, magnetisation=MAGNETISATION)
    assert [part.shape for part in parts] == [(2, 3)] * 3


@pytest.mark.parametrize(
    ("faces", "text"),
    [
        (BLOCK_FACES[:5], "two faces"),
        ((*BLOCK_FACES[:5], BLOCK_FACES[5][::-1]), "two faces"),
    ],
)
def test_faces_must_close_the_body(faces, text):
    with pytest.raises(InputError, match=text):
        polyhedron_field(0.0, 0.0, 9.0, corners=DIPPING, faces=faces, magnetisation=MAGNETISATION)


def test_faces_must_be_flat():
    bent = DIPPING.copy()
    bent[0, 2] += 0.5
    with pytest.raises(InputError, match="flat"):
        block_field(0.0, 0.0, 9.0, corners=bent, magnetisation=MAGNETISATION)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"length_m": 0.0}, "Length"),
        ({"width_m": -1.0}, "Width"),
        ({"depth_extent_m": np.inf}, "Depth extent"),
        ({"dip_deg": 0.0}, "Dip"),
    ],
)
def test_wrong_shapes(change, text):
    shape = {
        "length_m": 1.0,
        "width_m": 1.0,
        "strike_deg": 0.0,
        "dip_deg": 90.0,
        "depth_extent_m": 1.0,
    }
    with pytest.raises(InputError, match=text):
        dipping_block(centre=[0, 0, 0], **{**shape, **change})
