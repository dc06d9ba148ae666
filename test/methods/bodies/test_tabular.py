"""Thin sheet, contact and step against closed forms, the dyke and identities."""

import csv
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import contact_anomaly, dyke_anomaly, sheet_anomaly

PUBLISHED = Path(__file__).parents[2] / "published"
POLE = {
    "dip_deg": 90.0,
    "susceptibility": 0.01,
    "strength_nT": 50000.0,
    "inclination_deg": 90.0,
    "profile_azimuth_deg": 0.0,
}
FIELDS = [
    {
        "dip_deg": dip,
        "susceptibility": 0.02,
        "strength_nT": 23000.0,
        "inclination_deg": inclination,
        "profile_azimuth_deg": azimuth,
    }
    for dip in (25.0, 90.0, 140.0)
    for inclination, azimuth in ((-60.0, 10.0), (0.0, 55.0), (35.0, 170.0), (90.0, 0.0))
]
X = np.linspace(-70.0, 90.0, 33)

with (PUBLISHED / "closed_form_checks.csv").open(newline="") as stream:
    CLOSED = {row["id"]: float(row["value"]) for row in csv.DictReader(stream)}


def test_thin_sheet_peak():
    peak = sheet_anomaly(0.0, depth_m=10.0, thickness_m=2.0, **POLE)
    assert peak == pytest.approx(CLOSED["A5"], rel=1e-6)


def test_half_width_of_a_thin_sheet():
    x = np.array([0.0, CLOSED["HW4"] * 10.0])
    peak, side = sheet_anomaly(x, depth_m=10.0, thickness_m=2.0, **POLE)
    assert side / peak == pytest.approx(0.5, rel=1e-6)


@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("bottom", [np.inf, 45.0])
def test_sheet_is_a_narrow_dyke(field, bottom):
    # error of a thin body: (t / h)^2 / 12, here 1e-8 of the peak
    narrow = 0.5e-3 / np.sin(np.radians(field["dip_deg"]))
    dyke = dyke_anomaly(X, depth_m=9.0, half_width_m=narrow, bottom_depth_m=bottom, **field)
    sheet = sheet_anomaly(X, depth_m=9.0, thickness_m=1e-3, bottom_depth_m=bottom, **field)
    np.testing.assert_allclose(sheet, dyke, atol=1e-6 * np.abs(dyke).max())


def test_contact_step_and_steepest_gradient():
    low, high = contact_anomaly([-1e9, 1e9], depth_m=10.0, **POLE)
    assert high - low == pytest.approx(CLOSED["A7"], rel=1e-6)
    near = contact_anomaly([-0.01, 0.01], depth_m=10.0, **POLE)
    assert np.diff(near)[0] / 0.02 == pytest.approx(CLOSED["A8"], rel=1e-6)


def test_tilt_of_a_contact():
    # tilt is atan(vertical / horizontal derivative); field up a metre is depth a metre more
    x, h, step = 10.0, 10.0, 1e-3

    def at(shift, deeper):
        return float(contact_anomaly(x + shift, depth_m=h + deeper, **POLE))

    downward = (at(0.0, -step) - at(0.0, step)) / (2 * step)
    level = (at(step, 0.0) - at(-step, 0.0)) / (2 * step)
    assert np.degrees(np.arctan2(downward, level)) == pytest.approx(CLOSED["T1"], abs=0.01)


@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("bottom", [np.inf, 45.0])
def test_two_contacts_make_a_dyke(field, bottom):
    shape = {"depth_m": 9.0, "bottom_depth_m": bottom}
    dyke = dyke_anomaly(X, half_width_m=6.0, **shape, **field)
    pair = contact_anomaly(X + 6.0, **shape, **field) - contact_anomaly(X - 6.0, **shape, **field)
    np.testing.assert_allclose(pair, dyke, atol=1e-9)


def test_step_far_from_its_edge_has_no_anomaly():
    # an endless slab has none; (k F)(thickness / distance) is left
    step = contact_anomaly([-1e9, 1e9], depth_m=10.0, bottom_depth_m=60.0, **FIELDS[0])
    np.testing.assert_allclose(step, 0.0, atol=1e-4)


@pytest.mark.parametrize("field", FIELDS)
def test_all_lengths_scaled_leave_a_step_unchanged(field):
    once = contact_anomaly(X, depth_m=9.0, bottom_depth_m=45.0, **field)
    thrice = contact_anomaly(3.0 * X, depth_m=27.0, bottom_depth_m=135.0, **field)
    np.testing.assert_allclose(thrice, once, atol=1e-10)


@pytest.mark.parametrize("field", FIELDS)
def test_walking_the_other_way_mirrors_the_sheet(field):
    back = {**field, "dip_deg": 180.0 - field["dip_deg"]}
    back["profile_azimuth_deg"] += 180.0
    shape = {"depth_m": 9.0, "thickness_m": 1.0, "bottom_depth_m": 45.0}
    np.testing.assert_allclose(
        sheet_anomaly(-X, **shape, **back), sheet_anomaly(X, **shape, **field), atol=1e-9
    )


@pytest.mark.parametrize("field", FIELDS)
def test_anomaly_obeys_laplace(field):
    step = 0.05

    def curvature(shape, call):
        def at(shift, deeper):
            lowered = {
                key: value + deeper if key.endswith("depth_m") else value
                for key, value in shape.items()
            }
            return call(X + shift, **lowered, **field)

        middle = at(0.0, 0.0)
        across = at(step, 0.0) - 2.0 * middle + at(-step, 0.0)
        return across, at(0.0, step) - 2.0 * middle + at(0.0, -step)

    sheet = {"depth_m": 9.0, "thickness_m": 1.0, "bottom_depth_m": 45.0}
    contact = {"depth_m": 9.0, "bottom_depth_m": 45.0}
    for shape, call in ((sheet, sheet_anomaly), (contact, contact_anomaly)):
        across, down = curvature(shape, call)
        np.testing.assert_allclose(across, -down, atol=2e-4 * np.abs(across).max())


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: sheet_anomaly(0.0, depth_m=0.0, thickness_m=1.0, **POLE), "Depth of the top"),
        (lambda: sheet_anomaly(0.0, depth_m=1.0, thickness_m=0.0, **POLE), "Thickness"),
        (lambda: contact_anomaly(0.0, depth_m=-1.0, **POLE), "Depth of the top"),
        (
            lambda: contact_anomaly(0.0, depth_m=5.0, bottom_depth_m=5.0, **POLE),
            "bottom of a body must lie below",
        ),
    ],
)
def test_wrong_arguments(call, text):
    with pytest.raises(InputError, match=text):
        call()
