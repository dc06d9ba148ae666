"""Effort and storms, by hand arithmetic and from a second reckoning of what was measured."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.planning.effort import Work, effort, walking_pace
from lodewalk.methods.planning.stand_by import StandBy, dipole_latitude_deg, stand_by

NO_STORMS = StandBy(0.0, 0.0, 0.0, 0.0, 5.0)


def work(**changed):
    plain = {
        "tours_s": np.array([3600.0, 7200.0, 5400.0]),
        "rovers": 2,
        "set_up_h": 1.5,
        "cut_m": 4000.0,
        "cutting_m_h": 200.0,
        "reading_interval_s": 2.0,
        "base_interval_s": 10.0,
        "battery_h": 2.0,
        "memory_readings": 7200,
    }
    return Work(**(plain | changed))


def test_hours_readings_batteries_and_memory_by_hand():
    found = effort(work(), NO_STORMS)
    assert found.field_days == 2
    assert found.walking_h == pytest.approx(4.5)
    assert found.rover_h == pytest.approx(4.5 + 3 * 1.5)
    assert found.cutting_h == pytest.approx(20.0)
    assert found.readings_rover == 1800 + 3600 + 2700
    # The base records 15 minutes more at both ends: 2.5 h and 2.0 h.
    assert found.readings_base == 900 + 720
    assert (found.batteries_rover, found.batteries_base) == (1, 2)
    assert found.rover_full_after_days == pytest.approx(7200 / 3600)
    assert found.base_full_after_days == pytest.approx(7200 / 900)


def test_storms_and_what_is_walked_again_add_days():
    found = effort(work(tours_s=np.full(20, 3600.0), rovers=1), StandBy(0.05, 0.2, 0.5, 60.0, 4.0))
    assert found.days == 27  # 20 days, 5 % again, a day in five lost: 21 / 0.8 = 26.25
    assert found.stand_by == pytest.approx(21 / 0.8 * 0.2)
    assert found.days_low <= found.field_days <= found.days <= found.days_high
    assert found.days_high == 60  # 20 * 1.3 * 1.15 / 0.5 = 59.8


def test_nothing_to_walk_costs_nothing():
    found = effort(work(tours_s=np.zeros(0), cutting_m_h=None), NO_STORMS)
    assert (found.field_days, found.days_high, found.readings_base) == (0, 0, 0)
    assert found.cutting_h is None


def test_pace_by_terrain():
    assert walking_pace(1.1, "open") == 1.1
    paces = [walking_pace(1.1, word) for word in ("open", "grass", "bush", "forest")]
    assert paces == sorted(paces, reverse=True)
    with pytest.raises(InputError, match="open, grass"):
        walking_pace(1.1, "jungle")


@pytest.mark.parametrize(
    ("latitude", "longitude", "published"),
    [
        # Geomagnetic latitudes of observatories as their networks print them for the 1990s to
        # 2010s (from memory, good to half a degree): Niemegk, Hermanus, Honolulu, Vassouras.
        (52.07, 12.68, 51.6),
        (-34.43, 19.23, -33.9),
        (21.32, -158.0, 21.6),
        (-22.4, -43.65, -13.4),
    ],
)
def test_dipole_latitudes_of_observatories(latitude, longitude, published):
    found = dipole_latitude_deg(latitude, longitude, decimal_year=2010.0)
    assert found == pytest.approx(published, abs=1.0)


def test_the_pole_of_the_dipole_is_where_the_model_s_authors_put_it():
    # Geomagnetic north pole of 2020 by IGRF-13: 80.65 N, 72.68 W (BGS and WDC Kyoto pages).
    assert dipole_latitude_deg(80.65, -72.68, decimal_year=2020.0) > 89.9
    assert dipole_latitude_deg(-80.65, 107.32, decimal_year=2020.0) < -89.9


def test_storms_take_more_days_towards_the_auroral_zone_and_in_active_years():
    places = [(10.0, 10.0), (52.0, 12.7), (55.3, -3.2), (69.7, 18.9)]
    found = [stand_by(*place, decimal_year=2026.0) for place in places]
    means = [item.mean for item in found]
    assert means == sorted(means)
    assert all(item.quiet_year < item.mean < item.active_year for item in found)
    # In mid-latitude the work stops at K 5: one stretch of twelve hours in seven or eight.
    assert found[1].k == pytest.approx(5.0, abs=0.1)
    assert found[1].mean == pytest.approx(0.13, abs=0.02)
    # At Eskdalemuir it stops between K 4 (60 nT) and K 5 (105 nT).
    assert 4 < found[2].k < 5
    assert found[3].mean > 0.5
