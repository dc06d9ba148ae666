"""Levelling: intervals of line corrections, what is left of a dyke along the lines, Rio lines.

Run ``python bench/evidence_levelling.py``; it prints one Markdown section.
"""

import runpy
from dataclasses import replace
from types import SimpleNamespace

import numpy as np

from common import BENCH, spread
from levelled_survey import PRIOR, crossing_ties, dyke, kept, planted_level, walk
from lodewalk.methods.corrections.levelling import level_lines
from lodewalk.methods.corrections.levelling_choice import choose_prior
from lodewalk.methods.corrections.levelling_model import LevelPrior, LineTies
from lodewalk.methods.corrections.levelling_neighbours import neighbour_ties
from lodewalk.methods.corrections.micro_levelling import micro_level
from outside import fetch

NORMAL_90 = 1.645
TRIALS = 1000
NOISE_NT = 0.5
SEED = 71
STRIKES_DEG = (-5.0, 0.0, 5.0)
CENTRES_M = {"on a line": 200.0, "between lines": 212.5, "a quarter of the way": 206.25}


def geology(rng: np.random.Generator):
    """Return a smooth random field of a few tens of nT and its gradient, as a function."""
    wave = rng.normal(0, 1, (12, 2)) / rng.uniform(15, 60, 12)[:, None]
    phase, size = rng.uniform(0, 2 * np.pi, 12), rng.normal(0, 8, 12)

    def field(east, north):
        angle = np.multiply.outer(east, wave[:, 0]) + np.multiply.outer(north, wave[:, 1]) + phase
        return np.cos(angle) @ size, -np.sin(angle) * size @ wave

    return field


def misplaced(walked, ties: LineTies, rng, *, position_sd_m: float) -> LineTies:
    """Add geology read at wrong places; the sd is told the gradient of the place as recorded."""
    field = geology(rng)
    line, tie = ties.first, ties.second
    place = [walked.easting[walked.passage == i][0] for i in line]
    other = [walked.northing[walked.passage == i][0] for i in tie]
    shifts = rng.normal(0, position_sd_m, (2, 2, len(ties)))
    values = [field(place + east, other + north)[0] for east, north in shifts]
    steep = np.linalg.norm(field(np.array(place), np.array(other))[1], axis=1)
    sd = np.hypot(ties.sd_nT, np.sqrt(2) * position_sd_m * steep)
    return replace(ties, difference_nT=ties.difference_nT + values[0] - values[1], sd_nT=sd)


def one_survey(walked, rng, case: dict) -> tuple[np.ndarray, np.ndarray, bool]:
    """Return errors and sd of the level of all readings of one survey, and whether it settled."""
    size = case.get("levels", 1.0)
    level = planted_level(walked, rng, constant_nT=3.0 * size, drift_nT_h=2.0 * size)
    ties = crossing_ties(walked, level + rng.normal(0, NOISE_NT, level.size), noise_nT=NOISE_NT)
    if case.get("position"):
        ties = misplaced(walked, ties, rng, position_sd_m=case["position"])
    wild = rng.random(len(ties)) < case.get("wild", 0.0)
    ties = replace(
        ties,
        difference_nT=ties.difference_nT + np.where(wild, rng.normal(0, 30, wild.size), 0.0),
        sd_nT=ties.sd_nT / case.get("noisier", 1.0),
    )
    if case.get("choose"):
        found = choose_prior(walked.passage, walked.hours, ties, prior=PRIOR).levelling
    else:
        found = level_lines(walked.passage, walked.hours, ties, prior=PRIOR)
    return found.level_nT - level + level.mean(), found.sd_nT, found.converged


CASES = {
    "as supposed": {},
    "3 % of crossings wrong (30 nT)": {"wild": 0.03},
    "positions 1 m each axis, over geology": {"position": 1.0},
    "positions 3 m": {"position": 3.0},
    "all at once": {"position": 2.0, "wild": 0.03},
    "size chosen from the crossings": {"position": 2.0, "wild": 0.03, "choose": True},
    "crossings' sd stated half as large": {"noisier": 2.0},
    "levels twice the prior": {"levels": 2.0},
    "levels half the prior": {"levels": 0.5},
}


