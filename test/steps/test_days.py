"""Field days by zone; expected dates counted by hand."""

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from lodewalk.steps.days import Days

NOON = datetime(2026, 3, 10, 12, tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("zone", "hours"),
    [("", 0), ("UTC", 0), ("GPS", 0), ("+05:30", 5.5), ("Australia/Sydney", 11)],
)
def test_the_zone_is_the_surveys_own_else_utc(zone, hours):
    days = Days.of(zone)
    assert datetime.fromtimestamp(NOON, days.zone).utcoffset() == timedelta(hours=hours)


def test_a_field_day_across_midnight_utc_stays_one_day():
    days = Days(timezone(timedelta(hours=10)))
    morning = datetime(2026, 3, 9, 22, tzinfo=UTC).timestamp()
    times = morning + np.arange(0.0, 8 * 3600.0, 60.0)
    assert days.names(times) == ["2026-03-10"]
    assert days.label(morning) == "UTC+10:00"
    begin, end = days.bounds("2026-03-10")
    assert begin <= times[0]
    assert times[-1] < end
    assert end - begin == 86_400


def test_a_day_with_a_change_of_the_clocks_has_25_hours():
    days = Days.of("Europe/Vienna")
    begin, end = days.bounds("2026-10-25")
    assert end - begin == 25 * 3600
