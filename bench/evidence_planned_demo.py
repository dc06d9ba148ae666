"""The promise of a plan against surveys walked on it in the demo's ground.

Each survey is planned from its polygon by `lodewalk plan`, its dyke drawn from what the settings
say of it (a strong one, then a faint one), walked with boulders in the soil and a daily
variation, and run from raw files. Run ``python bench/evidence_planned_demo.py [surveys] [first
seed]``; it prints one Markdown section.
"""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import common  # noqa: F401
from planned_demo import FAINT, SIZE_M, STRONG, Found, walked_and_searched
from walked_detection import band

SURVEYS, FIRST = 20, 300


def row(name: str, found: list[Found]) -> str:
    chances = [one.promised for one in found]
    low, high = band(chances)
    return (
        f"| {name} | {len(found)} | {sum(chances) / len(chances):.3f} | {sum(chances):.1f} "
        f"| {low} to {high} | {sum(one.found for one in found)} "
        f"| {min(one.kept for one in found):.3f} |"
    )


def section(surveys: int = SURVEYS, first: int = FIRST) -> str:
    rows = []
    for name, believed in (("strong dyke", STRONG), ("faint dyke", FAINT)):
        found = []
        for seed in range(first, first + surveys):
            with TemporaryDirectory() as folder:
                found.append(walked_and_searched(Path(folder), believed, SIZE_M, seed))
            print(name, found[-1], file=sys.stderr, flush=True)
        rows.append(row(name, found))
    lines = (
        "## A plan's promise, walked",
        "",
        f"{SIZE_M[0]:g} m by {SIZE_M[1]:g} m of the demo's ground, planned from the polygon. Band: "
        "99 % of such sets of surveys if the promise holds (Poisson-binomial).",
        "",
        "| target | surveys | promised | expected | band | found | least kept |",
        "|---|---:|---:|---:|---|---:|---:|",
        *rows,
    )
    return "\n".join(lines)


if __name__ == "__main__":
    print(section(*map(int, sys.argv[1:])))
