"""Odds of stand-by for a disturbed field; the counts are checked in test/outside."""

import pytest

from lodewalk.errors import InputError
from lodewalk.methods.planning.storm_odds import SHARES, class_level, standby_share

MIDDLE = (51.0, 7.0)


# Class limits of a site with K9 = 750 nT, as Eskdalemuir's: 0.14 and 0.24 of it.
@pytest.mark.parametrize(
    ("range_nT", "k9_nT", "level"),
    [(70.0, 500.0, 5.0), (105.0, 750.0, 5.0), (180.0, 750.0, 6.0), (2.0, 500.0, 1.0)],
)
def test_levels_at_the_limits_of_classes(range_nT, k9_nT, level):
    assert class_level(range_nT, k9_nT=k9_nT) == pytest.approx(level)


def test_levels_between_and_beyond():
    assert 5.0 < class_level(90.0, k9_nT=500.0) < 6.0
    assert class_level(5000.0, k9_nT=500.0) == 9.0
    assert class_level(0.1, k9_nT=500.0) == 1.0


def test_the_table_is_one_of_shares():
    for rows in SHARES.values():
        for low, high in zip(*rows, strict=True):
            assert 0.0 <= low <= high <= 1.0
        assert all(list(row) == sorted(row, reverse=True) for row in rows)
    for quarter in ("any", "0", "1", "2", "3"):
        for day, morning in zip(SHARES["day", quarter], SHARES["morning", quarter], strict=True):
            assert all(part <= whole for whole, part in zip(day, morning, strict=True))


def test_farther_from_the_equator_more_days_are_lost():
    shares = [standby_share(latitude, 20.0)[1] for latitude in (0.0, 45.0, 57.0, 66.0)]
    assert shares == sorted(shares)
    assert shares[0] < shares[-1]
    south, north = standby_share(-66.0, 140.0), standby_share(0.0, 140.0)
    assert south > north


def test_a_crew_that_stands_more_loses_fewer_days():
    assert standby_share(*MIDDLE, range_nT=200.0)[1] < standby_share(*MIDDLE, range_nT=40.0)[0]


def test_a_morning_is_lost_less_often_than_a_day():
    assert standby_share(*MIDDLE, span="morning")[1] < standby_share(*MIDDLE)[1]


def test_the_quarter_of_the_cycle_counts():
    quiet = standby_share(*MIDDLE, decimal_year=2020.5)
    declining = standby_share(*MIDDLE, decimal_year=2026.0)
    assert quiet[1] < declining[1]
    assert standby_share(*MIDDLE, decimal_year=1990.0) == pytest.approx(
        standby_share(*MIDDLE), abs=0.02
    )


def test_bad_values():
    with pytest.raises(InputError, match="Range to stand by from must be above zero"):
        standby_share(*MIDDLE, range_nT=0.0)
    with pytest.raises(InputError, match="A span is a day or a morning"):
        standby_share(*MIDDLE, span="week")
    with pytest.raises(InputError, match="1900 to 2030"):
        standby_share(*MIDDLE, decimal_year=2031.0)
    with pytest.raises(InputError, match="Latitude must lie"):
        standby_share(95.0, 0.0)
