"""Coverage of the error budget and of the map of the standard error, through the whole main job.

Each survey is written as raw files and run to the grid with the default settings; only the error
of a fix is given, right on the average, by a factor off in each. What is planted is listed in
``test/reduced_survey.py``. Run ``python bench/evidence_reduction.py [surveys] [first seed]``; it
prints one Markdown section.
"""

import sys
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from common import coverage_row
from reduced_survey import Truths, reduced

SURVEYS, FIRST = 400, 11_000
Part = Callable[[Truths], tuple[np.ndarray, np.ndarray]]

WHERE: dict[str, Part] = {
    "readings": lambda t: (t.error, t.sd),
    "readings, top tenth of gradient": lambda t: (t.error[t.steep], t.sd[t.steep]),
    "nodes near the lines": lambda t: (t.node_error[t.near], t.node_sd[t.near]),
    "nodes between them": lambda t: (t.node_error[t.between], t.node_sd[t.between]),
    "nodes, top tenth of gradient": lambda t: (t.node_error[t.node_steep], t.node_sd[t.node_steep]),
}
GROUPS: dict[str, Callable[[Truths], bool]] = {
    "all": lambda _: True,
    "quiet": lambda t: t.plan.quiet,
    "disturbed": lambda t: not t.plan.quiet,
}


def known(truth: Truths, part: Part) -> tuple[np.ndarray, np.ndarray]:
    """Return errors and sd of a part where both are known."""
    error, sd = part(truth)
    both = np.isfinite(error + sd)
    return error[both], sd[both]


def report(found: list[Truths]) -> str:
    lines = [
        "## Error budget and standard error of the grid, through the main job",
        "",
        f"{len(found)} planted surveys from raw files to the grid, default settings. Inside: share "
        "of surveys in which the 90 % interval holds the truth at one place drawn at random; "
        "beside it the 99 % band of that many trials of 0.9. Places inside: mean and 5th to 95th "
        "percentile over surveys. Width: mean stated sd over the rms of the true errors, all "
        "surveys together, and its median over surveys. Quiet: variation of the field under 5 nT.",
        "",
        "| where | surveys | inside | 99 % band | places inside | width | median |",
        "|---|---:|---:|---|---|---:|---:|",
    ]
    for group, belongs in GROUPS.items():
        part = [truth for truth in found if belongs(truth)]
        if part:
            lines += [
                coverage_row(f"{group}: {name}", [known(truth, where) for truth in part])
                for name, where in WHERE.items()
            ]
    return "\n".join(lines)


def section(surveys: int = SURVEYS, first: int = FIRST) -> str:
    found = []
    for seed in range(first, first + surveys):
        with TemporaryDirectory() as folder:
            found.append(reduced(Path(folder), seed))
    return report(found)


if __name__ == "__main__":
    print(section(*map(int, sys.argv[1:])))
