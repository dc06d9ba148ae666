"""Everything about one site."""

from dataclasses import FrozenInstanceError, asdict

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic import igrf_field, site_values, total_field

FIELDS = [
    "total_field_nT",
    "inclination_deg",
    "declination_deg",
    "north_nT",
    "east_nT",
    "down_nT",
    "horizontal_nT",
    "change_nT_per_year",
    "precession_Hz",
    "tuning_uT",
    "model",
]


def test_names_and_types():
    values = asdict(site_values(52.0, -3.0, 120, decimal_year=2025))
    assert list(values) == FIELDS
    assert values.pop("model") == "IGRF-14"
    assert {type(value) for value in values.values()} == {float}


def test_values_by_an_independent_implementation():
    """ppigrf 2.1 for the vector; elements and change by their definitions."""
    ppigrf = pytest.importorskip("ppigrf")
    from datetime import datetime

    (east, north, up), later = (
        (component.item() for component in ppigrf.igrf(-3.0, 52.0, 0.12, datetime(year, 1, 1)))
        for year in (2025, 2030)
    )
    site = site_values(52.0, -3.0, 120.0, decimal_year=2025.0)
    total = np.sqrt(north**2 + east**2 + up**2)
    assert site.north_nT == pytest.approx(north, abs=0.01)
    assert site.east_nT == pytest.approx(east, abs=0.01)
    assert site.down_nT == pytest.approx(-up, abs=0.01)
    assert site.total_field_nT == pytest.approx(total, abs=0.01)
    assert site.horizontal_nT == pytest.approx(np.hypot(north, east), abs=0.01)
    assert site.declination_deg == pytest.approx(np.degrees(np.arctan(east / north)), abs=1e-5)
    assert site.inclination_deg == pytest.approx(np.degrees(np.arcsin(-up / total)), abs=1e-5)
    rate = [(b - a) / 5 for a, b in zip((east, north, up), later, strict=True)]
    change = np.dot((east, north, up), rate) / total
    assert site.change_nT_per_year == pytest.approx(change, abs=0.01)
    # CODATA 2022, shielded proton: 42.57638543 MHz/T.
    assert site.precession_Hz == pytest.approx(42.57638543e-3 * total, abs=1e-3)
    assert site.tuning_uT == round(total / 1000)


def test_agrees_with_the_array_functions():
    site = site_values(-41.0, 174.0, 30.0, decimal_year=1987.3)
    place = (-41.0, 174.0, 30.0)
    assert (site.north_nT, site.east_nT, site.down_nT) == igrf_field(*place, decimal_year=1987.3)
    assert site.total_field_nT == pytest.approx(total_field(*place, decimal_year=1987.3))


def test_values_are_frozen():
    site = site_values(0.0, 0.0, 0.0, decimal_year=2025.0)
    with pytest.raises(FrozenInstanceError):
        site.model = "other"


@pytest.mark.parametrize("position", [0, 1, 2])
def test_missing_place(position):
    place = [10.0, 20.0, 0.0]
    place[position] = np.nan
    with pytest.raises(InputError, match="needs a latitude, a longitude and a height"):
        site_values(*place, decimal_year=2025.0)


def test_place_and_epoch_out_of_range():
    with pytest.raises(InputError, match=r"latitude_deg must lie in -90 to 90 degrees. Found 120"):
        site_values(120.0, 0.0, 0.0, decimal_year=2025.0)
    with pytest.raises(InputError, match=r"decimal_year must lie in 1900 to 2030"):
        site_values(10.0, 0.0, 0.0, decimal_year=2031.0)
