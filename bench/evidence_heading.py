"""Heading error, lag and lever arm: what is left of planted ones, and coverage of the intervals.

Surveys are those of the tests, with other seeds. Run ``python bench/evidence_heading.py``; it
prints one Markdown section. With ``--short`` fewer surveys, and the heading only.
"""

import runpy
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from common import BENCH
from lodewalk.methods.corrections.heading import fit_heading
from lodewalk.methods.corrections.heading_correction import heading_correction

CORRECTIONS = BENCH.parent / "test/methods/corrections"
HEADING = runpy.run_path(str(CORRECTIONS / "test_heading.py"))
LAG = runpy.run_path(str(CORRECTIONS / "test_lag.py"))
sys.path.insert(0, str(BENCH.parent / "test"))
STEPS = runpy.run_path(str(BENCH.parent / "test/heading_survey.py"))
NINETY, EXPECTED_NT = 1.645, 1.0
SHORT = "--short" in sys.argv
TRIALS, PLANTED = (100, 30) if SHORT else (400, 100)
#: Surveys for the lag, with seeds that nobody had seen while the method was made.
LAGS, LATE, ARMS = (0, 0, 0) if SHORT else (400, 300, 400)
THROUGH = 12 if SHORT else 60
EVIDENCE = {
    "all three": ("turn", "crossing", "neighbour"),
    "crossings only": ("crossing",),
    "neighbours only": ("neighbour",),
}


def spread(values: np.ndarray, unit: str) -> str:
    """Return median, 95 % quantile and largest."""
    return f"{np.median(values):.2g} / {np.quantile(values, 0.95):.2g} / {values.max():.2g} {unit}"


def planted_heading(turn_tests: int) -> str:
    """Return what 5 nT leave, at the readings and at any heading that is known, and of the map."""
    rule = HEADING["Survey"](first_nT=4.0, second_nT=2.0, turn_tests=turn_tests)
    left, changed = [], []
    for seed in range(200_000, 200_000 + PLANTED):
        model, walked, true = HEADING["outcome"](seed, rule)
        error = model.correction(walked.heading) - true
        left.append(np.std(error))
        plain = walked.anomaly - walked.anomaly.mean()
        # The part of the anomaly itself that goes into the correction, and the change in all.
        changed.append(np.std(error) / np.std(plain))
    under = np.mean(np.array(left) <= 0.3)
    name = "with a turn-around test" if turn_tests else "without"
    return (
        f"| {name} | {PLANTED} | {spread(np.array(left), 'nT')} | {under:.0%} "
        f"| {spread(100 * np.array(changed), '%')} |"
    )


def no_heading() -> str:
    """Return what is found where there is none."""
    rule = HEADING["Survey"](first_nT=0.0, second_nT=0.0)
    found = []
    for seed in range(210_000, 210_000 + PLANTED):
        model, walked, _ = HEADING["outcome"](seed, rule)
        found.append(np.std(model.correction(walked.heading)))
    return f"Where none was planted, the rms of the correction is {spread(np.array(found), 'nT')}."


def heading_coverage(name: str) -> str:
    """Return the coverage at one reading of each survey, drawn by chance: alone, and as applied."""
    error, sd, told = [], [], 0
    applied = []
    for seed in range(220_000, 220_000 + TRIALS):
        rule = HEADING["any_rule"](seed)
        walked = HEADING["walk"](seed, rule)
        evidence = HEADING["gathered"](walked, rule, kinds=EVIDENCE[name])
        model = fit_heading(evidence)
        at = walked.heading[[np.random.default_rng([seed, 2]).integers(walked.heading.size)]]
        psi = np.radians(rule.phases_deg)
        parts = (np.cos(psi[0]), np.sin(psi[0]), np.cos(2 * psi[1]), np.sin(2 * psi[1]))
        sizes = np.repeat([rule.first_nT, rule.second_nT], 2)
        true = HEADING["gear"](rule, at) - model.reference @ (sizes * parts)
        fitted = heading_correction(model, walked.heading, expected_nT=EXPECTED_NT)
        off = HEADING["gear"](rule, at)[0] - HEADING["gear"](rule, walked.heading).mean()
        applied.append((abs(fitted.correction(at)[0] - off), fitted.sd(at)[0]))
        if np.isfinite(model.sd(at)[0]):
            told += 1
            error.append(model.correction(at)[0] - true[0])
            sd.append(model.sd(at)[0])
    size = np.abs(error)
    left, left_sd = np.array(applied).T
    return (
        f"| {name} | {TRIALS} | {told} | {spread(size, 'nT')} | {np.median(sd):.2f} nT "
        f"| {np.mean(size <= NINETY * np.array(sd)):.1%} | {spread(left, 'nT')} "
        f"| {np.mean(left <= NINETY * left_sd):.1%} |"
    )


