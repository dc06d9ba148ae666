"""GPS time against the leap-second list of the tz database (package tzdata)."""

from datetime import UTC, datetime
from importlib.resources import files

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.time_scales import GPS_MINUS_UTC_KNOWN_UNTIL, gps_minus_utc


def leap_seconds():
    """Return (first UTC second after the leap second, number of leap seconds since GPS began)."""
    text = (files("tzdata") / "zoneinfo" / "leapseconds").read_text()
    rows = [line.split() for line in text.splitlines() if line.startswith("Leap")]
    ends = [
        datetime.strptime(" ".join(row[1:4]), "%Y %b %d").replace(tzinfo=UTC).timestamp() + 86400
        for row in rows
    ]
    gps_began = datetime(1980, 1, 6, tzinfo=UTC).timestamp()
    later = [end for end in ends if end > gps_began]
    return list(zip(later, range(1, len(later) + 1), strict=True))


def test_every_leap_second_of_the_tz_database():
    for utc, count in leap_seconds():
        assert gps_minus_utc(utc + count) == count
        assert gps_minus_utc(utc + count - 1.001) == count - 1


def test_the_table_claims_no_more_than_the_tz_database():
    text = (files("tzdata") / "zoneinfo" / "leapseconds").read_text()
    (expires,) = (line.split()[1:4] for line in text.splitlines() if line.startswith("#Expires"))
    assert datetime.strptime(" ".join(expires), "%Y %b %d") >= datetime.fromisoformat(
        GPS_MINUS_UTC_KNOWN_UNTIL
    )


def test_missing_time_stays_missing():
    assert np.isnan(gps_minus_utc([np.nan])[0])


def test_time_before_gps_is_refused():
    with pytest.raises(InputError, match="GPS time begins on 1980-01-06"):
        gps_minus_utc([0.0])
