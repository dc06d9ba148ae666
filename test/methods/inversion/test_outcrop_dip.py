"""Dips from outcrop, against the anomaly of a body made of line dipoles."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.inversion.choice import fit_profile
from lodewalk.methods.inversion.outcrop_dip import magnetisation_of_dip, with_dip
from lodewalk.methods.inversion.results import Estimate, Noise, Profile

DIP, FIELD = 60.0, 50.0
X = np.arange(-60.0, 61.0, 2.0)


def heap(towards_deg):
    """A sheet of line dipoles down the dip, magnetised at an angle in the section [deg].

    Sum of ``2 (m.r) (t.r) / r**4 - (m.t) / r**2``, t along the field.
    """
    edges = 10.0 + 0.2 * (np.geomspace(1.0, 2e5, 1500) - 1.0)
    below, thick = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
    right = X[:, None] - (below - 10.0) / np.tan(np.radians(DIP))
    square = right**2 + below**2
    m, t = (np.radians(angle) for angle in (towards_deg, FIELD))
    along = [np.cos(a) * right - np.sin(a) * below for a in (m, t)]
    return ((2.0 * along[0] * along[1] / square**2 - np.cos(m - t) / square) * thick).sum(axis=1)


def fitted(towards_deg):
    made = heap(towards_deg)
    profile = Profile(X, 100.0 * made / np.ptp(made), sd_nT=np.full(X.size, 0.3))
    fit = fit_profile(profile, noise=Noise(), kinds=("thin sheet",)).fits[0]
    return fit.estimates["index_angle_deg"]


def test_a_true_dip_agrees_with_induction_and_narrows_the_index_angle():
    own = fitted(FIELD)
    told, off = with_dip(own, DIP, sd_deg=1.0, inclination_deg=FIELD, profile_azimuth_deg=0.0)
    assert off < 2.5
    assert told.sd < min(own.sd, 1.0)


@pytest.mark.parametrize("turn", [0.0, 35.0, -60.0])
def test_the_direction_of_the_magnetisation_is_found_from_index_angle_and_dip(turn):
    direction, told = magnetisation_of_dip(
        fitted(FIELD + turn), DIP, sd_deg=2.0, inclination_deg=FIELD, profile_azimuth_deg=0.0
    )
    assert told.value == pytest.approx(turn, abs=3.0)
    assert direction.value == pytest.approx(FIELD + turn, abs=3.0)
    assert (told.low < 0.0 < told.high) == (turn == 0.0)


def test_remanence_contradicts_a_dip_under_induction():
    _, off = with_dip(
        fitted(FIELD + 35.0), DIP, sd_deg=2.0, inclination_deg=FIELD, profile_azimuth_deg=0.0
    )
    assert off > 3.0


def test_a_dip_without_error_is_refused():
    with pytest.raises(InputError, match="sd of a dip"):
        with_dip(Estimate(0.0, 1.0, -1.0, 1.0), 60.0, sd_deg=0.0, inclination_deg=50.0,
                 profile_azimuth_deg=0.0)  # fmt: skip
