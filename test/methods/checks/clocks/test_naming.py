"""Names of slips, each expected from the cause itself: how the wrong time comes about."""

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.naming import duration, named_slips, slip_density
from lodewalk.methods.corrections.time_scales import gps_minus_utc

HOUR, DAY = 3600.0, 86_400.0
KOLKATA = timezone(timedelta(hours=5, minutes=30))
BOGOTA = timezone(timedelta(hours=-5))
NOON = datetime(2024, 6, 5, 12, tzinfo=UTC)


def named(offset_s, sd_s=1.0, zone_h=5.5):
    return named_slips(offset_s, sd_s, zone_offset_s=zone_h * HOUR, gps_minus_utc_s=18.0)


def shift(wrong):
    """Return the recorded time, read as UTC, minus the true one [s]."""
    return (wrong.replace(tzinfo=UTC) - NOON).total_seconds()


@pytest.mark.parametrize("zone", [KOLKATA, BOGOTA])
def test_causes_in_the_zone_follow_from_the_calendar(zone):
    hours = zone.utcoffset(None) / timedelta(hours=1)
    local = NOON.astimezone(zone)
    for kind, wrong in {
        "local as UTC": local,
        "UTC as local": NOON.replace(tzinfo=zone).astimezone(UTC),
        "zone sign": local + zone.utcoffset(None),  # the sign of local minus zone turned
        "twelve hours": NOON - timedelta(hours=12),
        "days": NOON + timedelta(days=1),
    }.items():
        best = named(shift(wrong), zone_h=hours)[0]
        assert (best.kind, best.offset_s) == (kind, shift(wrong))
        assert best.probability > 0.7


@pytest.mark.parametrize(
    ("offset", "kind", "text"),
    [
        (18.2, "gps time", "The clock is 18 s ahead: GPS time kept as UTC."),
        (HOUR, "summer time", "The clock is 1 h ahead: an hour of summer time counted as UTC."),
        (-2 * HOUR, "another zone", "The clock is 2 h behind: the time of a zone 2 h away."),
        (5.75 * HOUR, "another zone", "The clock is 5 h 45 min ahead: the time of a zone 5.75 h"),
        (-3 * DAY, "days", "The clock is 3 days behind: a wrong date."),
        (-12 * HOUR, "twelve hours", "The clock is 12 h behind: a 12-hour clock, afternoon"),
        (-7168 * DAY, "week rollover", "The clock is 7168 days behind: the count of GPS weeks"),
        (HOUR + 18, "summer time and gps time", "The clock is 1 h 18 s ahead: an hour of summer"),
    ],
)
def test_names_and_sentences(offset, kind, text):
    best = named(offset)[0]
    assert best.kind == kind
    assert best.text.startswith(text)
    assert best.text.endswith(".")


def test_gps_time_is_that_of_the_date():
    for date, seconds in (("2010-05-01", 15.0), ("2024-05-01", 18.0)):
        stamp = datetime.fromisoformat(date).replace(tzinfo=UTC).timestamp()
        gps = float(gps_minus_utc(stamp))
        best = named_slips(seconds, 0.3, zone_offset_s=0.0, gps_minus_utc_s=gps)[0]
        assert (best.kind, best.offset_s) == ("gps time", seconds)


def test_the_sign_tells_gps_time_from_leap_seconds_taken_twice():
    assert named(-18.0)[0].kind == "gps time twice"


def test_a_wide_offset_has_several_names_and_never_more_than_certainty():
    slips = named(0.8 * HOUR, 1500.0)
    kinds = [slip.kind for slip in slips]
    assert {"summer time", "neighbouring zone", "right"} <= set(kinds)
    probabilities = [slip.probability for slip in slips]
    assert probabilities == sorted(probabilities, reverse=True)
    assert sum(probabilities) < 1


def test_an_offset_near_zero_may_be_no_slip():
    assert named(5.0, 30.0)[0].kind == "right"
    assert named(0.4, 0.2)[0].kind == "right"


def test_an_unnamed_slip_has_no_name():
    assert named(777.0, 5.0) == ()
    assert named(HOUR + 9.0, 0.5) == ()
    assert named(float("nan"), 5.0) == ()
    assert named(HOUR, float("inf")) == ()


def test_tolerance_is_three_sd_or_a_few_seconds():
    assert named(HOUR + 3.0, 0.1)[0].kind == "summer time"
    assert named(HOUR + 29.0, 10.0)[0].kind in ("summer time", "summer time and gps time")
    assert named(HOUR + 49.0, 10.0) == ()


def test_without_a_zone_the_causes_in_it_are_missing():
    for zone in (None, 0.0):
        slips = named_slips(5.5 * HOUR, 1.0, zone_offset_s=zone, gps_minus_utc_s=18.0)
        assert [slip.kind for slip in slips] == ["another zone"]


def test_two_names_for_one_offset_are_both_given():
    kinds = [slip.kind for slip in named(HOUR, zone_h=1.0)]
    assert kinds[0] == "local as UTC"
    assert "summer time" in kinds


def test_density_turns_with_the_zone():
    settings = {"zone_offset_s": 5.5 * HOUR, "gps_minus_utc_s": 18.0}
    ahead, behind = (slip_density(sign * 5.5 * HOUR, 1.0, **settings)[1] for sign in (1, -1))
    assert ahead > 5 * behind
    assert slip_density(400.0, 1.0, **settings)[1] > 0


def test_durations():
    assert [duration(s) for s in (0.2, 90, -5400, 90_061)] == [
        "0 s",
        "1 min 30 s",
        "1 h 30 min",
        "1 day 1 h 1 min 1 s",
    ]


def test_bad_input():
    with pytest.raises(InputError, match="sd_s must not be below zero"):
        named(0.0, -1.0)
    with pytest.raises(InputError, match=r"within 15 h of UTC.*seconds"):
        named(0.0, 1.0, zone_h=16.0)
    with pytest.raises(InputError, match="sd_s"):
        named(0.0, np.nan)
