"""Clocks combined: against weighted means worked by hand, and against planted slips."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.combine import ClockLink, combine_clocks
from lodewalk.methods.checks.clocks.evidence import (
    DETECTED,
    MEASURED,
    NOT_IDENTIFIABLE,
    NOTHING,
    ClockEvidence,
)

HOUR = 3600.0
ZONE = 5.5 * HOUR


def link(first, second, offset, sd, method="side-by-side run"):
    return ClockLink(first, second, ClockEvidence(offset, sd), method)


def combined(*links, zone_s=ZONE, bases=("B1",), **settings):
    found = combine_clocks(
        links, zone_offset_s=zone_s, gps_minus_utc_s=18.0, bases=bases, **settings
    )
    return {estimate.instrument: estimate for estimate in found}


def test_two_links_are_their_weighted_mean():
    clock = combined(link("R1", "UTC", 18.0, 0.3, "a"), link("R1", "UTC", 18.5, 0.4, "b"))["R1"]
    weights = np.array([1 / 0.09, 1 / 0.16])
    assert clock.offset_s == pytest.approx(weights @ [18.0, 18.5] / weights.sum())
    assert clock.sd_s == pytest.approx(0.24)  # 0.3 x 0.4 / 0.5
    assert clock.methods == ("a", "b")
    assert clock.state == MEASURED
    assert clock.attribution_certain
    assert "GPS time kept as UTC" in clock.text


def test_a_chain_adds_up():
    found = combined(
        link("R1", "B1", 3600.0, 0.3, "shared variation"), link("B1", "UTC", 2.0, 0.4, "GPS")
    )
    assert found["R1"].offset_s == pytest.approx(3602.0)
    assert found["R1"].sd_s == pytest.approx(0.5)
    assert found["R1"].methods == ("shared variation", "GPS")
    assert found["B1"].offset_s == pytest.approx(2.0)
    assert found["B1"].methods == ("GPS",)


def test_a_loop_is_adjusted():
    """Three links of one sd around a loop that doesn't close by 0.3 s share the misfit evenly."""
    found = combined(
        link("R1", "B1", 1.0, 0.3), link("B1", "UTC", 1.0, 0.3), link("R1", "UTC", 2.3, 0.3)
    )
    assert found["R1"].offset_s == pytest.approx(2.2)
    assert found["B1"].offset_s == pytest.approx(1.1)
    assert found["R1"].sd_s == pytest.approx(0.3 * np.sqrt(2 / 3))
    assert "contradict" not in found["R1"].text


def test_intervals_of_a_network_cover():
    rng, inside = np.random.default_rng(3), []
    for _ in range(400):
        true = {"R1": 18.0, "R2": 0.0, "B1": -1.0, "UTC": 0.0}
        pairs = [("R1", "B1"), ("R2", "B1"), ("R1", "UTC"), ("R2", "UTC"), ("R1", "R2")]
        sds = rng.uniform(0.2, 1.5, len(pairs))
        links = [
            link(a, b, true[a] - true[b] + sd * rng.normal(), sd)
            for (a, b), sd in zip(pairs, sds, strict=True)
        ]
        for name, clock in combined(*links).items():
            inside.append(abs(clock.offset_s - true[name]) < 1.645 * clock.sd_s)
    assert 0.87 < np.mean(inside) < 0.93


def test_one_wrong_link_is_left_out():
    found = combined(
        link("R1", "B1", 0.2, 0.3),
        link("R1", "UTC", 0.1, 0.3),
        link("B1", "UTC", 0.0, 0.3),
        link("R1", "B1", 900.0, 0.4, "shared variation"),
    )
    assert abs(found["R1"].offset_s) < 0.5
    assert found["R1"].state == MEASURED
    assert "R1 minus B1 by shared variation, 15 min ahead, contradicts the rest" in found["R1"].text


def test_measured_beats_detected():
    found = combined(
        link("R1", "UTC", 3600.0, 60.0, "crossings"), link("R1", "UTC", 0.1, 0.4, "side by side")
    )
    assert found["R1"].offset_s == pytest.approx(0.1)
    assert "crossings" in found["R1"].text
    assert found["R1"].methods == ("side by side",)


def test_detected_beats_not_identifiable():
    found = combined(link("R1", "UTC", 3600.0, 60.0), link("R1", "UTC", 10.0, 40.0))["R1"]
    assert found.offset_s == pytest.approx(3600.0)
    assert found.state == DETECTED


def test_an_open_contradiction_widens_the_sd():
    found = combined(link("R1", "UTC", 0.0, 0.3), link("R1", "UTC", 60.0, 0.3))["R1"]
    assert found.offset_s == pytest.approx(30.0)
    assert found.sd_s == pytest.approx(30.0)  # both lie one sd away
    assert found.state == NOT_IDENTIFIABLE
    assert "contradicts itself" in found.text


