"""Derivatives in closed form against differences of fields worked out another way."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import (
    ambient_vector,
    anomaly_slopes,
    cylinder_anomaly,
    cylinder_field,
    cylinder_slopes,
    dipole_field,
    dipole_slopes,
    exact_anomaly,
    finite_polygon_field,
    finite_polygon_slopes,
    polygon_field,
    polygon_slopes,
    polyhedron_field,
    prism_slopes,
    projected_anomaly,
)

AMBIENT = ambient_vector(strength_nT=48_000.0, inclination_deg=-52.0, declination_deg=9.0)
SECTION = np.array([[-22.0, 9.0], [14.0, 12.0], [25.0, 70.0], [-4.0, 40.0], [-19.0, 55.0]])
OWN = np.array([0.7, -0.4, 1.3])
POINT = (np.array([-35.0, 3.0, 14.5, 60.0]), np.array([2.0, -41.0, 6.0, 33.0]), np.zeros(4))


def drawn_out(distance, offset, depth, corners, ends, magnetisation):
    """Return the field of the body as that of a polyhedron: along, along the strike, down."""
    section = np.asarray(corners, dtype=float)
    following = np.roll(section, -1, axis=0)
    if np.sum(section[:, 0] * following[:, 1] - section[:, 1] * following[:, 0]) < 0.0:
        section = section[::-1]
    count = len(section)
    # easting along the profile, northing along the strike to its left, height upwards
    shape = [[x, -y, -z] for y in ends for x, z in section]
    faces = [tuple(range(count)), tuple(range(count, 2 * count))[::-1]]
    faces += [(count + i, count + (i + 1) % count, (i + 1) % count, i) for i in range(count)]
    along, strike, down = magnetisation
    left, forward, deep = polyhedron_field(
        distance, -offset, -depth, corners=shape, faces=faces, magnetisation=[-strike, along, down]
    )
    return forward, -left, deep


def central(function, values, step=1e-3):
    """Return derivatives by differences of the fourth order, one row a value."""
    values = np.asarray(values, dtype=float)
    found = []
    for i in range(values.size):
        parts = []
        for k in (-2, -1, 1, 2):
            moved = values.copy()
            moved.flat[i] += k * step
            parts.append(np.array(function(moved)))
        found.append((parts[0] - 8 * parts[1] + 8 * parts[2] - parts[3]) / (12 * step))
    return np.array(found)


def close(found, expected, rtol=1e-7):
    np.testing.assert_allclose(found, expected, rtol=rtol, atol=rtol * np.abs(expected).max())


def plain_prism(points, bounds, own):
    """Return the prism's field as the sum over its corners, for complex bounds as well."""
    tensor = np.zeros((3, 3, *np.shape(points[0])), dtype=complex)
    for corner in np.ndindex(2, 2, 2):
        x = [bounds[2 * i + corner[i]] - points[i] for i in range(3)]
        r = np.sqrt(x[0] ** 2 + x[1] ** 2 + x[2] ** 2)
        sign = (-1.0) ** (sum(corner) + 1)
        for i in range(3):
            j, k = (i + 1) % 3, (i + 2) % 3
            tensor[i, i] -= sign * np.arctan(x[j] * x[k] / (x[i] * r))
            tensor[i, j] += sign * np.log(x[k] + r)
            tensor[j, i] = tensor[i, j]
    east, north, up = 100.0 * np.einsum("ij...,j->i...", tensor, [own[1], own[0], -own[2]])
    return np.array([north, east, -up])


def test_prism_by_complex_steps():
    points = (*POINT[:2], np.array([3.0, 1.0, 2.0, 5.0]))
    bounds = np.array([-12.0, 9.0, -20.0, 17.0, -40.0, -7.0])
    found = prism_slopes(*points, bounds=bounds, magnetisation=OWN)
    for i in range(9):
        values = np.concatenate([bounds, OWN]).astype(complex)
        values[i] += 1e-30j
        expected = plain_prism(points, values[:6], values[6:]).imag / 1e-30
        close(found[i], expected, rtol=1e-9)


def complex_dipole(values, points):
    """Return the dipole's field for complex place and moment (north, east, down)."""
    r = np.array([points[1] - values[1], points[0] - values[0], values[2] - points[2]])
    square = (r**2).sum(axis=0)
    along = np.einsum("i,i...->...", values[3:], r)
    return 100.0 * (3.0 * along * r / square - values[3:, None]) / square**1.5


def test_dipole_by_complex_steps():
    points = (*POINT[:2], np.array([3.0, 1.0, 2.0, 5.0]))
    values = np.array([4.0, -3.0, -25.0, 800.0, -350.0, 1200.0])
    found = dipole_slopes(*points, centre=values[:3], moment=values[3:])
    for i in range(6):
        moved = values.astype(complex)
        moved[i] += 1e-30j
        # the field constant stands to 3e-10 of 100
        close(found[i], complex_dipole(moved, points).imag / 1e-30, rtol=1e-9)


