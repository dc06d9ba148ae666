"""Demagnetisation and remanence against known shapes and definitions."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import (
    ambient_vector,
    body_magnetisation,
    demagnetisation_factors,
    dipole_field,
    induced_magnetisation,
    remanent_magnetisation,
    shaped_magnetisation,
)


@pytest.mark.parametrize(
    ("axes", "expected"),
    [
        ([2.0, 2.0, 2.0], [1 / 3, 1 / 3, 1 / 3]),
        ([np.inf, 3.0, 3.0], [0.0, 0.5, 0.5]),
        ([np.inf, 1.0, 3.0], [0.0, 0.75, 0.25]),  # elliptic cylinder: b / (a + b) across a
        ([np.inf, np.inf, 1.0], [0.0, 0.0, 1.0]),
    ],
)
def test_factors_of_known_shapes(axes, expected):
    # an infinite axis is a thousand times the next, so (ln 1000) / 1e6 and pi / 2000 remain
    np.testing.assert_allclose(demagnetisation_factors(axes), expected, atol=2e-3)


def test_factor_of_a_prolate_spheroid():
    # closed form: ((1 - e^2) / e^2) (atanh(e) / e - 1)
    e = np.sqrt(1.0 - 1.0 / 16.0)
    along = (1.0 - e**2) / e**2 * (np.arctanh(e) / e - 1.0)
    got = demagnetisation_factors([1.0, 4.0, 1.0])
    np.testing.assert_allclose(got, [(1 - along) / 2, along, (1 - along) / 2], rtol=1e-9)


def test_without_factors_it_is_the_induced_one():
    ambient = ambient_vector(strength_nT=41000.0, inclination_deg=-33.0, declination_deg=12.0)
    np.testing.assert_allclose(
        body_magnetisation(ambient, susceptibility=0.03),
        induced_magnetisation(ambient, susceptibility=0.03),
        rtol=1e-12,
    )


def test_each_axis_has_its_own_factor():
    # a plate of k = 1 standing north-south: the part across, east, is halved; k F / mu0 whole
    got = body_magnetisation(
        [20000.0, 30000.0, 40000.0],
        susceptibility=1.0,
        remanence_A_m=[1.0, 2.0, 3.0],
        factors=[0.0, 1.0, 0.0],
    )
    whole = np.array([20.0, 30.0, 40.0]) * 1e-6 / 1.25663706127e-6 + [1.0, 2.0, 3.0]
    np.testing.assert_allclose(got, whole / [1.0, 2.0, 1.0])


def test_turned_axes_turn_the_answer():
    turn = np.radians(37.0)
    frame = np.array(
        [[np.cos(turn), np.sin(turn), 0], [-np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]]
    )
    ambient = np.array([15000.0, -4000.0, 30000.0])
    plain = body_magnetisation(frame @ ambient, susceptibility=0.7, factors=[0.1, 0.6, 0.3])
    turned = body_magnetisation(ambient, susceptibility=0.7, factors=[0.1, 0.6, 0.3], axes=frame)
    np.testing.assert_allclose(frame @ turned, plain)


def test_remanence_along_the_field_multiplies_the_induced_one():
    ambient = ambient_vector(strength_nT=41000.0, inclination_deg=-33.0, declination_deg=12.0)
    got = remanent_magnetisation(ambient, susceptibility=0.03, koenigsberger=2.5)
    expected = 2.5 * induced_magnetisation(ambient, susceptibility=0.03)
    np.testing.assert_allclose(got, expected, rtol=1e-9)


def test_remanence_in_a_direction_of_its_own():
    got = remanent_magnetisation(
        [0.0, 0.0, 50000.0],
        susceptibility=0.01,
        koenigsberger=2.0,
        inclination_deg=-30.0,
        declination_deg=180.0,
    )
    size = 2.0 * 0.01 * 50000e-9 / 1.25663706127e-6
    np.testing.assert_allclose(got, [-size * np.sqrt(0.75), 0.0, -size / 2], atol=1e-12)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: demagnetisation_factors([1.0, 0.0, 1.0]), "three axes"),
        (lambda: demagnetisation_factors([np.inf] * 3), "three axes"),
        (lambda: body_magnetisation([0, 0, 1], susceptibility=-1.0), "above -1 SI"),
        (
            lambda: remanent_magnetisation([0, 0, 1], susceptibility=0.1, koenigsberger=-1.0),
            "negative",
        ),
    ],
)
def test_wrong_arguments(call, text):
    with pytest.raises(InputError, match=text):
        call()


def test_demagnetisation_from_a_susceptibility_of_a_tenth_on():
    ambient = np.array([0.0, 0.0, 50_000.0])
    weak = shaped_magnetisation(ambient, susceptibility=0.1, axes_m=[1.0, 1.0, 1.0])
    assert weak.told == ""
    np.testing.assert_allclose(
        weak.magnetisation, induced_magnetisation(ambient, susceptibility=0.1)
    )
    # the published peak of the demagnetised sphere: radius 10, 20 m down
    strong = shaped_magnetisation(ambient, susceptibility=0.5, axes_m=[10.0, 10.0, 10.0])
    moment = 4.0 / 3.0 * np.pi * 1000.0 * strong.magnetisation
    down = dipole_field(0.0, 0.0, 20.0, centre=[0, 0, 0], moment=moment)[2]
    assert float(down) == pytest.approx(1785.714, rel=1e-6)
    assert strong.told == "Susceptibility 0.5: demagnetisation takes 14 % off."


def test_remanence_is_demagnetised_as_well():
    plate = shaped_magnetisation(
        [30_000.0, 0.0, 0.0], susceptibility=1.0, axes_m=[1.0, np.inf, np.inf],
        remanence_A_m=[10.0, 0.0, 0.0],
    )  # fmt: skip
    undamped = 30_000e-9 / (4e-7 * np.pi) + 10.0
    assert plate.magnetisation[0] == pytest.approx(undamped / 2.0, rel=2e-3)
