"""Coverage of the standard error of a grid: small planted surveys through the main job's choices.

Eight to ten lines 20 m apart and 200 m long over 5 to 59 compact bodies at 0.5 to 3 line spacings
below the sensor; a reading each 1 to 3 m; white noise of 0.2 to 2 nT, and in four surveys of ten an
error that each line has as a whole, of 0.3 to 1 times that. Tension and damping by left-out lines,
then minimum curvature on nodes 5 m apart. Errors of the readings are given; all else is estimated
from the readings. Run ``python bench/evidence_standard_error.py``; it prints one Markdown section.
"""

from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np
from threadpoolctl import threadpool_limits

from common import coverage_row
from gridded_survey import Nodes, Survey, choice_of, mapped, planted

SURVEYS = 400


class Trial(NamedTuple):
    survey: Survey
    nodes: Nodes


WHERE: dict[str, Callable[[Nodes], np.ndarray]] = {
    "near the lines": lambda nodes: nodes.near,
    "between them": lambda nodes: nodes.between,
    "top tenth of gradient": lambda nodes: nodes.steep,
    "top tenth, between lines": lambda nodes: nodes.steep & nodes.between,
}
GROUPS: dict[str, Callable[[Survey], bool]] = {
    "all": lambda _: True,
    "noise under 0.6 nT": lambda survey: survey.noise_nT < 0.6,
    "noise over 0.6 nT": lambda survey: survey.noise_nT >= 0.6,
    "each line has an error": lambda survey: survey.line_nT > 0,
}


def trials(surveys: int) -> Iterable[Trial]:
    with threadpool_limits(1):
        for seed in range(surveys):
            survey = planted(seed)
            yield Trial(survey, mapped(survey, choice_of(survey)))


def chosen(nodes: Nodes, where: Callable[[Nodes], np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Return errors and sd of some nodes."""
    used = where(nodes)
    return nodes.error[used], nodes.sd[used]


def report(found: list[Trial]) -> str:
    lines = [
        "## Standard error of a grid",
        "",
        f"{len(found)} planted surveys, lines 20 m apart. Inside: share of surveys in which the "
        "90 % interval holds the true field at one node drawn at random; beside it the 99 % band "
        "of that many trials of 0.9. Nodes inside: mean and 5th to 95th percentile over surveys. "
        "Width: mean stated sd over the rms of the true errors, all surveys together, and its "
        "median over surveys.",
        "",
        "| nodes | surveys | inside | 99 % band | nodes inside | width | median |",
        "|---|---:|---:|---|---|---:|---:|",
    ]
    for group, belongs in GROUPS.items():
        part = [trial for trial in found if belongs(trial.survey)]
        for where, mask in WHERE.items():
            if part:
                lines.append(
                    coverage_row(f"{group}: {where}", [chosen(t.nodes, mask) for t in part])
                )
    return "\n".join(lines)


def section(surveys: int = SURVEYS) -> str:
    return report(list(trials(surveys)))


if __name__ == "__main__":
    print(section())
