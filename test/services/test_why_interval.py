"""What `why` says of the interval of a depth: the error of the places beside the readings' own."""

import polars as pl

from lodewalk.services.rocks.why_interval import place_error


def profile(place):
    return pl.DataFrame({"place_nT": place, "sd_nT": [0.5] * len(place)})


def test_the_error_of_places_is_told_and_whether_it_is_the_largest():
    noise = {"scale": 2.0, "correlated_nT": 0.3}
    # By hand: rms of 3 and 4 is 3.54; the readings' own are 0.5 times 2.
    (told,) = place_error(profile([3.0, -4.0]), noise)
    for words in ("3.54 nT", "at most 4.00 nT", "1.00 nT of the readings' own", "the largest"):
        assert words in told
    (small,) = place_error(profile([0.3, 0.4]), noise)
    assert "the largest" not in small


def test_without_an_error_of_places_nothing_is_said():
    assert place_error(profile([0.0, 0.0]), {"scale": 1.0, "correlated_nT": 0.0}) == []
    without = profile([1.0]).drop("place_nT")
    assert place_error(without, {"scale": 1.0, "correlated_nT": 0.0}) == []
