"""The mean over profiles holds the truth as often as it says, and a curved field or a shift of all
places doesn't make a body's depth or place too sure.
"""

import numpy as np
import pytest

from lodewalk.methods.bodies.dyke import index_dyke_anomaly
from lodewalk.methods.inversion.choice import fit_profile
from lodewalk.methods.inversion.over_profiles import over_profiles
from lodewalk.methods.inversion.results import Noise, Profile

TRIALS = 400


@pytest.mark.parametrize("between", [0.0, 1.0])
def test_nine_in_ten_intervals_hold_the_mean(between):
    """Between 0.87 and 0.96: 400 trials, and an interval that isn't narrowed below the errors."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(TRIALS):
        sd = rng.uniform(0.3, 1.5, 8)
        found = over_profiles(5.0 + rng.normal(0.0, np.hypot(sd, between)), sd).estimate
        held += found.low <= 5.0 <= found.high
    assert 0.87 <= held / TRIALS <= 0.96


def shifted(place_sd_m):
    """A dyke 10 m deep whose readings' places are all off alike, over a bowl of 2 nT.

    A far stronger one is taken for a second body, and no number is told.
    """
    x = np.arange(-60.0, 61.0, 1.5)
    body = index_dyke_anomaly(
        x, depth_m=10.0, half_width_m=1.0, amplitude_nT=100.0, index_angle_deg=30.0
    )
    noise = np.random.default_rng(4).normal(0.0, 0.2, x.size)
    sd = np.full(x.size, 0.2)
    return Profile(x, body + noise + 2.0 * (x / 60.0) ** 2, sd_nT=sd, place_sd_m=place_sd_m)


def test_a_place_is_no_surer_than_its_readings_and_a_bowl_costs_no_depth():
    found = fit_profile(shifted(1.5), noise=Noise())
    assert found.fits[0].estimates["position_m"].sd >= 1.5
    bare = fit_profile(shifted(0.0), noise=Noise())
    assert bare.fits[0].estimates["position_m"].sd < 0.3
    assert bare.depth.low < 10.0 < bare.depth.high