def coverage_rows() -> list[str]:
    rows = [
        "| case | surveys inside (one reading each) | all readings | mean width / (3.29 rms) "
        "| rms error [nT] | settled |",
        "|---|---|---|---|---|---|",
    ]
    for number, (name, case) in enumerate(CASES.items()):
        rng = np.random.default_rng(SEED + number)
        walked = walk(8, 4, step_m=5.0)
        one, all_of, errors, sds, settled = [], [], [], [], []
        for _ in range(TRIALS):
            error, sd, converged = one_survey(walked, rng, case)
            inside = np.abs(error) <= NORMAL_90 * sd
            one.append(inside[rng.integers(inside.size)])
            all_of.append(inside.mean())
            errors.append(np.mean(error**2))
            sds.append(sd.mean())
            settled.append(converged)
        rms = np.sqrt(np.mean(errors))
        rows.append(
            f"| {name} | {np.mean(one):.3f} | {spread(all_of)} | {np.mean(sds) / rms:.2f} "
            f"| {rms:.2f} | {np.mean(settled):.1%} |"
        )
    return rows


def dyke_survey(rng, *, ties: int, centre_m: float, strike_deg: float):
    walked = walk(17, ties)
    truth = dyke(walked, centre_m=centre_m, strike_deg=strike_deg)
    level = planted_level(walked, rng, constant_nT=3.0, drift_nT_h=2.0)
    return walked, truth, level, truth + level + rng.normal(0, NOISE_NT, level.size)


def dyke_rows() -> list[str]:
    rows = [
        "| dyke | strike to the lines | peak left | area left | then micro-levelled: peak | area |",
        "|---|---|---|---|---|---|",
    ]
    for where, centre_m in CENTRES_M.items():
        for strike_deg in STRIKES_DEG:
            left = [dyke_left(seed, centre_m, strike_deg) for seed in range(20)]
            cells = [
                f"{np.mean(part):.3f} ({np.min(part):.3f})" for part in zip(*left, strict=True)
            ]
            rows.append(f"| {where} | {strike_deg:+.0f}° | " + " | ".join(cells) + " |")
    return rows


def dyke_left(seed: int, centre_m: float, strike_deg: float) -> tuple[float, ...]:
    rng = np.random.default_rng([SEED, seed])
    walked, truth, _, value = dyke_survey(rng, ties=5, centre_m=centre_m, strike_deg=strike_deg)
    ties = crossing_ties(walked, value, noise_nT=NOISE_NT, position_sd_m=0.5)
    found = level_lines(walked.passage, walked.hours, ties, prior=PRIOR)
    better = value - found.level_nT
    micro = micro_level(
        np.where(walked.on_line, walked.passage, -1),
        walked.northing,
        walked.easting,
        better,
        limit_nT=3 * float(np.median(found.sd_nT)),
        min_wavelength_m=300.0,
    )
    return (
        *kept(walked, better, truth, centre_m=centre_m),
        *kept(walked, better - np.nan_to_num(micro.level_nT), truth, centre_m=centre_m),
    )