def test_cylinder_is_the_published_one_and_its_slopes_those_of_the_field():
    distance = np.linspace(-60.0, 60.0, 7)
    ambient = ambient_vector(strength_nT=50_000.0, inclination_deg=35.0, declination_deg=-70.0)
    moment = np.pi * 10.0**2 * 0.01 * ambient * 1e-9 / (4e-7 * np.pi)
    along, down = cylinder_field(
        distance, 0.0, axis=[3.0, 22.0], moment_along=moment[0], moment_down=moment[2]
    )
    anomaly = projected_anomaly((along, 0.0 * along, down), ambient_nT=ambient)
    expected = cylinder_anomaly(
        distance - 3.0, depth_m=22.0, radius_m=10.0, susceptibility=0.01, strength_nT=50_000.0,
        inclination_deg=35.0, profile_azimuth_deg=70.0,
    )  # fmt: skip
    close(anomaly, expected, rtol=1e-9)

    def field(v):
        return cylinder_field(distance, 0.0, axis=v[:2], moment_along=v[2], moment_down=v[3])

    values = [3.0, 22.0, 40.0, -25.0]
    found = cylinder_slopes(distance, 0.0, axis=[3.0, 22.0], moment_along=40.0, moment_down=-25.0)
    close(found, central(field, values))


@pytest.mark.parametrize("turned", [False, True])
def test_polygon_by_differences_of_the_real_formula(turned):
    corners = SECTION[::-1] if turned else SECTION
    values = np.concatenate([corners.ravel(), [0.7, 1.3]])

    def field(v):
        return polygon_field(
            POINT[0], 0.0, corners=v[:-2].reshape(-1, 2), magnetisation_along=v[-2],
            magnetisation_down=v[-1],
        )  # fmt: skip

    found = polygon_slopes(
        POINT[0], 0.0, corners=corners, magnetisation_along=0.7, magnetisation_down=1.3
    )
    close(found, central(field, values))


def test_finite_polygon_is_the_polyhedron():
    field = finite_polygon_field(*POINT, corners=SECTION, ends=(-18.0, 27.0), magnetisation=OWN)
    close(np.array(field), np.array(drawn_out(*POINT, SECTION, (-18.0, 27.0), OWN)), rtol=1e-11)


@pytest.mark.parametrize("turned", [False, True])
def test_finite_polygon_by_differences_of_the_polyhedron(turned):
    corners = SECTION[::-1] if turned else SECTION
    values = np.concatenate([corners.ravel(), [-18.0, 27.0], OWN])

    def field(v):
        return drawn_out(*POINT, v[:-5].reshape(-1, 2), (v[-5], v[-4]), v[-3:])

    found = finite_polygon_slopes(*POINT, corners=corners, ends=(-18.0, 27.0), magnetisation=OWN)
    close(found, central(field, values))


def test_far_ends_leave_the_slopes_of_the_endless_polygon():
    found = finite_polygon_slopes(
        POINT[0], 0.0, 0.0, corners=SECTION, ends=(-1e6, 1e6), magnetisation=[0.7, 0.3, 1.3]
    )
    expected = polygon_slopes(
        POINT[0], 0.0, corners=SECTION, magnetisation_along=0.7, magnetisation_down=1.3
    )
    close(found[:10, [0, 2]], expected[:10], rtol=1e-6)


@pytest.mark.parametrize("exact", [True, False])
def test_slopes_of_the_anomaly(exact):
    # a field of a fifth of the ambient one
    centre, moment = np.array([0.0, 0.0, -8.0]), np.array([3e4, -2e4, 4e4])
    points = (np.array([0.0, 5.0]), np.array([2.0, -6.0]), np.zeros(2))

    def anomaly(v):
        field = dipole_field(*points, centre=v[:3], moment=v[3:])
        return (exact_anomaly if exact else projected_anomaly)(field, ambient_nT=AMBIENT)

    found = anomaly_slopes(
        dipole_field(*points, centre=centre, moment=moment),
        dipole_slopes(*points, centre=centre, moment=moment),
        ambient_nT=AMBIENT,
        exact=exact,
    )
    close(found[:3], central(anomaly, np.concatenate([centre, moment]))[:3])
    close(found[3:], central(anomaly, np.concatenate([centre, moment]), 0.5)[3:])


@pytest.mark.parametrize("corners", [[[0, 1], [1, 1]], [[0, 1], [1, 1], [2, 1]]])
def test_a_section_has_an_area(corners):
    with pytest.raises(InputError, match="area"):
        polygon_slopes(0.0, 0.0, corners=corners, magnetisation_along=1.0, magnetisation_down=0.0)


def test_a_body_begins_before_it_ends():
    with pytest.raises(InputError, match="begin before"):
        finite_polygon_field(
            0.0, 0.0, 0.0, corners=SECTION, ends=(5.0, 5.0), magnetisation=[0, 0, 1]
        )
