"""Where high and low lie, against the roots of a polynomial and a map."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies.anomaly import ambient_vector, projected_anomaly
from lodewalk.methods.bodies.dipole import dipole_field
from lodewalk.methods.planning.anomaly_shape import anomaly_shape


def roots(inclination):
    """Highs and lows from T = (3 (c x - s)^2 - x^2 - 1) / (x^2 + 1)^(5/2), whose slope is 0 where
    (3 - 9 c^2) x^3 + 24 c s x^2 + (3 + 6 c^2 - 15 s^2) x - 6 c s = 0, x towards north."""
    c, s = np.cos(np.radians(inclination)), np.sin(np.radians(inclination))
    x = np.roots([3 - 9 * c**2, 24 * c * s, 3 + 6 * c**2 - 15 * s**2, -6 * c * s])
    x = np.real(x[np.abs(np.imag(x)) < 1e-9])
    value = (3 * (c * x - s) ** 2 - x**2 - 1) / (x**2 + 1) ** 2.5
    order = np.argsort(-np.abs(value))
    return x[order], value[order]


@pytest.mark.parametrize("inclination", [-75.0, -50.0, -20.0, 12.0, 35.0, 62.0, 80.0])
def test_highs_and_lows_by_the_roots_of_the_slope(inclination):
    places, values = roots(inclination)
    found = anomaly_shape(inclination_deg=inclination, declination_deg=0.0)
    for extreme, place, value in zip(found.extremes, places, values, strict=False):
        assert extreme.side == ("north" if place > 0 else "south")
        assert extreme.kind == ("high" if value > 0 else "low")
        assert extreme.distance_depths == pytest.approx(abs(place), abs=1e-3)
        assert extreme.relative == pytest.approx(value / abs(values[0]), abs=1e-5)
    assert found.low_over_high == pytest.approx(-values.min() / values.max(), rel=1e-4)


def test_at_the_pole_a_high_with_a_weak_low_all_round():
    """2 above the body; -2 / 5^(5/2) two depths away, by hand."""
    high, low = anomaly_shape(inclination_deg=90.0, declination_deg=4.0).extremes
    assert (high.kind, high.side, high.bearing_deg) == ("high", "above", None)
    assert (low.kind, low.side, low.bearing_deg) == ("low", "all round", None)
    assert low.distance_depths == pytest.approx(2.0, abs=1e-3)
    assert low.relative == pytest.approx(-1.0 / 5.0**2.5, abs=1e-6)


def test_at_the_equator_a_low_with_highs_on_both_sides():
    """-1 above the body; 2 / 2.5^(5/2) at sqrt(3/2) depths, by hand."""
    shape = anomaly_shape(inclination_deg=0.0, declination_deg=-10.0)
    low, *highs = shape.extremes
    assert (low.kind, low.side) == ("low", "above")
    assert {high.side for high in highs} == {"north", "south"}
    assert sorted(high.bearing_deg for high in highs) == [170.0, 350.0]
    for high in highs:
        assert high.distance_depths == pytest.approx(np.sqrt(1.5), abs=1e-3)
        assert high.relative == pytest.approx(2.0 / 2.5**2.5, abs=1e-5)
    assert shape.range_of_pole == pytest.approx((1 + 2 / 2.5**2.5) / (2 + 2 / 5**2.5), rel=1e-4)


@pytest.mark.parametrize("inclination", [-60.0, -15.0, 30.0, 70.0])
def test_nothing_higher_or_lower_lies_off_the_meridian(inclination):
    east, north = np.meshgrid(np.linspace(-4, 4, 401), np.linspace(-4, 4, 401))
    ambient = ambient_vector(strength_nT=1.0, inclination_deg=inclination, declination_deg=25.0)
    field = dipole_field(east, north, 0.0, centre=[0, 0, -1], moment=ambient)
    anomaly = projected_anomaly(field, ambient_nT=ambient)
    shape = anomaly_shape(inclination_deg=inclination, declination_deg=25.0)
    for kind, place in (("high", anomaly.argmax()), ("low", anomaly.argmin())):
        extreme = next(e for e in shape.extremes if e.kind == kind)
        bearing = np.degrees(np.arctan2(east.flat[place], north.flat[place])) % 360
        away = np.hypot(east.flat[place], north.flat[place])
        assert extreme.distance_depths == pytest.approx(away, abs=0.03)
        assert extreme.bearing_deg == pytest.approx(bearing, abs=3.0)
    assert shape.low_over_high == pytest.approx(-anomaly.min() / anomaly.max(), rel=2e-3)


def test_the_hemispheres_mirror_each_other():
    north = anomaly_shape(inclination_deg=55.0, declination_deg=0.0)
    south = anomaly_shape(inclination_deg=-55.0, declination_deg=0.0)
    opposite = {"north": "south", "south": "north"}
    for one, other in zip(north.extremes, south.extremes, strict=True):
        assert (one.kind, opposite[one.side]) == (other.kind, other.side)
        assert one.relative == pytest.approx(other.relative, abs=1e-9)
    assert north.low_over_high == pytest.approx(south.low_over_high)


def test_bad_inclination():
    with pytest.raises(InputError, match="Inclination must lie in -90 to 90"):
        anomaly_shape(inclination_deg=91.0, declination_deg=0.0)
