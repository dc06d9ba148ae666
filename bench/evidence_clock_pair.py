"""Clock offsets from the variation that two instruments shared: errors, states and coverage.

Planted pairs (a rover of 0.1 nT, a base of 0.05 nT, a reading a second each, the rover's clock 18
s ahead) on random walks, as strong as those of the floors, and on red noise whose slope isn't
known; and slips put into the real pair of Conrad Observatory. Run ``python
bench/evidence_clock_pair.py``; it prints one Markdown section.
"""

import runpy
import time as clock
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from common import BENCH
from lodewalk.methods.checks.clocks.pair import pair_offset
from outside import fetch
from outside.readers import read_cdf, read_iaga

OF_TEST = runpy.run_path(str(BENCH.parent / "test/methods/checks/clocks/test_pair.py"))
SLIP_S = 18.0
MINUTES = (5, 10, 30)
TRIALS = {5: 40, 10: 60, 30: 20}
MIXED = 360
UNRELATED = 30
LEVELS_NT = (0.3, 1.0, 5.0)
#: Median / 95th percentile of the error, seconds, computed beforehand by other code (60 trials).
FLOORS = {
    0.3: ("1.4 / 7.2", "1.1 / 7.1", "0.6 / 3.6"),
    1.0: ("0.3 / 1.1", "0.2 / 0.8", "0.14 / 0.6"),
    5.0: ("0.04 / 0.1", "0.03 / 0.1", "0.02 / under 0.05"),
}
WINDOW = 1800


@dataclass(frozen=True)
class Found:
    """Errors and sd of a number of trials; NaN where nothing was said."""

    error: np.ndarray
    sd: np.ndarray
    slip: float

    @property
    def said(self) -> np.ndarray:
        return np.isfinite(self.error)

    def errors(self) -> str:
        size = np.abs(self.error[self.said])
        return f"{np.median(size):.2g} / {np.quantile(size, 0.95):.2g}"

    def called(self, at: float) -> np.ndarray:
        """Tell which trials are more than three sd from `at`, or measured."""
        return (self.sd <= 2) | (np.abs(self.error + self.slip - at) > 3 * self.sd)

    def false_slips(self) -> np.ndarray:
        """Tell in which trials a right clock would have been called wrong."""
        return self.said & (np.abs(self.error) > 3 * self.sd)

    def covered(self) -> np.ndarray:
        return np.abs(self.error[self.said]) <= 1.645 * self.sd[self.said]


def walk(rng: np.random.Generator, *, rms: float) -> np.ndarray:
    """Return a random walk of two hours whose steps are those of a rms over all, on average."""
    return np.cumsum(rng.normal(scale=0.03 * rms, size=OF_TEST["TWO_HOURS"]))


def mixed(rng: np.random.Generator, *, rms: float) -> np.ndarray:
    return OF_TEST["red_noise"](rng, rms=rms, slope=rng.uniform(1.5, 3.0))


def trials(
    number: int, field: Callable[..., np.ndarray], rms: float, *, minutes: int = 10, seed: int
) -> Found:
    error, sd = OF_TEST["trials"](
        number, lambda rng: field(rng, rms=rms), seed=seed, ahead_s=SLIP_S, run=60 * minutes
    )
    return Found(error, sd, SLIP_S)


def unrelated(rms: float) -> int:
    """Return how many pairs of records with nothing in common give an offset."""
    called = 0
    for k in range(UNRELATED):
        rng = np.random.default_rng([907, k])
        one, other = (OF_TEST["plant"](rng, mixed(rng, rms=rms), ahead_s=0.0) for _ in range(2))
        found = pair_offset(one.time, one.rover, other.base_time, other.base)
        called += found.state != "not identifiable"
    return called


def by_length() -> list[str]:
    lines = [
        "| field rms over 2 h | run | error, median / p95 [s] | floor | measured | slip called "
        "| 90 % covers |",
        "|---|---|---|---|---|---|---|",
    ]
    for level in LEVELS_NT:
        for minutes, floor in zip(MINUTES, FLOORS[level], strict=True):
            found = trials(TRIALS[minutes], walk, level, minutes=minutes, seed=900 + minutes)
            lines.append(
                f"| {level:g} nT | {minutes} min | {found.errors()} | {floor} "
                f"| {np.mean(found.sd <= 2):.0%} | {found.called(0.0).mean():.1%} "
                f"| {found.covered().mean():.0%} of {found.said.sum()} |"
            )
    return lines


