"""Decimal years against the calendar of the standard library."""

import calendar
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic import decimal_year


def seconds(*parts):
    return datetime(*parts, tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ((2025, 1, 1), 2025.0),
        ((2024, 7, 2), 2024.5),  # 183 of 366 days
        ((2023, 7, 2, 12), 2023.5),  # 182.5 of 365 days
        ((2024, 2, 29), 2024 + 59 / 366),
        ((2024, 3, 1), 2024 + 60 / 366),
        ((2025, 3, 1), 2025 + 59 / 365),
        ((2024, 12, 31), 2024 + 365 / 366),
        ((2000, 12, 31), 2000 + 365 / 366),  # divisible by 400: a leap year
        ((1900, 12, 31), 1900 + 364 / 365),  # divisible by 100: none
        ((1969, 12, 31, 23, 59, 59), 1970 - 1 / (365 * 86400)),
        ((1960, 12, 31, 23, 59, 59, 500000), 1961 - 0.5 / (366 * 86400)),
        ((2029, 12, 31, 23, 59, 59, 500000), 2030 - 0.5 / (365 * 86400)),
    ],
)
def test_dates(parts, expected):
    assert decimal_year(seconds(*parts)) == pytest.approx(expected, abs=1e-11)


@given(st.datetimes(datetime(1800, 1, 1), datetime(2200, 1, 1)))
def test_any_date(moment):
    days = 366 if calendar.isleap(moment.year) else 365
    gone = (moment - datetime(moment.year, 1, 1)).total_seconds()
    expected = moment.year + gone / (86400 * days)
    found = decimal_year(moment.replace(tzinfo=UTC).timestamp())
    assert found == pytest.approx(expected, abs=1e-11)


def test_missing_stays_missing_and_shape_is_kept():
    times = np.array([[seconds(2025, 1, 1), np.nan, seconds(2026, 1, 1)]])
    np.testing.assert_array_equal(decimal_year(times), [[2025.0, np.nan, 2026.0]])


def test_milliseconds_are_refused():
    with pytest.raises(InputError, match=r"years 1 to 9999.*seconds since 1970"):
        decimal_year([0.0, 1000 * seconds(2025, 1, 1)])


def test_infinite_is_refused():
    with pytest.raises(InputError, match="years 1 to 9999"):
        decimal_year(np.inf)
