"""Places inside and outside the area of a reference system."""

import numpy as np
import pytest

from lodewalk.adapters.whereabouts import inside, why_outside


@pytest.mark.parametrize(
    ("crs", "latitude", "longitude", "there"),
    [
        ("EPSG:31982", -25.0, -50.0, True),
        ("EPSG:31982", -25.0, -55.0, True),  # a little over the edge, 54 W
        ("EPSG:31982", -25.0, -58.0, False),
        ("EPSG:32760", -17.0, -179.0, True),
        ("EPSG:32760", -17.0, 179.0, True),
        ("EPSG:32760", -17.0, 181.0, True),
        ("EPSG:32760", -17.0, 0.0, False),
        ("EPSG:3395", 12.0, 77.0, True),  # serves the whole Earth
        ("EPSG:3395", -12.0, -177.0, True),
    ],
)
def test_the_area_of_a_system(crs, latitude, longitude, there):
    assert inside(np.array([latitude]), np.array([longitude]), crs=crs).tolist() == [there]


def test_what_is_wrong_with_a_pole():
    assert "UTM serves from 80° S to 84° N only" in why_outside(89.0, 10.0, crs="EPSG:31982")