def untied_rows() -> list[str]:
    """Lines alone: nothing at all, then neighbours compared."""
    rows = [
        "| way | lines inside | lines over the dyke inside | mean sd [nT] | open sd [nT] "
        "| peak left | area left |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in ("no ties", "neighbours compared"):
        got = [untied(seed, name != "no ties") for seed in range(100)]
        cells = [f"{np.mean(part):.3f}" for part in zip(*got, strict=True)]
        rows.append(f"| {name} | " + " | ".join(cells) + " |")
    return rows


def untied(seed: int, compared: bool) -> tuple[float, ...]:
    rng = np.random.default_rng([SEED + 1, seed])
    strike_deg = float(rng.choice(STRIKES_DEG))
    centre_m = float(rng.choice(list(CENTRES_M.values())))
    walked, truth, level, value = dyke_survey(rng, ties=0, centre_m=centre_m, strike_deg=strike_deg)
    empty = np.zeros(0)
    ties = LineTies(empty.astype(int), empty, empty.astype(int), empty, empty, empty)
    if compared:
        ties = neighbour_ties(
            walked.passage,
            walked.hours,
            walked.easting,
            walked.northing,
            value,
            max_apart_m=30.0,
            piece_m=300.0,
            noise_nT=0.1,
        ).ties
    found = level_lines(walked.passage, walked.hours, ties, prior=PRIOR)
    error = found.level_nT - level
    if compared:
        error += level.mean()
    inside = np.abs(error) <= NORMAL_90 * found.sd_nT
    over = np.abs(walked.easting - centre_m) < 40
    return (
        inside.mean(),
        inside[over].mean(),
        found.sd_nT.mean(),
        found.open_sd_nT.mean(),
        *kept(walked, value - found.level_nT, truth, centre_m=centre_m),
    )


def rio_rows() -> list[str]:
    try:
        path = fetch.folder_of(fetch.VERDE) / "rio-magnetic.csv.xz"
    except fetch.UnreachableError as error:
        return [f"Rio lines: not run, no registry could be reached ({error})."]
    rio = SimpleNamespace(**runpy.run_path(str(BENCH.parent / "test/outside/test_rio.py")))
    lines = rio.rio_passages(rio.read_rio(path))
    rows = [
        "| lines | prior | median size before, after [nT] | ratio | MAD-sd before, after [nT] "
        "| ratio | factor chosen |",
        "|---|---|---|---|---|---|---|",
    ]
    for planted_nT in (0.0, 30.0):
        size = planted_nT or 10.0
        priors = {
            f"constant {size:g} nT": LevelPrior(size),
            "the same and drift 1 nT/km": LevelPrior(size, drift_nT=1e-3),
        }
        rows += [
            rio_row(rio, lines, planted_nT, name, prior, choose)
            for name, prior in priors.items()
            for choose in (False, True)
        ]
    common = rio.common_to_lines(lines)
    return [*rows, "", f"Rank correlation of two misfits of a line as published: {common:+.2f}."]


def rio_row(rio, lines, planted_nT: float, name: str, prior: LevelPrior, choose: bool) -> str:
    found = [
        rio.held_out(lines, prior=prior, seed=seed, planted_nT=planted_nT, choose=choose)
        for seed in range(10)
    ]
    before, after = (np.mean([part[i] for part in found], axis=0) for i in (0, 1))
    told = f"planted, {planted_nT:g} nT" if planted_nT else "as published"
    cells = [f"{b:.2f}, {a:.2f} | {a / b:.2f}" for b, a in zip(before, after, strict=True)]
    factor = f"{np.mean([part[2] for part in found]):.2f}" if choose else "not chosen"
    return f"| {told} | {name} | {cells[0]} | {cells[1]} | {factor} |"


def section() -> str:
    return "\n\n".join(
        [
            "## Levelling",
            f"Small surveys of 8 lines of 300 m and 4 tie lines, {TRIALS} of each case; each "
            "passage off by a constant (sd 3 nT) and a drift (sd 2 nT/h), noise 0.5 nT, all as the "
            "prior says where the case doesn't differ. 90 % intervals of the level of a reading:",
            "\n".join(coverage_rows()),
            "A dyke of 30 nT along 17 lines, 15 m below the sensor, five tie lines, the same line "
            "errors and noise; mean of 20 surveys (worst). Micro-levelling with a limit of three "
            "times the median sd of the level:",
            "\n".join(dyke_rows()),
            "The same without tie lines, 100 surveys. What is left of peak and area says nothing "
            "about levels here, as each line keeps an error of 3 nT where nothing is taken off:",
            "\n".join(untied_rows()),
            "Rio lines, 1978: fit on 80 % of the crossings, misfit of the other 20 %, mean of ten "
            "draws. As published two misfits of a line have nothing in common (their rank "
            "correlation stands below the table), so no line correction can lessen them: these "
            "lines have been levelled before. The last rows add a constant to each line:",
            "\n".join(rio_rows()),
        ]
    )


if __name__ == "__main__":
    print(section())
