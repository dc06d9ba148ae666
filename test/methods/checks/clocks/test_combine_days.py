"""Clocks set anew between days: against slips planted in links, and chance alone."""

import numpy as np
import pytest

from lodewalk.methods.checks.clocks.combine import ClockLink, combine_clocks
from lodewalk.methods.checks.clocks.evidence import MEASURED, NOT_IDENTIFIABLE, ClockEvidence

DAYS = ("2026-03-10", "2026-03-11", "2026-03-12")
HOUR = 3600.0


def link(first, second, offset, sd, day, method="side-by-side run"):
    return ClockLink(first, second, ClockEvidence(offset, sd), method, day)


def combined(links, bases=("B1",), stamped=None):
    found = combine_clocks(
        links, zone_offset_s=0.0, gps_minus_utc_s=18.0, bases=bases, gps_stamped=stamped
    )
    return {estimate.instrument: estimate for estimate in found}


def offsets(estimate):
    return {day.day: day.offset_s for day in estimate.days}


def test_days_that_agree_are_one_weighted_mean():
    found = combined([link("R1", "UTC", 18.0, 0.3, DAYS[0]), link("R1", "UTC", 18.5, 0.4, DAYS[1])])
    clock = found["R1"]
    assert not clock.anew
    assert clock.offset_s == pytest.approx((18.0 / 0.09 + 18.5 / 0.16) / (1 / 0.09 + 1 / 0.16))
    assert clock.sd_s == pytest.approx(0.24)  # 0.3 x 0.4 / 0.5
    assert offsets(clock) == dict.fromkeys(DAYS[:2], clock.offset_s)


def test_the_day_that_is_off_stands_by_itself_and_the_others_stay_together():
    found = combined(
        [
            link("R1", "UTC", 0.0, 0.3, DAYS[0]),
            link("R1", "UTC", HOUR, 0.4, DAYS[1]),
            link("R1", "UTC", 0.5, 0.4, DAYS[2]),
        ]
    )["R1"]
    assert found.anew
    mean = (0.5 / 0.16) / (1 / 0.09 + 1 / 0.16)
    assert offsets(found) == pytest.approx({DAYS[0]: mean, DAYS[1]: HOUR, DAYS[2]: mean})
    assert [day.sd_s for day in found.days] == pytest.approx([0.24, 0.4, 0.24])
    assert found.offset_s == HOUR
    assert found.state == MEASURED
    assert DAYS[1] in found.text


def test_of_rover_and_base_the_rover_was_set_anew():
    links = [link("R1", "B1", 0.1, 0.3, DAYS[0]), link("R1", "B1", HOUR, 0.4, DAYS[1])]
    found = combined(links, stamped={"R1": True})
    assert found["R1"].anew
    assert offsets(found["R1"])[DAYS[1]] == pytest.approx(HOUR)
    assert found["R1"].sd_s == pytest.approx(0.4)  # against the base, not its other day
    assert not found["B1"].anew
    assert found["B1"].state == NOT_IDENTIFIABLE


def test_a_base_that_two_rovers_see_off_was_set_anew_itself():
    """Both rovers are tied to UTC by their tracks, right on both days."""
    links = [
        link(rover, other, offset, 0.3, day)
        for day, base in zip(DAYS[:2], (0.0, HOUR), strict=True)
        for rover in ("R1", "R2")
        for other, offset in (("UTC", 0.0), ("B1", -base))
    ]
    found = combined(links)
    assert offsets(found["B1"]) == pytest.approx({DAYS[0]: 0.0, DAYS[1]: HOUR}, abs=1e-6)
    assert not found["R1"].anew
    assert not found["R2"].anew


def test_a_chain_through_the_base_keeps_days_apart():
    """R2 has only the base; R1's track ties that to UTC. R2 is 60 s behind on the second day."""
    links = []
    for day, slip in zip(DAYS[:2], (0.0, -60.0), strict=True):
        links += [
            link("R1", "UTC", 2.0, 0.3, day),
            link("R1", "B1", 1.0, 0.3, day),
            link("R2", "B1", slip, 0.3, day),
        ]
    found = combined(links)
    assert offsets(found["R2"]) == pytest.approx({DAYS[0]: 1.0, DAYS[1]: -59.0})
    assert not found["R1"].anew
    assert found["R1"].offset_s == pytest.approx(2.0)


def test_a_contradiction_within_a_day_sets_no_clock_anew():
    links = [
        link("R1", "UTC", 0.0, 0.3, DAYS[0], "a"),
        link("R1", "UTC", 0.1, 0.3, DAYS[1], "b"),
        link("R1", "UTC", 900.0, 20.0, DAYS[1], "c"),
    ]
    found = combined(links)["R1"]
    assert not found.anew
    assert found.offset_s == pytest.approx(0.05)
    assert "left out" in found.text


def test_days_within_a_second_are_one_setting_however_sure_they_are():
    found = combined([link("R1", "UTC", 0.0, 0.05, DAYS[0]), link("R1", "UTC", 0.8, 0.05, DAYS[1])])
    clock = found["R1"]
    assert not clock.anew
    assert clock.offset_s == pytest.approx(0.4)
    assert clock.sd_s == pytest.approx(0.4)  # half the range: the sd is widened to fit


def test_the_day_of_another_instrument_is_no_day_of_this_one():
    found = combined([link("R1", "UTC", 0.0, 0.3, DAYS[0]), link("R2", "UTC", 50.0, 0.3, DAYS[1])])
    assert list(offsets(found["R1"])) == [DAYS[0]]
    assert list(offsets(found["R2"])) == [DAYS[1]]


def test_links_of_no_day_are_one_estimate_as_before():
    found = combined([link("R1", "UTC", 18.0, 0.3, ""), link("R1", "UTC", 18.5, 0.4, "")])["R1"]
    assert found.days == ()
    assert found.sd_s == pytest.approx(0.24)


def test_chance_sets_no_clock_anew():
    """Normal errors as stated: in 3000 surveys of three days no more than chance lets through."""
    rng = np.random.default_rng(7)
    false = 0
    for _ in range(3000):
        sd = np.exp(rng.uniform(np.log(0.2), np.log(5.0), 6))
        error = rng.normal(0, sd)
        links = [
            link("R1", other, error[2 * k + n], sd[2 * k + n], day)
            for k, day in enumerate(DAYS)
            for n, other in enumerate(("UTC", "B1"))
        ]
        false += any(estimate.anew for estimate in combined(links).values())
    assert false <= 10  # 0.001 a survey: 3 expected


def test_a_minute_is_found_on_each_of_many_draws():
    rng = np.random.default_rng(8)
    inside = []
    for _ in range(200):
        error = rng.normal(0, 1.0, 3)
        truth = (0.0, 60.0, 0.0)
        links = [
            link("R1", "UTC", slip + e, 1.0, day)
            for day, slip, e in zip(DAYS, truth, error, strict=True)
        ]
        found = combined(links)["R1"]
        assert found.anew
        inside += [
            abs(day.offset_s - slip) <= 1.645 * day.sd_s
            for day, slip in zip(found.days, truth, strict=True)
        ]
    assert np.mean(inside) == pytest.approx(0.9, abs=0.04)
