"""Dip latitude, geomagnetic latitude and the usual range of K = 9."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic.activity_latitude import (
    dip_latitude_deg,
    geomagnetic_latitude_deg,
    usual_k9_nT,
)

# Geomagnetic north pole by IGRF-13 at 2020.0: 80.65 N 72.68 W (World Data Center, from memory).
POLE = (80.65, -72.68)


def test_dip_latitude_of_a_dipole():
    """A dipole along the axis has tan I = 2 tan(latitude); here its field is summed."""
    latitude = np.radians([-70.0, -20.0, 0.0, 35.0, 60.0])
    down, north = 2.0 * np.sin(latitude), np.cos(latitude)
    inclination = np.degrees(np.arctan(down / north))
    np.testing.assert_allclose(dip_latitude_deg(inclination), np.degrees(latitude), atol=1e-9)
    assert dip_latitude_deg(90.0) == pytest.approx(90.0)


@pytest.mark.parametrize("place", [(52.0, 10.0), (-33.9, 18.4), (0.0, -70.0), (71.0, 179.9)])
def test_geomagnetic_latitude_by_the_distance_from_the_pole(place):
    lat, lon, pole_lat, pole_lon = np.radians([*place, *POLE])
    cosine = np.sin(lat) * np.sin(pole_lat) + np.cos(lat) * np.cos(pole_lat) * np.cos(
        lon - pole_lon
    )
    expected = 90.0 - np.degrees(np.arccos(cosine))
    # The sphere is taken for the ellipsoid here: up to 0.19 degrees.
    found = geomagnetic_latitude_deg(*place, decimal_year=2020.0)
    assert found == pytest.approx(expected, abs=0.25)


def test_longitudes_may_be_wrapped():
    one, other = geomagnetic_latitude_deg(10.0, [-179.5, 180.5], decimal_year=2025.0)
    assert one == pytest.approx(other)


# Eskdalemuir's files and the index service's list: K9 of 750 nT. An Irish site uses 540 nT.
@pytest.mark.parametrize(("place", "k9"), [((55.314, -3.206), 750.0), ((51.93, -10.25), 540.0)])
def test_k9_of_observatories(place, k9):
    latitude = geomagnetic_latitude_deg(*place, decimal_year=2003.0)
    assert usual_k9_nT(latitude) == pytest.approx(k9, rel=0.1)


def test_k9_grows_to_the_auroral_oval_and_falls_beyond():
    values = usual_k9_nT([0.0, 45.0, 60.0, 70.0])
    assert np.all(np.diff(values) > 0)
    assert usual_k9_nT(88.0) < usual_k9_nT(-70.0)


def test_bad_values():
    with pytest.raises(InputError, match="Latitude must lie in -90 to 90"):
        geomagnetic_latitude_deg(91.0, 0.0, decimal_year=2025.0)
    with pytest.raises(InputError, match="Geomagnetic latitude must lie"):
        usual_k9_nT(120.0)
    with pytest.raises(InputError, match="Inclination must lie"):
        dip_latitude_deg(-91.0)
