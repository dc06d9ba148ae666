"""Chord departures against their closed forms on a parabola and on a cosine crest."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.base_record import (
    base_range,
    chord_departures,
    default_chord,
    spans_over,
)


def test_range_leaves_missing_readings_out():
    assert base_range([3, np.nan, -4, 2]) == 7
    assert np.isnan(base_range([np.nan]))
    assert np.isnan(base_range([]))


@pytest.mark.parametrize(("interval", "chord"), [(1, 60), (10, 60), (15, 60), (30, 120), (60, 240)])
def test_default_chord_is_the_longer_of_a_minute_and_four_intervals(interval, chord):
    assert default_chord(np.arange(20) * float(interval)) == chord


@pytest.mark.parametrize("interval", [0.1, 1, 5, 15])
@pytest.mark.parametrize("start", [0.0, 1.7e9])
def test_parabola(interval, start):
    time = np.arange(0, 600 + interval / 2, interval)
    departures = chord_departures(time + start, 0.01 * time**2, chord_s=60)
    # c L^2 / 4; when the interval doesn't divide half a chord, the nearest reading to the middle.
    nearest = 30 - interval * np.round(30 / interval)
    assert departures.worst_nT == pytest.approx(0.01 * (30**2 - nearest**2), abs=2e-5)
    assert departures.chord_s == 60
    inner = departures.departure_nT[(time >= 60) & (time <= 540)]
    assert inner == pytest.approx(departures.worst_nT, abs=2e-5)
    assert np.isnan(departures.departure_nT[[0, -1]]).all()


@pytest.mark.parametrize(
    ("amplitude", "period", "chord", "expected"),
    [
        (20, 86_400, 3600, 0.171103),
        (10, 600, 60, 0.489435),
        (30, 1800, 300, 4.019238),
    ],
)
def test_cosine_crest(amplitude, period, chord, expected):
    time = np.arange(-1.5 * chord, 1.5 * chord + 1)
    record = amplitude * np.cos(2 * np.pi * time / period)
    departures = chord_departures(time, record, chord_s=chord)
    assert departures.worst_nT == pytest.approx(expected, abs=1e-6)
    assert departures.worst_s == 0
    assert amplitude * (1 - np.cos(np.pi * chord / period)) == pytest.approx(expected, abs=1e-6)


def test_a_straight_record_departs_nowhere():
    time = np.sort(np.random.default_rng(1).uniform(0, 3600, 900))
    departures = chord_departures(time, 3 + 0.2 * time, chord_s=60)
    assert np.nanmax(departures.departure_nT) < 1e-9
    assert np.isfinite(departures.departure_nT[time < 3500]).sum() > 800


def test_chord_ends_fall_between_readings():
    time = np.arange(0.0, 400, 7)
    departures = chord_departures(time, 0.01 * time**2, chord_s=60)
    # A parabola departs by c a (L - a) at a from the chord's start; the piecewise line at the
    # chord's end lies at most c 7^2 / 4 above it.
    assert departures.worst_nT == pytest.approx(0.01 * 28 * 32, abs=0.01 * 49 / 4)


def test_a_chord_with_two_readings_inside_is_not_judged():
    time = np.arange(0.0, 3000, 20)
    departures = chord_departures(time, time**2, chord_s=60)
    assert np.isnan(departures.departure_nT).all()
    assert np.isnan(departures.worst_nT)
    assert np.isfinite(chord_departures(time, time**2, chord_s=80).worst_nT)


def test_no_chord_reaches_over_a_gap():
    time = np.concatenate((np.arange(0.0, 120), np.arange(200.0, 320)))
    record = np.where(time < 150, 0.0, 50.0)
    departures = chord_departures(time, record, chord_s=60)
    assert departures.worst_nT == 0
    assert np.isfinite(departures.departure_nT).sum() == 2 * 118
    bridged = chord_departures(time, record, chord_s=200)
    assert bridged.worst_nT > 20


def test_missing_readings_are_stepped_over():
    time = np.arange(0.0, 300)
    record = 0.01 * time**2
    record[100:110] = np.nan
    departures = chord_departures(time, record, chord_s=60)
    # A chord's end inside the stretch of 11 s lies up to c 11^2 / 4 too high.
    assert 9 <= departures.worst_nT <= 9 + 0.01 * 121 / 4
    assert np.flatnonzero(np.isnan(departures.departure_nT[1:-1])).tolist() == list(range(99, 109))


def test_spans_over_the_tolerance():
    time = np.arange(0.0, 1200)
    record = 8 * np.exp(-(((time - 600) / 15) ** 2))
    departures = chord_departures(time, record)
    spans = spans_over(departures.departure_nT, time_s=time)
    assert len(spans) == 1
    assert 540 < spans.start_s[0] < 600 < spans.end_s[0] < 660
    assert departures.worst_nT == pytest.approx(8 * (1 - np.exp(-4)), abs=0.02)


@pytest.mark.parametrize("n", [0, 1, 3])
def test_short_records(n):
    departures = chord_departures(np.arange(float(n)), np.zeros(n))
    assert np.isnan(departures.departure_nT).all()


def test_input_is_checked():
    with pytest.raises(InputError, match="must increase"):
        chord_departures([0, 2, 1], [0, 0, 0])
    with pytest.raises(InputError, match="chord_s"):
        chord_departures([0, 1], [0, 0], chord_s=0)
    with pytest.raises(InputError, match="tolerance_nT"):
        spans_over([1.0], time_s=[0.0], tolerance_nT=-1)
