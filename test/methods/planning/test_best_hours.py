"""The calmest hours by day."""

import pytest

from lodewalk.errors import InputError
from lodewalk.methods.planning.best_hours import best_hours


def spans(longitude, latitude=45.0, *, electrojet=False):
    found = best_hours(longitude, geomagnetic_latitude_deg=latitude, electrojet=electrojet)
    return [(span.from_utc, span.to_utc) for span in found.spans]


def test_noon_is_left_out_at_middle_latitudes():
    assert spans(0.0) == [("06:00", "09:00"), ("15:00", "18:00")]


@pytest.mark.parametrize("longitude", [180.0, -180.0])
def test_both_sides_of_the_antimeridian_agree(longitude):
    assert spans(longitude) == [("18:00", "21:00"), ("03:00", "06:00")]


def test_minutes_and_wrapped_longitudes():
    assert spans(7.1)[0] == ("05:32", "08:32")  # 7.1 degrees are 28.4 minutes
    assert spans(352.5) == spans(-7.5)


def test_other_latitudes():
    assert spans(0.0, -67.0) == [("09:00", "16:00")]
    assert spans(0.0, 2.0, electrojet=True)[0] == ("06:00", "08:00")


def test_bad_values():
    with pytest.raises(InputError, match="Longitude must lie"):
        spans(400.0)
    with pytest.raises(InputError, match="Geomagnetic latitude must lie"):
        spans(0.0, 91.0)
