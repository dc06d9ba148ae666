"""Gross clock slips from crossings: what is found, named and signed right, and what is claimed.

The walks are those of the test of `revisit_clock`, with other seeds. Run ``python
bench/evidence_clock_revisits.py``; it prints one Markdown section in about three minutes.
"""

import runpy

import numpy as np

from common import BENCH
from lodewalk.methods.checks.clocks.evidence import DETECTED, NOT_IDENTIFIABLE

OF_TEST = runpy.run_path(str(BENCH.parent / "test/methods/checks/clocks/test_revisits.py"))
HOUR, SLIPS_H = OF_TEST["HOUR"], OF_TEST["SLIPS_H"]
SEEDS = 200
FIRST_SEED = 30_000  # not those that the settings were chosen on
RED_NT = (0.3, 1.0, 3.0, 10.0)
CROSSINGS = ((10, 2), (17, 3), (35, 3), (60, 5))
NOISE_NT = (0.3, 1.0, 3.0)
ROUNDS = 6


def judged(walk, slip_h: float) -> tuple[bool, bool, bool, float]:
    """Return whether a slip is found, named right, named wrongly, and the 90 % interval's error."""
    evidence = walk.judged(slip_h * HOUR).evidence
    found = evidence.state == DETECTED
    name = OF_TEST["name_of"](evidence) if found else None
    error = abs(evidence.offset_s - slip_h * HOUR) / evidence.sd_s if found else np.nan
    return found, name == slip_h, found and name != slip_h, error


def campaigns() -> tuple[list[str], list[tuple[bool, bool, bool, float]]]:
    """Return the table of the slips over the seeds, walks of the size that the aim speaks of."""
    results: dict[float, list[tuple[bool, bool, bool, float]]] = {slip: [] for slip in SLIPS_H}
    for seed in range(SEEDS):
        rng = np.random.default_rng([32, seed])
        walk = OF_TEST["walk"](
            FIRST_SEED + seed,
            lines=int(rng.integers(30, 41)),
            days=int(rng.integers(1, 3)),
            red_nT=float(rng.choice([0.5, 1.0, 2.0, 5.0])),
            noise_nT=float(rng.choice([0.3, 1.0])),
            place_m=float(rng.uniform(1, 2)),
            base_s=float(rng.choice([10, 30, 60])),
        )
        for slip in (SLIPS_H[seed % len(SLIPS_H)], SLIPS_H[(seed + 5) % len(SLIPS_H)]):
            results[slip].append(judged(walk, slip))
    lines = ["| slip [h] | walks | found | named and signed right |", "|---:|---:|---:|---:|"]
    for slip, found in results.items():
        share = np.array([row[:2] for row in found]).mean(axis=0)
        lines.append(f"| {slip:+g} | {len(found)} | {share[0]:.3f} | {share[1]:.3f} |")
    return lines, [row for rows in results.values() for row in rows]


def clean() -> tuple[int, int, int]:
    """Return claims on clean walks of any size, claims and missing intervals under 18 s."""
    claims = gps_claims = 0
    for seed in range(SEEDS):
        walk = OF_TEST["any_walk"](FIRST_SEED + seed)
        found = walk.judged()
        claims += found.evidence.state != NOT_IDENTIFIABLE or found.slip_probability > 0.99
        if seed % 2 == 0:
            gps_claims += walk.judged(18.0).evidence.state != NOT_IDENTIFIABLE
    return claims, gps_claims, SEEDS // 2


def limits(noise_nT: float) -> list[str]:
    """Return the share found by activity and number of crossings, and the median sd."""
    lines = []
    for red in RED_NT:
        cells = []
        for rows, ties in CROSSINGS:
            walks = [
                OF_TEST["walk"](
                    FIRST_SEED + 7 * k,
                    lines=rows,
                    ties=ties,
                    red_nT=red,
                    noise_nT=noise_nT,
                    place_m=0.0,
                )
                for k in range(ROUNDS)
            ]
            found = [
                walk.judged(SLIPS_H[(5 * k) % len(SLIPS_H)] * HOUR) for k, walk in enumerate(walks)
            ]
            share = np.mean([one.evidence.state == DETECTED for one in found])
            sd = np.median([one.candidates[0].sd_s for one in found])
            cells.append(f"{share:.2f}, {sd:.0f} s")
        lines.append(f"| {noise_nT:g} | {red:g} | " + " | ".join(cells) + " |")
    return lines


def section() -> str:
    by_slip, results = campaigns()
    inside = np.array([error < 1.645 for *_, error in results if np.isfinite(error)])
    wrong = sum(row[2] for row in results)
    claims, gps_claims, gps_walks = clean()
    sizes = " | ".join(f"{rows * ties}" for rows, ties in CROSSINGS)
    return "\n".join(
        [
            "## Clock slips from crossings",
            "",
            f"{SEEDS} walks of 30 to 40 lines and 3 tie lines on one or two days, places off by 1 "
            "to 2 m over dykes, quiet daily curve of 30 to 40 nT and red noise of 0.5 to 5 nT rms; "
            "base every 10 to 60 s from half an hour before the walk to half an hour after it.",
            "",
            *by_slip,
            "",
            f"Slips found but named wrongly: {wrong} of {len(results)}. The 90 % interval, with "
            "10 s for the lag of the field and the base's interval in it, holds "
            f"{inside.mean():.3f} of {inside.size}.",
            "",
            f"Claims on clean walks, 20 to 300 crossings, red noise 0.3 to 10 nT, noise 0.3 to 3 "
            f"nT: {claims} of {SEEDS}. With 18 s on the rover's clock: claimed on {gps_claims} of "
            f"{gps_walks}; the right answer is not identifiable.",
            "",
            "Share of slips found, and median sd of the offset without those, by noise of a "
            f"reading pair, red noise and number of crossings ({ROUNDS} walks each, places exact, "
            "one day, daily curve about 35 nT):",
            "",
            f"| noise [nT] | red noise [nT] | {sizes} |",
            "|---:|---:|" + "---|" * len(CROSSINGS),
            *(line for noise in NOISE_NT for line in limits(noise)),
        ]
    )


if __name__ == "__main__":
    print(section())
