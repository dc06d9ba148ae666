"""K index and activity on records whose disturbance is known."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic import k_index as module
from lodewalk.methods.geomagnetic.k_index import (
    class_limits,
    k_index,
    k_of_range,
    scalar_activity,
)

DAY = 1_600_041_600.0  # 2020-09-14T00:00:00Z
TABLE = Path(__file__).parents[2] / "published" / "k_table.csv"
HOUR = 3600.0


def minutes(hours: float, *, start: float = DAY, step: float = 60.0) -> np.ndarray:
    return start + np.arange(0.0, hours * HOUR, step)


def daily_variation(time: np.ndarray) -> np.ndarray:
    """A regular variation: two harmonics of the day and a slow drift."""
    angle = 2 * np.pi * (time - DAY) / 86_400.0
    return 20.0 * np.cos(angle) + 8.0 * np.sin(2 * angle) + 6.0 * (time - DAY) / 86_400.0


def pulse(time: np.ndarray, at_hour: float, size: float, *, width_s: float = 600.0) -> np.ndarray:
    since = time - DAY - at_hour * HOUR
    return np.where((since >= 0) & (since < width_s), size, 0.0)


def test_limits_are_the_published_ones() -> None:
    table = pl.read_csv(TABLE, comment_prefix="#")
    columns = [name for name in table.columns if name.startswith("lower_limit_nT_K9_")]
    assert len(columns) == 7
    for name in columns:
        published = table[name].to_numpy()[1:].astype(float)
        k9 = float(name.rpartition("_")[2])
        np.testing.assert_allclose(class_limits(k9), published, rtol=1e-14)
        np.testing.assert_array_equal(k_of_range(published, k9_nT=k9), np.arange(1, 10))
        just_below = np.nextafter(published, 0.0)
        np.testing.assert_array_equal(k_of_range(just_below, k9_nT=k9), np.arange(9))


def test_published_mid_class_amplitudes_fall_in_their_class() -> None:
    table = pl.read_csv(TABLE, comment_prefix="#")
    k = k_of_range(table["aK_midclass_nT_L500"].to_numpy(), k9_nT=500.0)
    np.testing.assert_array_equal(k, table["K"].to_numpy())


def test_regular_daily_variation_is_no_disturbance() -> None:
    time = minutes(72)
    found = k_index(time, daily_variation(time), -daily_variation(time), k9_nT=500.0)
    np.testing.assert_array_equal(found.k, np.zeros(24))
    np.testing.assert_array_equal(found.start_s, DAY + np.arange(24) * 3 * HOUR)
    assert set(found.quiet_curve) == {"harmonic"}
    assert found.range_nT.max() < 5.0


@pytest.mark.parametrize(("size", "k"), [(8.0, 1), (15.0, 2), (30.0, 3), (55.0, 4), (95.0, 5)])
def test_short_pulse_has_the_class_of_its_size(size: float, k: int) -> None:
    # Sizes: the published mid-class amplitudes for 500 nT.
    time = minutes(24)
    found = k_index(time, pulse(time, 10.2, size), np.zeros(time.size), k9_nT=500.0)
    expected = np.zeros(8)
    expected[3] = k
    np.testing.assert_array_equal(found.k, expected)


def test_second_pass_restores_a_disturbance_longer_than_an_hour() -> None:
    # A bay of 2.5 hours and 100 nT (K = 5): hourly means alone would follow it.
    time = minutes(72)
    since = (time - DAY) / HOUR - 36.25
    bay = np.where((since > 0) & (since < 2.5), 100.0 * np.sin(np.pi * since / 2.5), 0.0)
    found = k_index(time, daily_variation(time) + bay, np.zeros(time.size), k9_nT=500.0)
    assert found.k[12] == 5
    assert np.all(found.k[np.arange(24) != 12] <= 2)


def test_larger_component_decides() -> None:
    time = minutes(24)
    small, large = pulse(time, 10.0, 15.0), pulse(time, 10.0, 55.0)
    assert k_index(time, small, large, k9_nT=500.0).k[3] == 4
    assert k_index(time, large, small, k9_nT=500.0).k[3] == 4
    assert k_index(time, small, small, k9_nT=500.0).k[3] == 2


@pytest.mark.parametrize("step", [1.0, 5.0, 20.0])
def test_any_spacing_gives_the_same_index(step: float) -> None:
    def index(spacing: float) -> np.ndarray:
        time = minutes(24, step=spacing)
        field = daily_variation(time) + pulse(time, 4.0, 35.0)
        return k_index(time, field, np.zeros(time.size), k9_nT=500.0).k

    np.testing.assert_array_equal(index(step), index(60.0))


def test_interval_with_less_than_nine_tenths_has_no_index() -> None:
    time = minutes(24)
    for missing, complete in ((18, True), (19, False)):
        field = np.zeros(time.size)
        field[400 : 400 + missing] = np.nan
        found = k_index(time, field, np.zeros(time.size), k9_nT=500.0)
        assert found.coverage[2] == pytest.approx((180 - missing) / 180)
        assert np.isnan(found.k[2]) != complete
        assert np.all(np.isfinite(np.delete(found.k, 2)))


def test_missing_values_count_as_missing_readings() -> None:
    time = minutes(24)
    field = daily_variation(time) + pulse(time, 10.0, 30.0)
    holed = field.copy()
    holed[[5, 700, 701, 1100]] = np.nan
    kept = np.isfinite(holed)
    masked = k_index(time, holed, field, k9_nT=500.0)
    dropped = k_index(time[kept], holed[kept], field[kept], k9_nT=500.0)
    np.testing.assert_array_equal(masked.range_nT, dropped.range_nT)


def test_record_across_midnight_has_one_curve_over_its_nearest_day() -> None:
    time = minutes(36, start=DAY + 6 * HOUR)
    found = k_index(time, daily_variation(time), np.zeros(time.size), k9_nT=500.0)
    assert set(found.quiet_curve) == {"harmonic"}
    assert np.all(found.k <= 1)


@pytest.mark.parametrize(
    ("hours", "degree", "name"),
    [(2, 0, "level"), (5, 1, "line"), (7, 2, "parabola"), (10, 3, "cubic"), (14, 4, "quartic")],
)
def test_short_record_has_a_trend_and_says_so(hours: int, degree: int, name: str) -> None:
    time = minutes(hours, start=DAY + 7 * HOUR)
    scaled = (time - time.mean()) / (time[-1] - time[0])
    found = k_index(time, 80.0 * scaled**degree, np.zeros(time.size), k9_nT=500.0)
    assert set(found.quiet_curve) == {name}
    # What is left of the trend itself: averaging over an hour flattens a power a little.
    assert np.nanmax(found.range_nT) < 6.0


@pytest.mark.parametrize("start_hour", [7.5, 20.5])  # a day in Europe, one in Australia
def test_field_days_stand_apart(start_hour: float) -> None:
    days = [minutes(8, start=DAY + d * 86_400.0 + start_hour * HOUR) for d in range(3)]
    field = [300.0 * d + daily_variation(time) for d, time in enumerate(days)]
    time = np.concatenate(days)
    found = k_index(time, np.concatenate(field), np.zeros(time.size), k9_nT=500.0)
    assert found.start_s.size == 12  # four intervals a day; nights have no entry
    complete = np.isfinite(found.k)
    assert complete.sum() == 6
    assert set(found.quiet_curve) == {"cubic"}
    assert np.all(found.k[complete] <= 1)


def test_steady_drift_is_no_disturbance() -> None:
    time = minutes(72)
    drift = 40.0 * (time - DAY) / 86_400.0  # 5 nT in three hours, which would be K = 1
    found = k_index(time, drift, np.zeros(time.size), k9_nT=500.0)
    assert found.range_nT.max() < 2.0


def test_window_is_longest_at_local_night() -> None:
    # Sucksdorff et al. 1991, from memory: 120 minutes at 21-03, 60 at 03-06 and 18-21, 0 by day.
    expected = [120] * 3 + [60] * 3 + [0] * 12 + [60] * 3 + [120] * 3
    assert module._night_minutes(24, 0.0).tolist() == expected
    assert module._night_minutes(24, 150.0).tolist() == expected[10:] + expected[:10]
    assert not module._night_minutes(24, None).any()


@given(st.integers(0, 2**32 - 1), st.floats(-5e4, 5e4), st.floats(0.1, 10.0))
@settings(max_examples=25, deadline=None)
def test_level_and_unit_do_not_matter(seed: int, level: float, unit: float) -> None:
    rng = np.random.default_rng(seed)
    time = minutes(30)
    first, second = np.cumsum(rng.normal(size=(2, time.size)), axis=1)
    plain = k_index(time, first, second, k9_nT=500.0)
    moved = k_index(time, unit * first + level, unit * second - level, k9_nT=500.0 * unit)
    np.testing.assert_allclose(moved.range_nT, unit * plain.range_nT, rtol=1e-6)


def test_record_without_values_has_no_interval() -> None:
    time = minutes(6)
    for times in (time, time[:0]):
        nothing = np.full(times.size, np.nan)
        assert k_index(times, nothing, nothing, k9_nT=500.0).k.size == 0
        assert scalar_activity(times, nothing, k9_nT=500.0).activity.size == 0


def test_single_reading_proves_nothing() -> None:
    found = k_index([DAY + 5.0], [1.0], [2.0], k9_nT=500.0)
    assert found.range_nT.tolist() == [0.0]
    assert np.isnan(found.k).all()
    assert scalar_activity([DAY + 5.0], [48_000.0], k9_nT=500.0).activity.tolist() == ["unknown"]


@pytest.mark.parametrize(
    ("size", "word"),
    [(9.0, "quiet"), (11.0, "unsettled"), (39.0, "unsettled"), (41.0, "active"), (71.0, "storm")],
)
def test_activity_words_follow_the_class_limits(size: float, word: str) -> None:
    time = minutes(24)
    # Two minutes only, so that the quiet curve takes no part of the pulse.
    field = 48_000.0 + pulse(time, 10.2, size, width_s=120.0)
    found = scalar_activity(time, field, k9_nT=500.0)
    assert found.activity[3] == word
    assert found.complete.all()
    assert set(np.delete(found.activity, 3)) == {"quiet"}


def test_partial_interval_is_unknown_unless_it_proves_more() -> None:
    time = minutes(5, start=DAY + 8 * HOUR)  # 08-13 UT: one hour, three hours, one hour
    quiet = scalar_activity(time, np.full(time.size, 48_000.0), k9_nT=500.0)
    assert quiet.activity.tolist() == ["unknown", "quiet", "unknown"]
    assert quiet.complete.tolist() == [False, True, False]
    stormy = 48_000.0 + pulse(time, 12.3, 90.0, width_s=120.0)
    found = scalar_activity(time, stormy, k9_nT=500.0)
    assert found.activity.tolist() == ["unknown", "quiet", "storm"]
    assert not found.complete[2]


def test_bad_input_is_refused() -> None:
    time = minutes(1)
    field = np.zeros(time.size)
    with pytest.raises(InputError, match="same length"):
        k_index(time, field, field[:-1], k9_nT=500.0)
    with pytest.raises(InputError, match="time_s must not decrease"):
        k_index(time[::-1], field, field, k9_nT=500.0)
    with pytest.raises(InputError, match="k9_nT must be above zero"):
        scalar_activity(time, field, k9_nT=0.0)
    with pytest.raises(InputError, match="must have a time"):
        scalar_activity(np.full(time.size, np.nan), field, k9_nT=500.0)
    with pytest.raises(InputError, match="ten years at most"):
        scalar_activity([0.0, 1.6e9], [1.0, 2.0], k9_nT=500.0)
