"""Micro-levelling through the steps: stripes get smaller, bodies are told, off means off."""

import numpy as np
import pytest

from lodewalk.handover.tables import correction_words
from lodewalk.methods.corrections.micro_levelling import MicroLevelling, line_axes, removed
from small_survey import HEIGHT, SOUTH, WEST, diurnal, main_field, stamp

LINES, SPACING, LENGTH, MIDDLE = 15, 20.0, 400.0, 7
NOISE = 0.02


@pytest.fixture
def survey(bench):
    """Return readings and line numbers of a survey without crossings, off by planted amounts."""

    def make(off, *, lines=LINES, tie=False, **micro):
        along = np.arange(0, LENGTH + 1, 2.0)
        number = np.repeat(np.arange(lines), along.size)
        east = SPACING * number
        north = np.concatenate([along if n % 2 == 0 else along[::-1] for n in range(lines)])
        if tie:
            across = np.arange(-11.0, SPACING * lines, 2.0)
            number = np.append(number, np.full(across.size, lines))
            east, north = np.append(east, across), np.append(north, 100.0 + 0.6 * across)
        field, longitude, latitude = main_field(WEST + east, SOUTH + north)
        seconds = 2.0 * np.arange(number.size) + 60.0 * number
        rng = np.random.default_rng(5)
        field = field + off(number, east) + diurnal(seconds) + rng.normal(0, NOISE, number.size)
        rows = [
            f"{stamp(t)},{lat:.8f},{lon:.8f},{HEIGHT:.1f},L{n},{value:.3f}"
            for t, lat, lon, n, value in zip(
                seconds, latitude, longitude, number, field, strict=True
            )
        ]
        header = "time_utc,latitude,longitude,height_m,line,total_field_nT"
        bench.add("rover.csv", [header, *rows], "rover", "R")
        times = np.arange(-600, seconds[-1] + 601, 10.0)
        base = [f"{stamp(t)},{22_950 + diurnal(t):.3f}" for t in times]
        bench.add("base.csv", ["time_utc,total_field_nT", *base], "base", "B")
        if micro:
            bench.set("micro_level", **micro)
        bench.run(to="readings")
        return bench.readings(), number, off(number, east)

    return make


def constants(number, _east):
    return np.random.default_rng(9).normal(0, 0.3, LINES + 1)[number]


def dyke(peak_nT, east):
    """Return a thin vertical sheet under the middle line, 10 m deep, at the pole [nT]."""
    return peak_nT * 100 / ((east - SPACING * MIDDLE) ** 2 + 100)


def apart(values, number):
    """Return the sd of the lines' means [nT]."""
    return np.std([values[number == n].mean() for n in range(LINES)])


def test_planted_constants_that_no_crossing_sees_get_smaller(survey, bench):
    readings, number, off = survey(constants, apply="true")
    assert (readings["level_nT"] == 0).all()
    left = off - readings["micro_level_nT"].to_numpy()
    # With width 2 a wave of k a line keeps 1 / (1 + (1 - cos k)^2): of white constants 0.65,
    # the mean over all k, on lines without end; fifteen lines have few k.
    k = np.linspace(0, np.pi, 10_001)
    kept = np.sqrt(np.mean(1 / (1 + (1 - np.cos(k)) ** 2) ** 2))
    assert apart(left, number) / apart(off, number) == pytest.approx(kept, abs=0.15)
    notes = bench.product("micro_level").values
    assert notes["applied"]
    assert notes["min_wavelength_m"] == pytest.approx(5 * SPACING, rel=0.01)
    assert notes["constant_share"] > 0.9
    assert notes["rms_removed_nT"] == pytest.approx(
        np.sqrt(np.mean(readings["micro_level_nT"].to_numpy() ** 2)), abs=1e-4
    )


