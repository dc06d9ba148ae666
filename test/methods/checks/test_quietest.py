"""The quietest window, on records whose quiet hour was put in by hand."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.quietest import quietest_window

DAY = np.arange(0.0, 8 * 3600, 5.0)


def test_the_quiet_hour_is_found_under_a_slow_daily_curve():
    curve = 48_000 + 25 * np.sin(2 * np.pi * DAY / 86_400)
    loud = np.where((DAY >= 10_800) & (DAY < 14_400), 0.05, 1.5)
    record = curve + loud * np.sin(2 * np.pi * DAY / 90)
    quiet = quietest_window(DAY, record)
    assert quiet.start_s == pytest.approx(10_800, abs=300)
    assert quiet.epoch_s == pytest.approx(12_600, abs=300)
    inside = slice(quiet.first, quiet.last + 1)
    assert quiet.datum_nT == np.median(record[inside])
    assert quiet.end_s - quiet.start_s == pytest.approx(3595)
    assert not quiet.whole


def test_roughness_is_the_rms_about_a_line():
    record = 0.01 * DAY + np.tile([0.3, -0.3], DAY.size // 2)
    assert quietest_window(DAY, record).roughness_nT == pytest.approx(0.3, rel=1e-3)


def test_a_short_record_stands_as_a_whole():
    time = np.arange(0.0, 1800, 10)
    quiet = quietest_window(time, 48_000 + np.arange(180.0))
    assert quiet.whole
    assert (quiet.first, quiet.last) == (0, 179)
    assert quiet.datum_nT == 48_089.5
    assert quiet.epoch_s == 895


def test_exactly_one_hour_is_a_window():
    time = np.arange(0.0, 3600, 10)
    assert not quietest_window(time, np.zeros(360)).whole


def test_windows_with_missing_readings_do_not_count():
    record = np.where(DAY < 3700, 0.0, np.sin(DAY / 30))
    record[(DAY > 600) & (DAY < 1800)] = np.nan
    quiet = quietest_window(DAY, record)
    assert quiet.start_s > 1300
    assert quiet.roughness_nT > 0
    gappy = np.where(DAY % 1800 < 900, np.nan, 1.0)
    assert quietest_window(DAY, gappy).whole


def test_one_reading_is_a_datum():
    quiet = quietest_window([5.0, 6.0], [np.nan, 48_123.0])
    assert (quiet.datum_nT, quiet.epoch_s, quiet.first, quiet.whole) == (48_123.0, 6.0, 1, True)


def test_input_is_checked():
    with pytest.raises(InputError, match="at least one reading"):
        quietest_window([0.0], [np.nan])
    with pytest.raises(InputError, match="at least one reading"):
        quietest_window([], [])
    with pytest.raises(InputError, match="must increase"):
        quietest_window([1.0, 0.0], [0.0, 0.0])
    with pytest.raises(InputError, match="window_s"):
        quietest_window([1.0], [0.0], window_s=0)
