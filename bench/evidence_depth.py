"""Depths judged by known bodies: error against the floor, coverage, wrong kinds, rules, index.

Run ``python bench/evidence_depth.py [profiles of each kind] [first seed]``; it prints one Markdown
section. The bodies, `test/depth_suite.py`, are drawn from other ranges than those of the
calibration (``calibration`` as a third word prints the figures of that).
"""

import sys
from dataclasses import dataclass

import numpy as np

from common import NINETY
from depth_suite import (
    CALIBRATION,
    JUDGING,
    KINDS,
    Case,
    Ranges,
    draw,
    end_member,
    floor,
    survey,
)
from lodewalk.methods.depth import answer_depth, structural_index
from lodewalk.methods.depth.answer import depth_rules, disagreement
from lodewalk.methods.depth.noise_rows import window_rows
from lodewalk.methods.inversion.pooled_noise import pooled_noises
from lodewalk.methods.inversion.results import Estimate

PROFILES, FIRST = 170, 21000
LONG = ("thin sheet", "dyke", "contact")


@dataclass(frozen=True)
class Judged:
    """A case, its floor, the answer of the true kind, and where no kind is assumed."""

    seed: int
    case: Case
    floor_m: float
    shared_m: float
    known: Estimate | None
    scaled: Estimate | None
    free: Estimate | None
    wrong: dict[str, Estimate | None]
    away: float


def guessed(seed: int, kind: str) -> bool:
    """Return whether a case is judged with its noise told from the profile too, which is slow."""
    return kind in LONG and seed % 2 == 0


def judged(seed: int, kind: str, ranges: Ranges) -> Judged:
    case = draw(seed, kind, ranges)
    known = answer_depth(case.profile, noise=case.noise, kind=kind, about_m=case.about_m)
    free, scaled, wrong = None, None, {}
    if guessed(seed, kind):
        scaled = with_told_noise([case])[0]
    if kind in LONG:
        found = answer_depth(case.profile, noise=case.noise, about_m=case.about_m)
        free = found.depth
    if seed % 2 == 0 or kind in LONG:
        for other in LONG:
            if other != kind:
                wrong[other] = answer_depth(
                    case.profile, noise=case.noise, kind=other, about_m=case.about_m
                ).depth
    away = disagreement(known.rules, known.depth.value) if known.depth else np.nan
    least = floor(case), floor(case, beside=True)
    return Judged(seed, case, *least, known.depth, scaled, free, wrong, away)


def with_told_noise(cases: list[Case]) -> list[Estimate | None]:
    """Return the depths of cases of known kinds, their noise told from all their profiles."""
    rows = [window_rows(case.profile, case.kind, about_m=case.about_m) for case in cases]
    noises = pooled_noises([case.profile for case in cases], rows)
    return [
        answer_depth(case.profile, noise=noise, kind=case.kind, about_m=case.about_m).depth
        for case, noise in zip(cases, noises, strict=True)
    ]


def surveyed(count: int, first: int, ranges: Ranges) -> list[Judged]:
    """Return the profiles of surveys of six, the noise of each survey told from its six."""
    found = []
    for seed in range(first, first + count):
        cases = survey(seed, ranges)
        for case, told in zip(cases, with_told_noise(cases), strict=True):
            least = floor(case), floor(case, beside=True)
            found.append(Judged(seed, case, *least, None, told, None, {}, np.nan))
    return found


def figures(trials: list[Judged], which: str = "known") -> str:
    """Return answers, error and bias in both floors, and coverage as cells of a table."""
    told = [(getattr(t, which), t) for t in trials if getattr(t, which) is not None]
    none = 1 - len(told) / len(trials)
    if not told:
        return f"{len(trials)} | {none:.1%} | | | | | |"
    error = np.array([est.value - t.case.depth_m for est, t in told])
    off = error / [t.floor_m for _, t in told]
    beside = error / [t.shared_m for _, t in told]
    inside = np.mean([est.low <= t.case.depth_m <= est.high for est, t in told])
    robust = np.quantile(np.abs(off), 0.9) / NINETY
    return (
        f"{len(trials)} | {none:.1%} | {np.sqrt(np.mean(off**2)):.2f} | {robust:.2f} "
        f"| {np.sqrt(np.mean(beside**2)):.2f} | {off.mean():+.2f} | {inside:.1%}"
    )