def test_what_is_taken_off_is_in_the_anomaly_and_in_its_error(survey, bench):
    readings, *_ = survey(constants, apply="true")
    parts = [readings[f"{name}_nT"].to_numpy() for name in ("raw", "diurnal", "reference")]
    micro = readings["micro_level_nT"].to_numpy()
    np.testing.assert_array_equal(
        readings["anomaly_nT"].to_numpy(), parts[0] - parts[1] - parts[2] - 0 - 0 - 0 - micro
    )
    level = bench.product("rover_level").floats("sd_level_nT")
    np.testing.assert_allclose(
        readings["sd_level_nT"].to_numpy() ** 2, level**2 + micro**2, rtol=1e-12, atol=1e-15
    )


def test_a_dyke_along_the_lines_keeps_its_peak(survey):
    readings, number, off = survey(lambda _n, east: dyke(20.0, east), apply="true")
    micro = readings["micro_level_nT"].to_numpy()
    on_it = number == MIDDLE
    assert (off - micro)[on_it].min() > 0.9 * 20.0
    assert np.abs(micro).max() <= 1.0


def test_a_weak_dyke_may_be_lost_and_that_is_told_and_stated(survey, bench):
    readings, number, _ = survey(lambda _n, east: dyke(0.8, east), apply="true", limit_nT=0.5)
    micro = readings["micro_level_nT"].to_numpy()
    lost = np.abs(micro[number == MIDDLE]).max()
    assert lost > 0.1 * 0.8
    assert (readings["sd_level_nT"].to_numpy() >= np.abs(micro)).all()
    (text,) = bench.product("micro_level_findings").frame["text"].to_list()
    most = bench.product("micro_level").values["most_removed_nT"]
    assert most >= round(lost, 4)
    assert f"took off up to {most:.2f} nT" in text
    assert "A narrow body along the lines looks the same and may have lost as much" in text
    assert correction_words(bench.product("micro_level_findings")) == (text,)


def test_off_is_off(survey, bench):
    readings, *_ = survey(constants)
    assert (readings["micro_level_nT"] == 0).all()
    level = bench.product("rover_level").frame["sd_level_nT"]
    assert readings["sd_level_nT"].to_list() == level.to_list()
    assert not bench.product("micro_level").values["applied"]
    assert not len(bench.product("micro_level_findings"))


def test_two_lines_have_nothing_to_be_compared_with_and_that_is_told(survey, bench):
    readings, *_ = survey(constants, lines=2, apply="true")
    assert (readings["micro_level_nT"] == 0).all()
    (text,) = bench.product("micro_level_findings").frame["text"].to_list()
    assert "no three lines" in text


def test_tie_lines_and_dropped_readings_are_left_as_they_are(survey, bench):
    readings, number, _ = survey(constants, tie=True, apply="true")
    micro = readings["micro_level_nT"].to_numpy()
    assert bench.product("lines").booleans("tie").sum() == 1
    assert (micro[number == LINES] == 0).all()
    assert (micro[~readings["kept"].to_numpy()] == 0).all()
    assert micro.any()


def test_axes_follow_the_lines_whatever_their_azimuth():
    rng = np.random.default_rng(2)
    azimuth = np.deg2rad(37.0)
    along, across = rng.uniform(0, 500, 50), rng.uniform(0, 200, 50)
    east = along * np.sin(azimuth) + across * np.cos(azimuth) + 5e5
    north = along * np.cos(azimuth) - across * np.sin(azimuth) + 7e6
    found = line_axes(east, north, azimuth_deg=[37.0, 217.0, np.nan], length_m=[9.0, 8.0, 0.0])
    for axis, wanted in zip(found, (along, across), strict=True):
        np.testing.assert_allclose(axis, wanted - wanted.mean(), atol=1e-6)


def test_nothing_taken_off_has_no_shares():
    nothing = MicroLevelling(np.zeros(3), np.zeros(3), np.array([1.0, 0.5, 1.0]))
    figures = removed([0, 0, -1], nothing, limit_nT=1.0)
    assert figures == (2, 0.0, 0.0, 0.0, 0.0, 0.5)
