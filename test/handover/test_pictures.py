"""What the report says below the map of how the grid was made."""

import pytest

from lodewalk.handover.pictures import _how_gridded


def notes(*, strength, rms, plain, tried):
    trials = [{"strength": 0.0, "left_out": "lines", "rms_nT": plain}]
    trials += [{"strength": 0.1, "left_out": "lines", "rms_nT": value} for value in tried]
    return {
        "method": "minimum curvature along strike",
        "height_m": 0.0,
        "surface": {
            "tension": 0.0, "damping_m2": 4.8, "layer": None, "strength": strength,
            "left_out_rms_nT": rms, "left_out_plain_rms_nT": plain, "strike_trials": trials,
        },
    }  # fmt: skip


def test_what_is_carried_is_told_with_and_without():
    text = _how_gridded(notes(strength=1.0, rms=3.89, plain=6.71, tried=[4.8, 3.89]))
    assert "Values are carried along the strike" in text
    assert "predicted to 3.9 instead of 6.7 nT." in text


def test_nothing_carried_is_told_with_what_was_tried():
    text = _how_gridded(notes(strength=0.0, rms=6.04, plain=6.04, tried=[6.12]))
    assert "Nothing is carried along the strike" in text
    assert "to 6.1 instead of 6.0 nT at best." in text


@pytest.mark.parametrize("rms", [None, 6.0])
def test_where_nothing_was_tried_the_strike_is_not_spoken_of(rms):
    told = notes(strength=0.0, rms=rms, plain=None, tried=[])
    told["surface"]["strike_trials"] = []
    assert "strike" not in _how_gridded(told)