def test_nothing_is_not_identifiable():
    found = combined(ClockLink("R1", "B1", NOTHING, "crossings"), instruments=("B1", "R1", "R2"))
    assert list(found) == ["B1", "R1", "R2"]
    for clock in found.values():
        assert clock.state == NOT_IDENTIFIABLE
        assert np.isnan(clock.offset_s)
        assert clock.sd_s == np.inf
    assert "crossings couldn't tell" in found["R1"].text
    assert "there is no evidence" in found["R2"].text


def test_a_clean_pair_blames_nobody():
    found = combined(link("R1", "B1", 0.2, 0.4))
    assert found["R1"].offset_s == pytest.approx(0.2)
    assert found["R1"].state == MEASURED
    assert "both may be off alike" in found["R1"].text
    assert np.isnan(found["B1"].offset_s)
    assert found["B1"].sd_s == np.inf
    assert "Nothing ties it to UTC" in found["B1"].text


@pytest.mark.parametrize(
    ("difference", "wrong", "cause"),
    [
        (18.0, "R1", "GPS time kept as UTC"),
        (-18.0, "B1", "GPS time kept as UTC"),
        (ZONE, "R1", "local time taken as UTC"),
        (-ZONE, "B1", "local time taken as UTC"),
        (2 * ZONE, "R1", "zone's sign wrong"),
        (-2 * ZONE, "B1", "zone's sign wrong"),
    ],
)
def test_the_sign_of_a_named_slip_tells_whose_it_is(difference, wrong, cause):
    found = combined(link("R1", "B1", difference, 0.4))
    right = ({"R1", "B1"} - {wrong}).pop()
    assert found[wrong].offset_s == pytest.approx(abs(difference))
    assert found[wrong].attribution_certain
    assert cause in found[wrong].text
    assert f"{right} is taken as right" in found[wrong].text
    assert found[right].state == NOT_IDENTIFIABLE


@pytest.mark.parametrize("bases", [("B1",), ()])
def test_an_open_difference_goes_to_the_rover(bases):
    found = combined(link("R1", "B1", HOUR, 0.4), bases=bases)
    assert found["R1"].offset_s == pytest.approx(HOUR)
    assert not found["R1"].attribution_certain
    assert not found["B1"].attribution_certain
    assert "Which of R1 and B1 is wrong isn't known" in found["R1"].text
    assert "It may be the wrong one" in found["B1"].text


def test_an_open_difference_goes_to_the_rover_whichever_comes_first():
    found = combined(link("B1", "R1", -HOUR, 0.4))
    assert found["R1"].offset_s == pytest.approx(HOUR)
    assert not found["R1"].attribution_certain


def test_two_rovers_that_agree_outvote_the_base():
    found = combined(link("R1", "B1", HOUR, 0.4), link("R2", "B1", HOUR + 0.3, 0.4))
    assert found["B1"].offset_s == pytest.approx(-HOUR, abs=0.5)
    assert found["B1"].attribution_certain
    assert "R1 and R2 agree with each other" in found["B1"].text
    other = found["R2"]
    assert abs(other.offset_s) < 1
    assert "agrees with R1" in other.text


def test_one_rover_of_two_is_wrong():
    found = combined(link("R1", "B1", 0.1, 0.4), link("R2", "B1", -HOUR, 0.4))
    assert found["R2"].offset_s == pytest.approx(-HOUR, abs=0.5)
    assert found["R2"].attribution_certain
    assert "B1 and R1 agree" in found["R2"].text
    assert abs(found["R1"].offset_s) < 1


def test_gps_positions_in_the_rows_speak_for_a_clock():
    found = combined(link("R1", "B1", HOUR, 0.4), gps_stamped={"R1": True, "B1": False})
    assert found["B1"].offset_s == pytest.approx(-HOUR)
    assert found["B1"].attribution_certain
    assert "carry GPS positions" in found["B1"].text
    # but not against GPS time itself
    found = combined(link("R1", "B1", 18.0, 0.4), gps_stamped={"R1": True})
    assert found["R1"].offset_s == pytest.approx(18.0)


def test_separate_networks_are_judged_apart():
    found = combined(link("R1", "UTC", 0.1, 0.3), link("R2", "B1", 18.0, 0.3))
    assert found["R1"].offset_s == pytest.approx(0.1)
    assert found["R2"].offset_s == pytest.approx(18.0)
    assert found["B1"].state == NOT_IDENTIFIABLE


def test_bad_input():
    for first, second in (("R1", "R1"), ("UTC", "R1")):
        with pytest.raises(InputError, match="joins an instrument with another one or with UTC"):
            combined(link(first, second, 0.0, 1.0))
