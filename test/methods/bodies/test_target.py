"""Anomalies of the bodies sought against closed forms and sums of dipoles."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import (
    Body,
    ambient_vector,
    body_anomaly,
    body_outline,
    contact_anomaly,
    dipole_field,
    dyke_anomaly,
    exact_anomaly,
    profile_distance,
    projected_anomaly,
    remanent_magnetisation,
)
from lodewalk.methods.bodies.target import KINDS

AMBIENT = ambient_vector(strength_nT=41000.0, inclination_deg=-52.0, declination_deg=14.0)
POLE = np.array([0.0, 0.0, 50000.0])
PLACES = np.random.default_rng(5).uniform(-60.0, 60.0, (2, 25))
WEAK = 1e-6
BASE = {"strength_nT": 41000.0, "inclination_deg": -52.0}


def at(body, *, k=WEAK, ambient=AMBIENT, height=2.0, where=PLACES, remanence=None):
    return body_anomaly(
        body, *where, height, ambient_nT=ambient, susceptibility=k, remanence_A_m=remanence
    )


def dipole_sum(points, volume, magnetisation, *, ambient=AMBIENT, height=2.0):
    """Sum equal dipoles at points (easting, northing, depth) that fill a body."""
    total = np.zeros((3, PLACES.shape[1]))
    for east, north, depth in points:
        centre, moment = [east, north, -depth], magnetisation * volume / len(points)
        total += np.array(dipole_field(*PLACES, height, centre=centre, moment=moment))
    return exact_anomaly(tuple(total), ambient_nT=ambient)


@pytest.mark.parametrize("kind", ["dyke", "sheet", "prism"])
@pytest.mark.parametrize(("strike", "dip"), [(0.0, 90.0), (70.0, 40.0), (215.0, 120.0)])
def test_long_blocks_are_dykes(kind, strike, dip):
    body = Body(
        kind=kind,
        depth_m=8.0,
        width_m=14.0,
        length_m=4e4,
        depth_extent_m=60.0,
        strike_deg=strike,
        dip_deg=dip,
    )
    expected = dyke_anomaly(
        profile_distance(*PLACES, point=[0.0, 0.0], strike_deg=strike),
        depth_m=10.0,
        bottom_depth_m=70.0,
        half_width_m=7.0,
        dip_deg=dip,
        susceptibility=WEAK,
        profile_azimuth_deg=strike + 90.0 - 14.0,
        **BASE,
    )
    np.testing.assert_allclose(at(body), expected, atol=1e-5 * np.abs(expected).max())


@pytest.mark.parametrize(("strike", "dip"), [(0.0, 90.0), (70.0, 40.0), (215.0, 120.0)])
def test_contact_is_the_closed_form(strike, dip):
    body = Body(kind="contact", depth_m=8.0, depth_extent_m=60.0, strike_deg=strike, dip_deg=dip)
    expected = contact_anomaly(
        profile_distance(*PLACES, point=[0.0, 0.0], strike_deg=strike),
        depth_m=10.0,
        bottom_depth_m=70.0,
        dip_deg=dip,
        susceptibility=WEAK,
        profile_azimuth_deg=strike + 90.0 - 14.0,
        **BASE,
    )
    # the far edge, 100 km off, leaves k F (60 m / 100 km) / pi
    np.testing.assert_allclose(at(body), expected, atol=2e-4 * WEAK * 41000.0)


def test_sphere_is_a_demagnetised_dipole():
    body = Body(kind="sphere", depth_m=18.0, radius_m=10.0)
    origin = np.zeros((2, 1))
    strong = at(body, k=0.5, ambient=POLE, where=origin)
    assert strong == pytest.approx(1785.714, rel=1e-6)  # its field is along that at the pole


def test_pipe_on_its_axis():
    # closed form of a round cylinder magnetised along its axis
    body = Body(kind="pipe", depth_m=8.0, radius_m=6.0, depth_extent_m=90.0)
    faces = [z / np.hypot(z, 6.0) for z in (10.0, 100.0)]
    expected = 0.5 * WEAK * 50000.0 * (faces[1] - faces[0])
    got = at(body, ambient=POLE, where=np.zeros((2, 1)))
    assert got == pytest.approx(expected, rel=1e-3)


def test_deep_thin_pipe_is_a_pole():
    # half-width of a pole over its depth, from the table of closed forms
    body = Body(kind="pipe", depth_m=8.0, radius_m=0.05, depth_extent_m=1e5)
    peak, side = at(body, ambient=POLE, where=np.array([[0.0, 7.66421], [0.0, 0.0]]))
    assert side / peak == pytest.approx(0.5, abs=1e-3)


def test_pipe_equals_a_sum_of_dipoles():
    body = Body(kind="pipe", depth_m=9.0, radius_m=5.0, depth_extent_m=30.0)
    radii = 5.0 * np.sqrt((np.arange(10) + 0.5) / 10)
    turns = 2.0 * np.pi * (np.arange(24) + 0.5) / 24
    points = [
        (radius * np.sin(turn), radius * np.cos(turn), depth)
        for radius in radii
        for turn in turns
        for depth in 9.0 + 0.5 * (np.arange(60) + 0.5)
    ]
    magnetisation = WEAK * AMBIENT * 1e-9 / 1.25663706127e-6
    expected = dipole_sum(points, np.pi * 25.0 * 30.0, magnetisation)
    np.testing.assert_allclose(at(body), expected, atol=5e-3 * np.abs(expected).max())


@pytest.mark.parametrize(("dip", "opening", "strike"), [(90.0, 60.0, 0.0), (70.0, 80.0, 125.0)])
def test_folded_bed_equals_a_sum_of_dipoles(dip, opening, strike):
    # a point is in the bed where it lies under the hinge, between the wedge of its outer surfaces
    # and the same wedge moved inwards: worked out by distances from planes, not from corners
    body = Body(
        kind="folded bed",
        depth_m=9.0,
        width_m=5.0,
        length_m=50.0,
        depth_extent_m=25.0,
        strike_deg=strike,
        dip_deg=dip,
        opening_deg=opening,
    )
    cell = 0.5
    across = np.arange(-60.0, 60.0, cell) + cell / 2
    depth = np.arange(9.0, 34.0, cell) + cell / 2
    x, z = np.meshgrid(across, depth)
    inside = np.ones(x.shape, dtype=bool)
    distances = []
    for side, angle in ((1.0, dip + opening / 2), (-1.0, dip - opening / 2)):
        turn = np.radians(angle)  # limb runs along (cos, sin); distance from it, inwards positive
        distances.append(side * (x * np.sin(turn) - (z - 9.0) * np.cos(turn)))
        inside &= distances[-1] > 0.0
    inside &= np.minimum(*distances) < 5.0
    turn = np.radians(strike)
    points = [
        (u * np.cos(turn) + v * np.sin(turn), -u * np.sin(turn) + v * np.cos(turn), w)
        for u, w in zip(x[inside], z[inside], strict=True)
        for v in np.arange(-25.0, 25.0, 1.0) + 0.5
    ]
    magnetisation = WEAK * AMBIENT * 1e-9 / 1.25663706127e-6
    expected = dipole_sum(points, inside.sum() * cell**2 * 50.0, magnetisation)
    np.testing.assert_allclose(at(body), expected, atol=0.02 * np.abs(expected).max())


def test_folded_bed_scales_and_mirrors():
    shape = {"kind": "folded bed", "width_m": 4.0, "depth_extent_m": 30.0, "length_m": 70.0}
    body = Body(depth_m=9.0, dip_deg=75.0, **shape)
    twice = Body(
        kind="folded bed",
        depth_m=18.0,
        dip_deg=75.0,
        width_m=8.0,
        depth_extent_m=60.0,
        length_m=140.0,
    )
    np.testing.assert_allclose(at(twice, height=4.0, where=2.0 * PLACES), at(body), rtol=1e-8)
    turned = Body(depth_m=9.0, dip_deg=105.0, strike_deg=180.0, **shape)
    np.testing.assert_allclose(at(turned), at(body), rtol=1e-8)


@pytest.mark.parametrize("kind", KINDS)
def test_anomalies_of_weak_bodies_obey_laplace(kind):
    body = Body(kind=kind, depth_m=12.0, dip_deg=75.0, strike_deg=30.0)
    step = 0.5

    def moved(east=0.0, north=0.0, up=0.0):
        return at(body, where=PLACES + np.array([[east], [north]]), height=6.0 + up)

    middle = moved()
    parts = [
        moved(**{axis: step}) - 2.0 * middle + moved(**{axis: -step})
        for axis in ("east", "north", "up")
    ]
    largest = np.abs(parts).max()
    np.testing.assert_allclose(sum(parts), 0.0, atol=0.02 * largest)


def test_remanence_along_the_field_adds_to_the_induced():
    body = Body(strike_deg=20.0, dip_deg=60.0)
    remanence = remanent_magnetisation(AMBIENT, susceptibility=WEAK, koenigsberger=3.0)
    np.testing.assert_allclose(at(body, remanence=remanence), 4.0 * at(body), rtol=1e-6)


def test_remanence_against_the_field_turns_the_sign():
    body = Body(kind="pipe")
    field = {"inclination_deg": 52.0, "declination_deg": 194.0}
    remanence = remanent_magnetisation(AMBIENT, susceptibility=WEAK, koenigsberger=2.0, **field)
    np.testing.assert_allclose(at(body, remanence=remanence), -at(body), rtol=1e-6)


def test_strong_sheet_across_the_field_is_demagnetised():
    # a wide level plate of k = 1 in a field down: half the magnetisation, whole along the plate
    plate = Body(kind="sheet", width_m=4000.0, length_m=4000.0, depth_extent_m=1.0)
    upright = at(plate, k=1.0, ambient=POLE, where=np.array([[2010.0], [0.0]]))
    weak = at(plate, ambient=POLE, where=np.array([[2010.0], [0.0]]))
    # the strong field turns as well: b^2 / 2 F = 330^2 / 10^5 = 1 nT of 280
    assert upright / (weak * 1e6) == pytest.approx(0.5, rel=5e-3)


def test_exact_anomaly_of_a_strong_body_is_not_its_projection():
    body = Body(kind="sphere", depth_m=3.0, radius_m=2.0)
    moment = 4 / 3 * np.pi * 8.0 * 3.0 / 2.0 * AMBIENT * 1e-9 / 1.25663706127e-6
    field = np.array(dipole_field(*PLACES, 2.0, centre=[0, 0, -3.0], moment=moment))
    expected = np.linalg.norm(AMBIENT[:, None] + field, axis=0) - np.linalg.norm(AMBIENT)
    np.testing.assert_allclose(at(body, k=3.0), expected, atol=1e-8)
    projected = projected_anomaly(tuple(field), ambient_nT=AMBIENT)
    assert np.abs(projected - expected).max() > 1.0


def test_points_keep_their_shape():
    east, north = np.meshgrid([0.0, 10.0, 20.0], [5.0, 6.0])
    for kind in KINDS:
        got = body_anomaly(
            Body(kind=kind, depth_m=12.0),
            east,
            north,
            2.0,
            ambient_nT=AMBIENT,
            susceptibility=0.01,
        )
        assert got.shape == (2, 3)


@pytest.mark.parametrize("kind", KINDS)
def test_outlines(kind):
    rings = body_outline(Body(kind=kind, strike_deg=90.0, length_m=80.0, radius_m=7.0))
    corners = np.vstack(rings)
    assert corners.shape[1] == 2
    reach = {"sphere": 7.0, "pipe": 7.0, "contact": 100.0}.get(kind, 40.0)
    assert corners[:, 0].max() == pytest.approx(reach, abs=0.01)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"kind": "lens"}, "Kinds are dyke, sheet"),
        ({"depth_m": 0.0}, "depth_m must be above zero"),
        ({"dip_deg": 180.0}, "Dip"),
        ({"kind": "folded bed", "opening_deg": 150.0, "dip_deg": 60.0}, "go down from its hinge"),
        ({"kind": "folded bed", "width_m": 150.0}, "part above its bottom"),
    ],
)
def test_wrong_bodies(change, text):
    with pytest.raises(InputError, match=text):
        Body(**change)


def test_sensor_in_the_sphere():
    with pytest.raises(InputError, match="above the body"):
        at(Body(kind="sphere", depth_m=5.0, radius_m=10.0))
