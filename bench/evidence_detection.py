"""Predicted probability of detection against simulated surveys.

Targets and surveys are listed in ``test/detection_cases.py``, what is simulated in
``test/detection_survey.py``: another forward model and other noise than the predictor's. Run
``python bench/evidence_detection.py [surveys] [first case] [last case]``; it prints one Markdown
section.
"""

import sys
import time
from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

import common  # noqa: F401
from detection_cases import CASES
from detection_survey import Case, Simulated, prepared, simulate
from lodewalk.methods.planning.detection import Detection, layout_detection
from lodewalk.methods.planning.feasibility import MANY

SURVEYS, SEED = 2000, 500
PLACES, DRAWS = 64, 128
#: Places and draws of a plan's promise, and of feasibility.
PLAN, FEASIBILITY = (24, 64), MANY


@dataclass(frozen=True)
class Compared:
    """One case: what was predicted and what was simulated."""

    case: Case
    predicted: Detection
    simulated: Simulated
    plan: float
    feasibility: float

    @property
    def difference(self) -> float:
        """Predicted less simulated, in points."""
        return 100 * (self.predicted.probability - float(self.simulated.found.mean()))


def compared(case: Case, number: int, surveys: int) -> Compared:
    predicted = promised(case, PLACES, DRAWS, seed=number)
    found = simulate(case, predicted.threshold, surveys=surveys, seed=SEED + number)
    others = (promised(case, *effort).probability for effort in (PLAN, FEASIBILITY))
    return Compared(case, predicted, found, *others)


def promised(case: Case, places: int, draws: int, seed: int = 0) -> Detection:
    return layout_detection(
        case.area, case.layout, prepared=prepared(case, draws=draws), noise=case.noise,
        places=places, seed=seed,
    )  # fmt: skip


def row(one: Compared) -> str:
    found, alarms = one.simulated.found, one.simulated.false_alarm
    return (
        f"| {one.case.name} | {one.case.inclination_deg:g} | {one.predicted.probability:.3f} "
        f"| {found.mean():.3f} | {one.difference:+.1f} | {one.predicted.threshold:.2f} "
        f"| {one.predicted.looks:,.0f} | {alarms.mean():.3f} | {one.plan:.3f} "
        f"| {one.feasibility:.3f} |"
    )


def size_of(all_: list[Compared], name: str) -> str:
    off = np.array([100 * (getattr(one, name) - one.simulated.found.mean()) for one in all_])
    return f"rms {np.sqrt(np.mean(off**2)):.2f} points, worst {np.abs(off).max():.1f}"


def report(all_: list[Compared]) -> str:
    off = np.array([one.difference for one in all_])
    surveys = all_[0].simulated.found.size
    alarms = np.concatenate([one.simulated.false_alarm for one in all_])
    shares = np.array([one.simulated.found.mean() for one in all_])
    chance = 100 * np.sqrt(np.mean(shares * (1 - shares) / surveys))
    low, high = binom.ppf([0.005, 0.995], surveys, 0.05) / surveys
    lines = [
        "## Probability of detection",
        "",
        f"{len(all_)} targets, {surveys:,} simulated surveys each, the threshold for 5 % of false "
        "alarms in the whole area. Bodies are summed up from dipoles at Gauss points, the anomaly "
        "is |F + b| - |F|, ground is drawn by its spectrum, the diurnal rest along the way walked; "
        "place, depth, strike and contrast are drawn for each survey. Difference in points. "
        "The last columns are predicted with the fewer places and draws of a plan's promise and of "
        "feasibility.",
        "",
        "| target | inclination | predicted | simulated | difference | threshold | looks | false "
        "alarm | as a plan | as feasibility |",
        "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
        *map(row, all_),
        "",
        f"Difference: rms {np.sqrt(np.mean(off**2)):.2f} points, worst {np.abs(off).max():.1f}, "
        f"mean {off.mean():+.2f}; chance alone would give an rms of {chance:.2f}. False alarms: "
        f"{alarms.mean():.4f} of all surveys; the 99 % band of one row of 0.05 is {low:.3f} to "
        f"{high:.3f}. With the places and draws of a plan's promise: {size_of(all_, 'plan')}; of "
        f"feasibility: {size_of(all_, 'feasibility')}.",
    ]
    return "\n".join(lines)


def section(surveys: int = SURVEYS, first: int = 0, last: int = len(CASES)) -> str:
    found = []
    for number in range(first, min(last, len(CASES))):
        start = time.perf_counter()
        found.append(compared(CASES[number], number, surveys))
        print(row(found[-1]), f"{time.perf_counter() - start:.0f} s", file=sys.stderr, flush=True)
    return report(found)


if __name__ == "__main__":
    print(section(*map(int, sys.argv[1:])))