def known_table(trials: list[Judged], surveys: list[Judged]) -> str:
    lines = [
        "| kind | profiles | no answer | rms error / floor | nine in ten / 1.645 floors "
        "| rms error / floor with neighbours | bias / floor | 90 % interval holds |",
        "|---|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for kind in (*KINDS, "all"):
        own = [t for t in trials if kind in (t.case.kind, "all")]
        lines.append(f"| {kind} | {figures(own)} |")
    for count in (0, 1, 2):
        own = [t for t in trials if t.case.neighbours == count]
        words = f"all, {count} neighbour{'s' * (count != 1)}"
        lines.append(f"| {words} | {figures(own)} |")
    sure = [t for t in trials if t.floor_m <= 0.2 * t.case.depth_m]
    lines.append(f"| all, floor ≤ 20 % | {figures(sure)} |")
    own = [t for t in trials if guessed(t.seed, t.case.kind)]
    lines.append(f"| long, noise told from the profile | {figures(own, 'scaled')} |")
    lines.append(f"| long, noise told from six of a survey | {figures(surveys, 'scaled')} |")
    for kind in LONG:
        own = [t for t in trials if t.case.kind == kind]
        lines.append(f"| {kind}, no kind assumed | {figures(own, 'free')} |")
    return "\n".join(lines)


def wrong_table(trials: list[Judged]) -> str:
    lines = [
        "| body | assumed | profiles | no answer | error: median | nine in ten within "
        "| 90 % interval holds |",
        "|---|---|---:|---:|---:|---:|---:|",
    ]
    for kind in KINDS:
        for other in LONG:
            own = [t for t in trials if t.case.kind == kind and other in t.wrong]
            told = [(t.wrong[other], t.case.depth_m) for t in own if t.wrong[other] is not None]
            if not told:
                continue
            off = np.array([est.value / depth - 1 for est, depth in told])
            held = np.mean([est.low <= depth <= est.high for est, depth in told])
            lines.append(
                f"| {kind} | {other} | {len(own)} | {1 - len(told) / len(own):.0%} "
                f"| {np.median(off):+.0%} | {np.quantile(np.abs(off), 0.9):.0%} | {held:.0%} |"
            )
    return "\n".join(lines)


def rules_table(trials: list[Judged]) -> str:
    """Each rule where it is valid, isolated bodies of the kind that it is for."""
    found: dict[str, list[tuple[float, bool] | None]] = {}
    for trial in trials:
        case = trial.case
        if case.neighbours or case.kind not in LONG:
            continue
        for rule in depth_rules(case.profile, noise=case.noise, kind=case.kind):
            told = rule.depth is not None and rule.valid
            name = f"{rule.method} | {case.kind}"
            entry = None
            if told:
                est = rule.depth
                entry = (est.value / case.depth_m - 1, est.low <= case.depth_m <= est.high)
            found.setdefault(name, []).append(entry)
    lines = [
        "| rule | body | profiles | valid | error: median | nine in ten within "
        "| 90 % interval holds |",
        "|---|---|---:|---:|---:|---:|---:|",
    ]
    for name, entries in found.items():
        told = [entry for entry in entries if entry is not None]
        if len(told) < 0.1 * len(entries):
            continue
        off = np.array([entry[0] for entry in told])
        lines.append(
            f"| {name} | {len(entries)} | {len(told) / len(entries):.0%} | {np.median(off):+.0%} "
            f"| {np.quantile(np.abs(off), 0.9):.0%} | {np.mean([e[1] for e in told]):.0%} |"
        )
    return "\n".join(lines)


def index_table(count: int, first: int) -> str:
    lines = [
        "| body | true index | profiles | told right | told wrong | not told |",
        "|---|---:|---:|---:|---:|---:|",
    ]
    for kind, index in (
        ("thin sheet", 1.0), ("wide dyke", 0.0), ("contact", 0.0), ("cylinder", 2.0),
        ("sphere", 3.0), ("dyke as wide as deep", None),
    ):  # fmt: skip
        found = []
        for seed in range(first, first + count):
            case = end_member(seed, kind)
            found.append(structural_index(case.profile, noise=case.noise, about_m=case.about_m))
        told = [one for one in found if one.resolved]
        right = sum(one.value == index for one in told)
        lines.append(
            f"| {kind} | {'between' if index is None else f'{index:.0f}'} | {count} "
            f"| {right / count:.1%} | {(len(told) - right) / count:.1%} "
            f"| {1 - len(told) / count:.1%} |"
        )
    return "\n".join(lines)


def main() -> None:
    count = int(sys.argv[1]) if sys.argv[1:] else PROFILES
    first = int(sys.argv[2]) if sys.argv[2:] else FIRST
    ranges = CALIBRATION if sys.argv[3:] == ["calibration"] else JUDGING
    trials = [judged(seed, kind, ranges) for kind in KINDS for seed in range(first, first + count)]
    surveys = surveyed(max(count // 4, 2), first, ranges)
    away = np.nanquantile([t.away for t in trials if t.case.kind in LONG], [0.5, 0.95])
    print(
        f"## Depths of known bodies\n\nSeeds from {first}. Answers where the kind is known, and "
        f"where it isn't; the floor is each body's own, of an isolated one, and beside it that "
        f"with its neighbours free too.\n\n"
        f"{known_table(trials, surveys)}\n\nA wrong kind assumed:\n\n{wrong_table(trials)}\n\n"
        f"Rules where they are valid, isolated bodies (they disagree with the answer by "
        f"{away[0]:.1f} of their errors in the median, {away[1]:.1f} in 95 of 100):\n\n"
        f"{rules_table(trials)}\n\nStructural index of isolated bodies, noise up to 1 %:\n\n"
        f"{index_table(max(count * 6 // 5, 10), first)}"
    )


if __name__ == "__main__":
    main()
