"""Gaps of an hour cut into real base records, and bridged.

Conrad Observatory, each day by itself: 2018-08-29, 2023-07-12 and 9-12 May 2024 (a quiet day, then
a great storm). The base is the scalar record at a reading each 10 s (2023: the vector length), the
truth the same record at 1 s. Aids:

* the second instrument of the day: length of the vector record (2023: the scalar one), real;
* a second base some kilometres away: the record plus 3 % of the east component, 2 % of what the
  field does within 20 minutes, and noise of 0.07 nT;
* a distant observatory: minute means, 30 % of the east component and 20 % of the short variation
  more, noise of 0.1 nT;
* revisits: at random times of the gap, with the partner at any time within four hours, noise
  Gaussian, one in twenty five times as large.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d

from lodewalk.methods.corrections.bridging import Bridge, Readings, Revisits, bridge_gap
from outside.readers import Columns, read_cdf, read_iaga

HOUR = 3600.0
DAY = 86_400
BASE_EVERY = 10
BASE_NOISE_NT = 0.01
REACH_S = 4 * HOUR


@dataclass(frozen=True)
class Day:
    """A day of 1 s readings: field, that of the second instrument, and the east component."""

    name: str
    time_s: np.ndarray
    field_nT: np.ndarray
    second_nT: np.ndarray
    east_nT: np.ndarray

    def field_at(self, time_s: np.ndarray) -> np.ndarray:
        return np.interp(time_s, self.time_s, self.field_nT)


@dataclass(frozen=True)
class Score:
    """Mean squared errors [nT^2] of bridge and straight line, and share inside 90 % limits."""

    bridge: float
    line: float
    inside: float


def length(columns: Columns, prefix: str = "") -> np.ndarray:
    return np.sqrt(sum(columns[f"{prefix}{name}"] ** 2 for name in "HEZ"))


def day_of(name: str, time: np.ndarray, *columns: np.ndarray) -> Day:
    """Return the day; the few missing readings are joined up straight."""
    known = [np.isfinite(column) for column in columns]
    whole = [np.interp(time, time[k], c[k]) for k, c in zip(known, columns, strict=True)]
    return Day(name, time, *whole)


def real_days(cdf_2024: Path, base_2023: Path, scalar_2023: Path, iaga_2018: Path) -> list[Day]:
    storm, pair, scalar = read_cdf(cdf_2024), read_iaga(base_2023), read_cdf(scalar_2023)
    old, prefix = read_iaga(iaga_2018), "GeomagneticField"
    second = np.interp(pair["time_s"], scalar["time_s"], scalar["f"])
    days = [
        day_of("2018-08-29", old["time_s"], old["F"], length(old), old["E"]),
        day_of("2023-07-12", pair["time_s"], length(pair), second, pair["E"]),
    ]
    columns = storm["time_s"], storm[f"{prefix}S"], length(storm, prefix), storm[f"{prefix}E"]
    for number in range(4):
        part = [column[number * DAY : (number + 1) * DAY] for column in columns]
        days.append(day_of(f"2024-05-{9 + number:02d}", *part))
    return days


def second_instrument(day: Day) -> Readings:
    return Readings(day.time_s, day.second_nT)


def elsewhere(
    day: Day, *, east: float, short: float, noise_nT: float, every: int = 1, seed: int = 0
) -> Readings:
    """Return what another base records: parts of the east component and of the short variation."""
    rng = np.random.default_rng([seed, int(day.name[-2:])])
    fast = day.field_nT - uniform_filter1d(day.field_nT, 1200)
    field = day.field_nT + east * (day.east_nT - day.east_nT[0]) + short * fast + 37.0
    field = uniform_filter1d(field + noise_nT * rng.normal(size=field.size), every)
    return Readings(day.time_s[::every], field[::every])


def second_base(day: Day) -> Readings:
    return elsewhere(day, east=0.03, short=0.02, noise_nT=0.07)


def observatory(day: Day) -> Readings:
    return elsewhere(day, east=0.3, short=0.2, noise_nT=0.1, every=60)


def revisits_in(
    day: Day, start_s: float, end_s: float, *, an_hour: float, noise_nT: float, seed: int
) -> Revisits:
    rng = np.random.default_rng([seed, int(start_s) % DAY])
    number = rng.poisson(an_hour * (end_s - start_s) / HOUR)
    first = rng.uniform(start_s, end_s, number)
    reach = max(day.time_s[0], start_s - REACH_S), min(day.time_s[-1], end_s + REACH_S)
    second = rng.uniform(*reach, number)
    noise = noise_nT * rng.normal(size=number)
    noise[rng.uniform(size=number) < 0.05] *= 5
    difference = day.field_at(first) - day.field_at(second) + noise
    return Revisits(first, second, difference, noise_nT)


def bridged(day: Day, start_s: float, end_s: float, **aids: object) -> tuple[Bridge, Score]:
    """Bridge a gap cut into the day; the truth is the field at the minutes inside."""
    time, field = day.time_s[::BASE_EVERY], day.field_nT[::BASE_EVERY]
    live = (time <= start_s) | (time >= end_s)
    time, field = time[live], field[live]
    settings = {"gap_start_s": start_s, "gap_end_s": end_s, "base_noise_nT": BASE_NOISE_NT}
    at = np.arange(np.ceil(start_s / 60) * 60, end_s, 60.0)
    bridge = bridge_gap(time, field, at_s=at, **settings, **aids)
    error = bridge.at.value_nT - day.field_at(at)
    sd = np.hypot(bridge.at.sd_nT, BASE_NOISE_NT)  # the truth has the noise of a reading too
    line = np.interp(at, time, field) - day.field_at(at)
    inside = float(np.mean(np.abs(error) <= 1.645 * sd))
    return bridge, Score(float(np.mean(error**2)), float(np.mean(line**2)), inside)


def starts(day: Day, *, every_s: float, after_s: float, length_s: float = HOUR) -> np.ndarray:
    """Return starts of gaps that leave an hour of record on either side."""
    return np.arange(day.time_s[0] + HOUR + after_s, day.time_s[-1] - HOUR - length_s, every_s)


def ratio(scores: list[Score]) -> float:
    """Return rms of the bridge over rms of the line."""
    return float(np.sqrt(sum(s.bridge for s in scores) / sum(s.line for s in scores)))


def coverage(scores: list[Score]) -> float:
    return float(np.mean([score.inside for score in scores]))


@pytest.fixture(scope="module")
def days(
    conrad_2024_cdf: Path,
    conrad_2023_base: Path,
    conrad_2023_scalar_cdf: Path,
    conrad_2018_iaga: Path,
) -> list[Day]:
    return real_days(conrad_2024_cdf, conrad_2023_base, conrad_2023_scalar_cdf, conrad_2018_iaga)


def test_sides_alone_are_no_worse_than_the_line(
    days: list[Day], figures: Callable[[str], None]
) -> None:
    scores = [
        bridged(day, start, start + HOUR)[1]
        for day in days
        for start in starts(day, every_s=4100, after_s=500)
    ]
    figures(
        f"1 h base gaps from the sides alone: {len(scores)} gaps, {ratio(scores):.3f} of the rms "
        f"of the line, 90 % intervals hold {coverage(scores):.1%}"
    )
    assert ratio(scores) <= 1.005
    assert 0.84 <= coverage(scores) <= 0.96


@pytest.mark.parametrize(
    ("kind", "most"), [(second_instrument, 0.05), (second_base, 0.15), (observatory, 0.75)]
)
def test_another_record_takes_most_of_the_error(
    days: list[Day],
    kind: Callable[[Day], Readings],
    most: float,
    figures: Callable[[str], None],
) -> None:
    scores = []
    for day in days:
        other = kind(day)
        for start in starts(day, every_s=7100, after_s=500):
            scores.append(bridged(day, start, start + HOUR, others=[other])[1])
    figures(
        f"1 h base gaps with {kind.__name__}: {len(scores)} gaps, {ratio(scores):.3f} of the rms "
        f"of the line, 90 % intervals hold {coverage(scores):.1%}"
    )
    assert ratio(scores) <= most
    assert 0.84 <= coverage(scores) <= 0.96


def test_revisits_halve_the_error_of_every_day(
    days: list[Day], figures: Callable[[str], None]
) -> None:
    everything = []
    for day in days:
        scores = []
        for start in starts(day, every_s=6100, after_s=500):
            pairs = revisits_in(day, start, start + HOUR, an_hour=30, noise_nT=0.3, seed=11)
            bridge, score = bridged(day, start, start + HOUR, revisits=pairs)
            assert bridge.n_revisits > 0
            scores.append(score)
        assert ratio(scores) <= 0.5
        everything += scores
    figures(
        f"1 h base gaps with 30 revisits of 0.3 nT: {len(everything)} gaps, "
        f"{ratio(everything):.3f} of the rms of the line, 90 % intervals hold "
        f"{coverage(everything):.1%}"
    )
    assert 0.84 <= coverage(everything) <= 0.96


def test_a_base_that_stopped_is_followed_along_the_second_one(
    days: list[Day], figures: Callable[[str], None]
) -> None:
    inside, growth = [], []
    for day in days:
        other = second_base(day)
        for start in starts(day, every_s=7900, after_s=3 * HOUR):
            end = min(start + 3 * HOUR, day.time_s[-1])
            bridge = died(day, start, end, other)
            error = bridge.at.value_nT - day.field_at(bridge.at.time_s)
            inside.append(np.mean(np.abs(error) <= 1.645 * bridge.at.sd_nT))
            growth.append(bridge.at.sd_nT[-1] > bridge.at.sd_nT[0])
    figures(
        f"base that stopped, up to 3 h along a second one: {len(inside)} gaps, 90 % intervals "
        f"hold {np.mean(inside):.1%}"
    )
    assert all(growth)
    assert 0.8 <= np.mean(inside) <= 0.97


def died(day: Day, start_s: float, end_s: float, other: Readings) -> Bridge:
    """Bridge the time after a base stopped for good, from eight hours of its record at most."""
    time, field = day.time_s[::BASE_EVERY], day.field_nT[::BASE_EVERY]
    live = (time <= start_s) & (time > start_s - 8 * HOUR)
    return bridge_gap(
        time[live],
        field[live],
        gap_start_s=start_s,
        gap_end_s=end_s,
        at_s=np.arange(start_s + 30, end_s, 60.0),
        base_noise_nT=BASE_NOISE_NT,
        others=[other],
    )