def by_level() -> list[str]:
    lines = [
        "| field rms over 2 h | error, median / p95 [s] | nothing said | measured | slip called "
        "| right clock called wrong | 90 % covers | unrelated records called |",
        "|---|---|---|---|---|---|---|---|",
    ]
    everything = []
    for level in LEVELS_NT:
        found = trials(MIXED, mixed, level, seed=905)
        everything.append(found.covered())
        lines.append(
            f"| {level:g} nT | {found.errors()} | {np.mean(~found.said):.1%} "
            f"| {np.mean(found.sd <= 2):.0%} | {found.called(0.0).mean():.1%} "
            f"| {found.false_slips().sum()} of {MIXED} "
            f"| {found.covered().mean():.1%} of {found.said.sum()} "
            f"| {unrelated(level)} of {UNRELATED} |"
        )
    both = np.concatenate(everything)
    return [*lines, "", f"All {both.size} together: {both.mean():.1%} covered."]


def real_pair() -> str:
    """Return the shares for the half hours of the real pair, or why there are none."""
    try:
        folder = fetch.folder_of(fetch.GEOMAGPY)
    except fetch.UnreachableError as error:
        return f"Real pair: not run, no registry was reachable ({error})."
    base, rover = read_iaga(folder / "example1.zip"), read_cdf(folder / "example2.cdf")
    length = np.sqrt(base["H"] ** 2 + base["E"] ** 2 + base["Z"] ** 2)
    starts = np.arange(0, rover["f"].size - WINDOW + 1, WINDOW)
    slips = np.random.default_rng(906).uniform(-600, 600, starts.size)
    error, sd = np.empty(starts.size), np.empty(starts.size)
    for k, (start, slip) in enumerate(zip(starts, slips, strict=True)):
        part = slice(start, start + WINDOW)
        found = pair_offset(rover["time_s"][part] + slip, rover["f"][part], base["time_s"], length)
        error[k], sd[k] = found.offset_s - slip, found.sd_s
    measured = sd <= 2
    return (
        f"Real pair of 2023-07-12, slips of -600 to 600 s in each half hour: "
        f"{measured.mean():.0%} of {starts.size} measured, "
        f"{np.mean(np.abs(error[measured]) <= 1):.0%} of these right to 1 s (median error "
        f"{np.nanmedian(np.abs(error)):.3f} s, worst {np.nanmax(np.abs(error)):.2f} s); the 90 % "
        f"interval covers {np.mean(np.abs(error) <= 1.645 * sd):.0%}."
    )


def seconds_of_a_day() -> float:
    """Return the processor time of a run of ten minutes against a base of a day [s]."""
    rng = np.random.default_rng(908)
    field = OF_TEST["red_noise"](rng, rms=5.0, size=86_400)
    pair = OF_TEST["plant"](rng, field, ahead_s=SLIP_S)
    times = []
    for _ in range(6):
        begin = clock.process_time()
        pair.offset()
        times.append(clock.process_time() - begin)
    return float(np.median(times[1:]))


def section() -> str:
    intro = (
        "A rover's clock 18 s ahead of the base's, noise 0.1 and 0.05 nT, a reading a second. "
        "Random walks of 0.03 rms a second, as strong as those of the floors (which come from "
        "another estimator and 60 trials). A slip is called where it is measured (sd up to 2 s) "
        "or three sd from zero."
    )
    slopes = (
        "Runs of ten minutes on red noise whose power falls by a power of frequency between 1.5 "
        "and 3, drawn for each trial, scaled to the rms; the steeper, the less moves in ten "
        "minutes:"
    )
    lines = ["## Clock offset of a pair that saw the same field", "", intro, "", *by_length()]
    lines += ["", slopes, "", *by_level(), "", real_pair(), ""]
    spent = seconds_of_a_day()
    return "\n".join([*lines, f"A run of ten minutes against a base of a day takes {spent:.2f} s."])


if __name__ == "__main__":
    print(section())
