"""Plans chosen against plans by the rule of thumb, judged by simulated surveys.

Elongated bodies are drawn in ``test/planned_problems.py``, strong ones and weak ones. Whether at
least 15 % fewer line-kilometres are attainable at equal detection is decided by simulation alone:
plans with wider lines, fewer tie lines or turned lines, the same bodies for each. Run
``python bench/evidence_optimiser.py [problems of each kind] [surveys] [first seed] [1 for a
map]``; it prints one Markdown section. For a map lines lie at most so far apart that 5 % of the
power alias, and there is a tie line for ten lines: the settings of a plan, unless they are changed.
"""

import sys
import time
from dataclasses import dataclass, replace

import numpy as np

import common  # noqa: F401
from detection_survey import Case, prepared, simulate
from lodewalk.methods.planning.aliasing import USUAL_SHARE, largest_spacing_m
from lodewalk.methods.planning.detection import layout_detection
from lodewalk.methods.planning.line_layout import LineLayout, line_length
from lodewalk.methods.planning.optimiser import PlanChoice, choose_plan
from planned_problems import problem, with_plan

PROBLEMS, SURVEYS, FIRST = 12, 1000, 700
#: Equal detection in simulation: at most so much lower [probability].
EQUAL = 0.01
SAVING = 0.15
#: Plans of the brute force: lines so many times as wide, two tie lines, and how far they are
#: turned from the strike's normal [deg].
WIDER, TURNS = 1.25, (0.0, 40.0, -40.0)


@dataclass(frozen=True)
class Trial:
    """One problem: the choice, and which of the same bodies simulation finds by each plan."""

    case: Case
    choice: PlanChoice
    by_rule: np.ndarray
    by_choice: np.ndarray
    brute: tuple[np.ndarray, ...]

    @property
    def best(self) -> np.ndarray:
        """What the best plan of the brute force finds."""
        return max(self.brute, key=lambda found: float(found.mean()))

    @property
    def attainable(self) -> str:
        """Whether enough can be saved; in doubt within two standard errors of the limit."""
        low, high = bounds(self.best, self.by_rule)
        return "yes" if low >= -EQUAL else "no" if high < -EQUAL else "in doubt"

    @property
    def claimed(self) -> bool:
        return self.choice.better

    @property
    def held(self) -> bool:
        """Whether the chosen plan finds as many in simulation."""
        return float(self.by_choice.mean() - self.by_rule.mean()) >= -EQUAL


def bounds(first: np.ndarray, second: np.ndarray) -> tuple[float, float]:
    """Return the difference of two shares of the same bodies, less and more two standard errors."""
    off = first.astype(float) - second
    error = 2 * float(off.std()) / np.sqrt(off.size)
    return float(off.mean()) - error, float(off.mean()) + error


def found_by(case: Case, layout: LineLayout, seed: int, surveys: int) -> np.ndarray:
    """Return which bodies are found on a plan, by simulation."""
    planned = with_plan(case, layout)
    threshold = layout_detection(
        planned.area, planned.layout, prepared=prepared(planned, draws=8), noise=case.noise,
        places=16,
    ).threshold  # fmt: skip
    truths = np.random.default_rng([seed, 52])
    return simulate(planned, threshold, surveys=surveys, seed=seed, truths=truths, batch=250).found


def trial(seed: int, surveys: int, *, strong: bool, to_map: bool = False) -> Trial:
    case = problem(seed, strong=strong)
    widest = largest_spacing_m(USUAL_SHARE, depth_m=case.body.depth_m + case.height_m)
    choice = choose_plan(
        case.area, prepared(case, draws=1).target, case.layout, noise=case.noise,
        widest_m=widest if to_map else np.inf, two_ties=not to_map,
    )  # fmt: skip
    rule = choice.rule
    by_rule = found_by(case, rule, seed, surveys)
    brute = []
    for turned in TURNS:
        spacing = rule.spacing_m * WIDER
        plan = replace(
            rule, spacing_m=spacing, tie_spacing_m=100 * spacing,
            azimuth_deg=(rule.azimuth_deg + turned) % 180,
        )  # fmt: skip
        if line_length(case.area, plan) <= (1 - SAVING) * line_length(case.area, rule):
            brute.append(found_by(case, plan, seed, surveys))
            if bounds(brute[-1], by_rule)[0] >= -EQUAL:
                break
    by_choice = found_by(case, choice.layout, seed, surveys) if choice.better else by_rule
    return Trial(case, choice, by_rule, by_choice, tuple(brute))


def row(one: Trial) -> str:
    plan = one.choice.layout
    turned = (plan.azimuth_deg - one.choice.rule.azimuth_deg + 90) % 180 - 90
    chosen = f"{one.choice.saving:.0%}: {plan.spacing_m:.0f} m, {turned:.0f}°"
    return (
        f"| {one.case.name} | {one.by_rule.mean():.3f} | {one.best.mean():.3f} "
        f"| {one.attainable} | {chosen if one.claimed else 'none'} "
        f"| {one.choice.rule_detection.probability:.3f} "
        f"| {one.choice.detection.probability:.3f} | {one.by_choice.mean():.3f} |"
    )


def report(trials: list[Trial]) -> str:
    yes = [one for one in trials if one.attainable == "yes"]
    no = [one for one in trials if one.attainable == "no"]
    doubt = [one for one in trials if one.attainable == "in doubt"]
    savings = [one.choice.saving for one in yes if one.claimed and one.held]
    lines = [
        "## Plans chosen against the rule of thumb",
        "",
        f"{len(trials)} elongated bodies, {trials[0].by_rule.size:,} simulated surveys a plan, the "
        "same bodies for each. Rule: strike-normal lines as far apart as the body's depth below "
        "the sensor, one tie line for ten. Attainable: in simulation the best plan with at least "
        "15 % fewer line-kilometres (lines 1.25 times as wide, two tie lines, strike-normal or "
        "turned by 40 degrees) finds at most 1 point less, in doubt within two standard "
        "errors of that. Chosen: line-kilometres saved, spacing, and how far the lines are turned.",
        "",
        "| body | rule, simulated | best of 15 % less, simulated | attainable | chosen | rule, "
        "predicted | chosen, predicted | chosen, simulated |",
        "|---|---:|---:|---|---|---:|---:|---:|",
        *map(row, trials),
        "",
        f"Attainable: {len(yes)}; claimed in {sum(one.claimed for one in yes)}, and finds "
        f"as many in simulation in {len(savings)}; saving "
        f"{np.median(savings) if savings else 0:.0%} in the median, "
        f"{min(savings, default=0):.0%} at least. Not attainable: {len(no)}; claimed in "
        f"{sum(one.claimed for one in no)}. In doubt: {len(doubt)}; claimed in "
        f"{sum(one.claimed for one in doubt)}.",
    ]
    return "\n".join(lines)


def section(
    problems: int = PROBLEMS, surveys: int = SURVEYS, first: int = FIRST, to_map: int = 0
) -> str:
    found = []
    for number in range(2 * problems):
        start = time.perf_counter()
        seed, strong = first + number // 2, number % 2 == 0
        found.append(trial(seed, surveys, strong=strong, to_map=bool(to_map)))
        took = time.perf_counter() - start
        print(row(found[-1]), f"{took:.0f} s", file=sys.stderr, flush=True)
    return report(sorted(found, key=lambda one: one.case.name))


if __name__ == "__main__":
    print(section(*map(int, sys.argv[1:])))
