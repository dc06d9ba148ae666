"""Lineaments traced from the grid, against simulated swarms of dykes with faults.

Dykes are blocks with flat ends (`test/lineament_world.py`), read along lines with noise and
gridded by minimum curvature; how a trace matches a dyke is stated in `test/lineament_match.py`.
Seeds from 1000 up; the figures of the evidence were fitted on seeds 0 to 44. Run
``python bench/evidence_lineaments.py [maps]``; it prints one Markdown section.
"""

import sys

import numpy as np

import common  # noqa: F401
from lineament_match import scores
from lineament_trials import coverage, noise_maps, trial

MAPS, FIRST = 16, 1000
#: Line spacing [m], noise [nT], inclination [deg].
CASES = (
    (20.0, 0.5, -35.0),
    (20.0, 2.0, -35.0),
    (20.0, 5.0, -35.0),
    (10.0, 2.0, -35.0),
    (40.0, 2.0, -35.0),
    (20.0, 0.5, 0.0),
    (20.0, 2.0, 0.0),
    (20.0, 5.0, 0.0),
    (20.0, 0.5, 65.0),
    (20.0, 2.0, 65.0),
    (20.0, 5.0, 65.0),
)
KINDS = ("white", "shallow", "deep", "boulders")


def swarm_row(case, maps):
    spacing, noise, inclination = case
    done = trial(range(FIRST, FIRST + maps), spacing=spacing, noise=noise, inclination=inclination)
    precision, recall, f1, by_length = scores(done.matches)
    error = np.array(done.strikes).reshape(-1, 2)[:, 0]
    off = np.array(done.offsets).reshape(-1, 2)[:, 0]
    return (
        f"| {spacing:g} | {noise:g} | {inclination:g} | {precision:.2f} | {recall:.2f} "
        f"| {f1:.2f} | {by_length:.2f} | {np.median(np.abs(error)):.2f} "
        f"| {coverage(done.strikes):.2f} | {len(done.offsets)} of {done.faults}, {done.told} told "
        f"| {np.median(np.abs(off)) if off.size else np.nan:.1f} | {coverage(done.offsets):.2f} |"
    )


def noise_row(kind, maps):
    found = noise_maps(range(FIRST, FIRST + maps), kind=kind)
    counts = [sum(e >= level for one in found for e in one) / maps for level in (0.5, 0.9, 0.95)]
    return f"| {kind} | {maps} | " + " | ".join(f"{count:.3f}" for count in counts) + " |"


def section(maps=MAPS):
    lines = [
        "## Lineaments",
        "",
        f"{maps} swarms a row, each of 5 dykes, 2 of them broken by an offset of 2 to 5 line "
        "spacings, in a square of 40 line spacings; tops half to one and a half spacings below the "
        "sensor. Right: within half a line spacing and 10 degrees, on half of the length.",
        "",
        "| spacing [m] | noise [nT] | inclination | precision | recall | F1 | F1 by length "
        "| strike, median error [deg] | strike, 90 % coverage | offsets found "
        "| offset, median error [m] | offset, 90 % coverage |",
        "|---:|---:|---:|---:|---:|---:|---:|---:|---:|---|---:|---:|",
        *(swarm_row(case, maps) for case in CASES),
        "",
        "False lines a map of 40 by 40 line spacings without any dyke, by stated evidence; from "
        "the rule at most 0.69, 0.11 and 0.05.",
        "",
        "| noise | maps | 0.5 up | 0.9 up | 0.95 up |",
        "|---|---:|---:|---:|---:|",
        *(noise_row(kind, 4 * maps) for kind in KINDS),
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    print(section(*map(int, sys.argv[1:])))
