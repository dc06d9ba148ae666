"""Effort by hand arithmetic."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.planning.effort import StandBy, Work, effort, walking_pace

NO_STORMS = StandBy(0.0, 0.0, 0.0)


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
    found = effort(work(tours_s=np.full(20, 3600.0), rovers=1), StandBy(0.05, 0.2, 0.5))
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
