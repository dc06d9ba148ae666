"""Curves of bodies against the package's other formulas, their derivatives against differences."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import (
    ambient_vector,
    contact_anomaly,
    cylinder_anomaly,
    dipole_field,
    dyke_anomaly,
    dyke_field,
    dyke_index,
    sheet_anomaly,
)
from lodewalk.methods.inversion import KINDS, Ambient, body_curve

FIELD = {
    "dip_deg": 55.0, "susceptibility": 0.02, "strength_nT": 50000.0, "inclination_deg": 60.0,
    "profile_azimuth_deg": 30.0,
}  # fmt: skip
AMPLITUDE, INDEX = dyke_index(**FIELD)
DISTANCE = np.linspace(-60.0, 60.0, 41)
BODY = {
    "position_m": 3.0, "depth_m": 12.0, "half_width_m": 7.0, "bottom_depth_m": 40.0,
    "dip_deg": 55.0, "strength_nT_m": 14.0 * AMPLITUDE, "amplitude_nT": AMPLITUDE,
    "strength_nT_m2": 3e4, "strength_nT_m3": 3e5, "radial_nT_m3": 1e5, "index_angle_deg": INDEX,
}  # fmt: skip
AMBIENT = Ambient(50000.0, 60.0, 30.0)
LONG = [kind for kind in KINDS if kind != "sphere"]


@pytest.mark.parametrize(
    ("kind", "anomaly"),
    [
        ("dyke", lambda x: dyke_anomaly(x, depth_m=12.0, half_width_m=7.0, **FIELD)),
        (
            "finite dyke",
            lambda x: dyke_anomaly(x, depth_m=12.0, half_width_m=7.0, bottom_depth_m=40.0, **FIELD),
        ),
        ("contact", lambda x: contact_anomaly(x, depth_m=12.0, **FIELD)),
        ("step", lambda x: contact_anomaly(x, depth_m=12.0, bottom_depth_m=40.0, **FIELD)),
    ],
)
def test_long_bodies_are_those_of_the_formulas(kind, anomaly):
    curve, _ = body_curve(kind, DISTANCE, BODY)
    np.testing.assert_allclose(curve, anomaly(DISTANCE - 3.0), rtol=1e-11, atol=1e-11)


def test_sheet_and_cylinder_are_those_of_the_formulas():
    thick = 2.0 / np.sin(np.radians(55.0))
    curve, _ = body_curve("thin sheet", DISTANCE, {**BODY, "strength_nT_m": AMPLITUDE * thick})
    expected = sheet_anomaly(DISTANCE - 3.0, depth_m=12.0, thickness_m=2.0, **FIELD)
    np.testing.assert_allclose(curve, expected, rtol=1e-12)
    share = AMBIENT.share
    size = 0.5 * 0.02 * 50000.0 * share * 4.0**2
    angle = 2.0 * np.degrees(np.arctan2(np.sin(np.pi / 3), 0.5 * np.cos(np.pi / 6))) - 180.0
    body = {**BODY, "strength_nT_m2": size, "index_angle_deg": angle}
    curve, _ = body_curve("cylinder", DISTANCE, body)
    rest = {name: value for name, value in FIELD.items() if name != "dip_deg"}
    expected = cylinder_anomaly(DISTANCE - 3.0, depth_m=12.0, radius_m=4.0, **rest)
    np.testing.assert_allclose(curve, expected, rtol=1e-9, atol=1e-12)


def test_a_sphere_is_a_dipole_of_any_direction():
    # the profile runs east, the dipole has a part along the strike
    moment = np.array([300.0, 800.0, 1500.0])
    ambient = ambient_vector(strength_nT=1.0, inclination_deg=60.0, declination_deg=40.0)
    expected = np.tensordot(
        ambient, dipole_field(DISTANCE, 0.0, 0.0, centre=[3.0, 0.0, -12.0], moment=moment), axes=1
    )
    columns, _ = zip(
        *(
            body_curve(
                "sphere",
                DISTANCE,
                {**BODY, "strength_nT_m3": a, "radial_nT_m3": b, "index_angle_deg": c},
            )
            for a, b, c in ((1.0, 0.0, 0.0), (1.0, 0.0, 90.0), (1e-12, 1.0, 0.0))
        ),
        strict=True,
    )
    matrix = np.array(columns).T
    found, *_ = np.linalg.lstsq(matrix, expected, rcond=None)
    np.testing.assert_allclose(matrix @ found, expected, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("half_width", [7.0, 0.2])
@pytest.mark.parametrize(
    ("kind", "ambient"), [*((k, None) for k in KINDS), *((k, AMBIENT) for k in LONG)]
)
def test_derivatives_are_those_of_differences(kind, ambient, half_width):
    body = {**BODY, "half_width_m": half_width}
    rise = np.random.default_rng(1).normal(0.0, 1.0, DISTANCE.size)

    def curve(name, by):
        moved = {**body, name: body[name] + by}
        return body_curve(kind, DISTANCE, moved, rise_m=rise, ambient=ambient)[0]

    _, derivatives = body_curve(kind, DISTANCE, body, rise_m=rise, ambient=ambient)
    assert set(KINDS[kind].shape) < set(derivatives)
    for name, slope in derivatives.items():
        h = 1e-4 * max(abs(body[name]), 1.0)
        near, far = curve(name, h) - curve(name, -h), curve(name, 2 * h) - curve(name, -2 * h)
        differences = (8.0 * near - far) / (12.0 * h)
        assert np.abs(differences - slope).max() < 1e-7 * np.abs(slope).max(), name


def test_the_exact_difference_is_that_of_field_vectors():
    down, along = np.sin(np.radians(60.0)), np.cos(np.radians(60.0)) * np.cos(np.radians(30.0))
    magnetisation = 40.0
    fields = dyke_field(
        DISTANCE - 3.0, depth_m=12.0, half_width_m=7.0, dip_deg=55.0,
        magnetisation_along=magnetisation * along, magnetisation_down=magnetisation * down,
    )  # fmt: skip
    across = 50000.0 * np.cos(np.radians(60.0)) * np.sin(np.radians(30.0))
    whole = np.sqrt(
        across**2 + (50000.0 * along + fields[0]) ** 2 + (50000.0 * down + fields[1]) ** 2
    )
    susceptibility = magnetisation * 4e-7 * np.pi / 50000e-9
    size = 14.0 * AMPLITUDE * susceptibility / 0.02
    exact, _ = body_curve("dyke", DISTANCE, {**BODY, "strength_nT_m": size}, ambient=AMBIENT)
    assert np.abs(exact).max() > 3000.0
    np.testing.assert_allclose(exact, whole - 50000.0, rtol=1e-6)


def test_each_reading_has_its_own_height():
    lifted, _ = body_curve("contact", DISTANCE, BODY, rise_m=2.0)
    deeper, _ = body_curve("contact", DISTANCE, {**BODY, "depth_m": 14.0})
    # a contact's level is free: only the differences between readings tell
    np.testing.assert_allclose(np.diff(lifted), np.diff(deeper), rtol=1e-9)


def test_what_is_no_body_is_refused():
    with pytest.raises(InputError, match="There are thin sheet, dyke"):
        body_curve("dike", DISTANCE, BODY)
    with pytest.raises(InputError, match="needs position_m, depth_m"):
        body_curve("dyke", DISTANCE, {"position_m": 0.0})
    with pytest.raises(InputError, match="below its top"):
        body_curve("step", DISTANCE, {**BODY, "bottom_depth_m": 5.0})
    with pytest.raises(InputError, match="along the strike"):
        Ambient(50000.0, 0.0, 90.0)
