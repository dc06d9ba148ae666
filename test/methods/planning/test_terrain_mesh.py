"""Heights, slope and length over the ground, against planes and a parabola by hand."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.interpolate import RegularGridInterpolator

from lodewalk.errors import InputError
from lodewalk.methods.planning.terrain_mesh import (
    mesh_of_nodes,
    over_ground,
    relative_pace,
    slope_deg,
    stations,
)


def nodes(east, north, height):
    """Return the nodes row by row from north to south."""
    first, second = np.meshgrid(east, north[::-1])
    return first.ravel(), second.ravel(), height(first, second).ravel()


def test_bilinear_heights_are_those_of_an_independent_interpolator():
    rng = np.random.default_rng(3)
    east, north = np.arange(100.0, 200, 10), np.arange(-40.0, 40, 5)
    values = rng.normal(0, 20, (north.size, east.size))
    mesh = mesh_of_nodes(*nodes(east, north, lambda e, n: values[::-1]))
    other = RegularGridInterpolator((north, east), values)
    places = rng.uniform([100, -40], [190, 35], (500, 2))
    assert np.allclose(mesh.at(*places.T), other(places[:, ::-1]), atol=1e-9)


def test_off_the_mesh_and_beside_a_missing_node_there_is_no_height():
    east = north = np.arange(0.0, 30, 10)
    first, second, height = nodes(east, north, lambda e, n: e + n)
    height[(first == 20) & (second == 20)] = np.nan
    mesh = mesh_of_nodes(first, second, height)
    found = mesh.at([-1.0, 25.0, 15.0, 10.0, 20.0], [5.0, 5.0, 15.0, 15.0, 10.0])
    assert np.isnan(found[:3]).all()
    assert found[3:].tolist() == [25.0, 30.0]


@pytest.mark.parametrize(
    ("dip", "towards"), [(0.0, 0.0), (12.5, 30.0), (45.0, 200.0), (60.0, 330.0)]
)
def test_slope_of_a_plane_is_its_dip(dip, towards):
    rise = -np.tan(np.radians(dip))
    east, north = rise * np.sin(np.radians(towards)), rise * np.cos(np.radians(towards))

    def height(e, n):
        return 50 + east * e + north * n

    mesh = mesh_of_nodes(*nodes(np.arange(0.0, 200, 20), np.arange(0.0, 200, 25), height))
    at = np.array([33.0, 90.0, 121.0]), np.array([44.0, 91.0, 150.0])
    around = [mesh.at(at[0] + de, at[1] + dn) for de, dn in ((10, 0), (-10, 0), (0, 10), (0, -10))]
    assert np.allclose(slope_deg(*around, step_m=10.0), dip, atol=1e-9)


def test_length_over_a_parabola_is_its_arc():
    along = stations(np.array([[0.0, 0.0]]), np.array([[0.0, 300.0]]), step_m=1.0)
    found = over_ground(along.northing_m**2 / 400, along)
    arc = quad(lambda x: np.hypot(1, x / 200), 0, 300)[0]
    assert found.length_m[0] == pytest.approx(arc, rel=1e-5)
    assert found.steepest_deg[0] == pytest.approx(np.degrees(np.arctan(1.5)), abs=0.2)
    # Time there and back by quadrature of Tobler's own formula, km/h beside 6 exp(-0.175).
    level = 6 * np.exp(-3.5 * 0.05)
    both = quad(lambda x: 1 / (6 * np.exp(-3.5 * abs(x / 200 + 0.05))), 0, 300)[0]
    both += quad(lambda x: 1 / (6 * np.exp(-3.5 * abs(-x / 200 + 0.05))), 0, 300, points=[10])[0]
    assert found.slowness[0] == pytest.approx(both / 2 / 300 * level, rel=1e-4)


def test_each_piece_has_its_own_figures():
    first = np.array([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]])
    second = np.array([[0.0, 40.0], [10.0, 40.0], [20.0, 90.0]])
    along = stations(first, second, step_m=20.0)
    height = np.where(along.easting_m == 10, 0.75 * along.northing_m, 5.0)
    height[along.easting_m == 20] = np.nan
    found = over_ground(height, along)
    assert found.length_m.tolist() == pytest.approx([40, 50, 90])
    assert found.slowness[[0, 2]].tolist() == [1.0, 1.0]
    assert found.slowness[1] > 5
    assert found.steepest_deg[:2].tolist() == pytest.approx([0, 36.87], abs=0.01)
    assert np.isnan(found.steepest_deg[2])


def test_tobler_s_published_paces():
    # 6 km/h at 5 % downhill, 5.037 km/h on the level, as the report prints them.
    assert 5.037 * relative_pace(-0.05) == pytest.approx(6.0, abs=2e-3)
    # The table of paces that is widely printed with it: degrees and km/h, rounded.
    for degrees, km_h in ((-30, 0.95), (-10, 3.86), (-5, 5.26), (1, 4.74), (10, 2.72), (25, 0.98)):
        grade = np.tan(np.radians(degrees))
        assert 6 * np.exp(-0.175) * relative_pace(grade) == pytest.approx(km_h, abs=0.006)
    # Uphill and downhill alike about that optimum.
    assert relative_pace(0.10) == pytest.approx(relative_pace(-0.20))


@pytest.mark.parametrize(
    "bad",
    [
        ([0, 1, 2], [0, 0, 0], [1, 1, 1]),
        ([0, 1, 0, 1, 0], [1, 1, 0, 0, -1], [0] * 5),
        ([0, 1, 5, 0, 1, 5], [1, 1, 1, 0, 0, 0], [0] * 6),
        ([0, 1, 0, 1], [0, 0, 1, 1], [0] * 4),
        ([0, 1, 0.5, 1.5], [1, 1, 0, 0], [0] * 4),
    ],
)
def test_nodes_that_form_no_mesh_are_refused(bad):
    with pytest.raises(InputError, match="regular mesh"):
        mesh_of_nodes(*bad)
