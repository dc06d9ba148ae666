"""A compact body at a place, at the command line: a planted dipole, and what isn't one."""

import json

import numpy as np
import pytest

from dyked_survey import SENSOR, Dyke, make_dyked_survey
from lodewalk.methods.bodies import ambient_vector
from small_survey import SOUTH, WEST

#: Its moment lies off the field: north, east, down [A m2].
DEPTH, MOMENT = 16.0, np.array([4000.0, 3000.0, 500.0])
PLACE = (WEST + 47.0, SOUTH + 118.0)


class Ball(Dyke):
    """A dipole in place of the dyke, its field projected on the main field's direction."""

    def across(self, east, north):
        return east, north

    def curve(self, x):
        """mu0 / 4 pi (3 (m.r) r / r^5 - m / r^3), in nT, along the field."""
        away = np.stack([x[1] - PLACE[1], x[0] - PLACE[0], np.full(x[0].shape, -DEPTH)])
        far = np.linalg.norm(away, axis=0)
        field = 100.0 * (3 * away * (MOMENT @ away) / far**5 - MOMENT[:, None] / far**3)
        main = ambient_vector(strength_nT=1.0, inclination_deg=-38.8, declination_deg=-19.6)
        return main @ field


@pytest.fixture(scope="module")
def ball(tmp_path_factory):
    return make_dyked_survey(tmp_path_factory.mktemp("ball"), Ball()).path


def where(east, north, reach):
    return "--east", f"{east:.1f}", "--north", f"{north:.1f}", "--reach", f"{reach}"


def test_a_planted_dipole_is_told_with_its_direction(lodewalk, ball):
    shown = lodewalk("fit", ball, *where(*PLACE, 48), "--json")
    assert shown.code == 0, shown.err
    told = json.loads(shown.out)
    assert told["easting_m"]["low"] < PLACE[0] < told["easting_m"]["high"]
    assert told["northing_m"]["low"] < PLACE[1] < told["northing_m"]["high"]
    assert told["depth_m"]["low"] < DEPTH - SENSOR < told["depth_m"]["high"]
    assert told["depth_m"]["value"] == pytest.approx(DEPTH - SENSOR, abs=1.0)
    assert told["declination_deg"] == pytest.approx(36.9, abs=6.0)
    assert told["inclination_deg"] == pytest.approx(5.7, abs=6.0)
    assert told["off_field_deg"] > told["cone_deg"]
    printed = lodewalk("fit", ball, *where(*PLACE, 48)).out
    assert "centre below ground" in printed
    assert "No drilling decision" in printed


@pytest.mark.parametrize(
    ("place", "message"),
    [
        ((*PLACE, 8), "30 or more are needed"),
        ((PLACE[0], PLACE[1] + 95.0, 24), ""),
        ((0.0, 0.0, 50), "No kept reading lies there"),
        ((*PLACE, -1), "above zero"),
    ],
)
def test_what_is_no_compact_body_is_refused(refused, ball, place, message):
    assert message in refused(ball, "fit", ball, *where(*place))


def test_a_place_needs_its_reach(lodewalk, ball):
    assert lodewalk("fit", ball, "--east", "5").code == 2
