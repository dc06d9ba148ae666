"""Stated uncertainty of a model, and the use of a compass."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic.stated_uncertainty import compass_use, stated_uncertainty


def test_figures_of_the_report():
    """WMM2025 technical report, second hand: X 137, Y 89, Z 141, H 133, F 138 nT, I 0.20 deg."""
    found = stated_uncertainty(18_000.0)
    assert (found.north_nT, found.east_nT, found.down_nT) == (137.0, 89.0, 141.0)
    assert (found.horizontal_nT, found.total_field_nT, found.inclination_deg) == (133, 138, 0.2)
    assert "another model" in found.source


# sqrt(0.26^2 + (5417/H)^2), by hand: 5417/5417 is 1, 5417/20835 is 0.26.
@pytest.mark.parametrize(("level", "turn"), [(5417.0, 1.0332), (20_834.6, 0.3677), (1e9, 0.26)])
def test_declination(level, turn):
    assert stated_uncertainty(level).declination_deg == pytest.approx(turn, abs=1e-4)


def test_declination_at_a_magnetic_pole_is_unknown():
    assert stated_uncertainty(0.0).declination_deg == 180.0
    with pytest.raises(InputError, match="Horizontal intensity must lie in 0 to inf nT"):
        stated_uncertainty(-1.0)
    assert np.isfinite(stated_uncertainty(1e-3).declination_deg)


@pytest.mark.parametrize(
    ("level", "dip", "use"),
    [
        (6001.0, 84.0, "good"),
        (5999.0, 84.0, "with caution"),
        (1999.0, 87.0, "none"),
        (7000.0, -88.5, "with caution"),
    ],
)
def test_use_of_a_compass(level, dip, use):
    assert compass_use(horizontal_nT=level, inclination_deg=dip) == use