def through_steps(name: str, plan: object, start: int) -> str:
    """Return what surveys leave that go from files through all steps, and the coverage."""
    left, inside, width, changed = [], [], [], []
    for seed in range(start, start + THROUGH):
        rng = np.random.default_rng([seed, 4])
        phases = (float(rng.uniform(0, 360)), float(rng.uniform(0, 360)))
        gear = {name: replace(one, phases_deg=phases) for name, one in plan.gear.items()}
        with tempfile.TemporaryDirectory() as folder:
            _, found = STEPS["outcomes"](Path(folder), seed, replace(plan, gear=gear))
        for one in found.values():
            left.append(float(np.std(one.left_nT)))
            at = rng.integers(one.left_nT.size)
            inside.append(bool(abs(one.left_nT[at]) <= NINETY * one.sd_nT[at]))
            width.append(float(one.sd_nT[at]))
            changed.append(100 * left[-1] / float(np.std(one.geology_nT)))
    return (
        f"| {name} | {len(left)} | {spread(np.array(left), 'nT')} "
        f"| {np.mean(np.array(left) <= 0.3):.0%} | {max(changed):.2g} % "
        f"| {np.median(width):.2f} nT | {np.mean(inside):.1%} |"
    )


def step_rows() -> list[str]:
    plan = STEPS["Plan"]()
    small = replace(plan, gear={"R1": STEPS["Gear"](1.0, 0.3)})
    return [
        through_steps("4 and 1 nT, turn-around test", plan, 230_000),
        through_steps("the same without the test", replace(plan, turn=""), 240_000),
        through_steps(
            "1 and 0.3 nT, no test, no tie lines", replace(small, turn="", ties=0), 250_000
        ),
        through_steps(
            "none planted, no test", replace(plan, turn="", gear={"R1": STEPS["NONE"]}), 260_000
        ),
    ]


def lags(seeds: range, draw: Callable[[int], object], **known: float) -> tuple[np.ndarray, int]:
    """Return error and sd of lag and shift for each survey that tells one, and how many don't."""
    rows, silent = [], 0
    for seed in seeds:
        rule = draw(seed)
        found = LAG["estimate"](LAG["survey"](seed, rule)[0], **known)
        if found.state == "not identifiable":
            silent += 1
            continue
        shift = rule.lag_s - rule.ahead_m / found.speed_m_s
        rows.append(
            (found.lag_s - rule.lag_s, found.lag_sd_s, found.shift_s - shift, found.shift_sd_s)
        )
    return np.array(rows), silent


def lag_row(name: str, error: np.ndarray, sd: np.ndarray, silent: int) -> str:
    """Return one line of the table of lags."""
    size = np.abs(error)
    inside = size <= NINETY * sd
    return (
        f"| {name} | {size.size + silent} | {silent} | {spread(size, 's')} | {np.median(sd):.3f} s "
        f"| {np.mean(size <= 0.1):.1%} | {np.mean((size <= 0.1) | inside):.1%} "
        f"| {inside.mean():.1%} |"
    )


def armed(seed: int) -> object:
    """Return any survey with an arm that nobody measured, as long as is expected."""
    drawn = np.random.default_rng([seed, 3]).normal(size=2)
    return LAG["any_rule"](seed, ahead_m=drawn[0], right_m=drawn[1], speed_spread=0.15)


def lag_rows() -> list[str]:
    at_antenna = {"ahead_m": 0.0, "right_m": 0.0}
    any_lag, silent = lags(range(700_000, 700_000 + LAGS), LAG["any_rule"], **at_antenna)
    half, half_silent = lags(
        range(710_000, 710_000 + LATE), lambda _: LAG["Survey"](), **at_antenna
    )
    step, step_silent = lags(
        range(730_000, 730_000 + 200), lambda _: LAG["Survey"](), position_sd_m=1.0, **at_antenna
    )
    wide, wide_silent = lags(
        range(740_000, 740_000 + 200), LAG["any_rule"], position_sd_m=1.0, **at_antenna
    )
    arms, arms_silent = lags(range(720_000, 720_000 + ARMS), armed)
    return [
        lag_row("0.5 s, 16 lines and 3 tie lines", half[:, 0], half[:, 1], half_silent),
        lag_row("-1 to 1.5 s, any survey", any_lag[:, 0], any_lag[:, 1], silent),
        lag_row("0.5 s, 1 m expected as in the step", step[:, 0], step[:, 1], step_silent),
        lag_row("any survey, 1 m expected", wide[:, 0], wide[:, 1], wide_silent),
        lag_row("arms not measured: lag", arms[:, 0], arms[:, 1], arms_silent),
        lag_row("the same: shift at the usual speed", arms[:, 2], arms[:, 3], arms_silent),
    ]


def speed_line() -> str:
    """Return the processor time for one survey."""
    rule = HEADING["Survey"](lines=50, ties=6, length_m=600.0)
    walked = HEADING["walk"](1, rule)
    parts = LAG["survey"](1, LAG["Survey"](lines=50, ties=6, length_m=600.0))[0]
    spent = []
    for job in (
        lambda: fit_heading(HEADING["gathered"](walked, rule)),
        lambda: LAG["estimate"](parts),
    ):
        begin = time.process_time()
        job()
        spent.append(time.process_time() - begin)
    return (
        f"50 lines of 600 m and 6 tie lines ({parts['time_s'].size:,} readings) take "
        f"{spent[0]:.1f} s of processor time for the heading and {spent[1]:.1f} s for the lag."
    )


def section() -> str:
    lines = [
        "## Heading error, lag and lever arm",
        "",
        "A heading error of 4 nT (first harmonic) and 2 nT (second) on 16 lines to and fro and 3 "
        "tie lines, 400 m long and 25 m apart; geology of 100 nT rms, noise 0.5 nT, 0.3 nT left of "
        "the daily variation, positions to 0.3 m. Left over at the readings as rms about its mean, "
        "and the same as a share of the anomaly's rms; median / 95 % / worst of the surveys.",
        "",
        "| | surveys | left | at most 0.3 nT | change of the anomaly |",
        "|---|---:|---|---:|---|",
        planted_heading(1),
        planted_heading(0),
        "",
        no_heading(),
        "",
        "Any survey: 8 to 20 lines 10 to 30 m apart, 2 to 4 tie lines square or at 60 degrees, "
        "harmonics up to 5 and 2 nT or none, geology 30 to 150 nT, half of them with a turn-around "
        "test. One reading of each survey, drawn by chance; its heading is told where the sd is "
        "finite.",
        "",
        "As applied, an error of 1 nT (one sd) is expected where nothing tells it, and the error "
        "counts against its mean over the readings.",
        "",
        "| evidence | surveys | told | error, median / 95 % / worst | median sd | 90 % covers "
        "| as applied: error | 90 % covers |",
        "|---|---:|---:|---|---:|---:|---|---:|",
        *(heading_coverage(name) for name in EVIDENCE),
        "",
        "Surveys from files through all steps: 12 lines and 3 tie lines of 300 m, 25 m apart, "
        "geology of 100 nT rms, noise 0.4 nT, 0.2 nT left of the daily variation, phases by "
        "chance. Left over as rms about its mean over the lines; coverage at one reading of each.",
        "",
        "| planted | surveys | left | at most 0.3 nT | change of the anomaly, worst | median sd "
        "| 90 % covers |",
        "|---|---:|---|---:|---:|---:|---:|",
        *step_rows(),
        "",
        *lag_lines(),
    ]
    return "\n".join(lines)


def lag_lines() -> list[str]:
    """Return what is told of the lag; nothing in short."""
    if SHORT:
        return []
    return [
        "Lag: 10 to 20 lines 10 to 30 m apart, up to 3 tie lines, point sources and up to 3 dykes "
        "(30 to 120 nT rms), positions to 0.05 to 0.3 m. Arms of 1 m (sd), where not measured, and "
        "speeds that differ by 15 % from passage to passage.",
        "",
        "| planted | surveys | nothing said | error, median / 95 % / worst | median sd "
        "| to 0.1 s | to 0.1 s or in its interval | 90 % covers |",
        "|---|---:|---:|---|---:|---:|---:|---:|",
        *lag_rows(),
        "",
        speed_line(),
    ]


if __name__ == "__main__":
    print(section())
