"""Coverage of the stated error of the anomaly: planted surveys through the real steps.

Each survey is written as raw files, added to a survey folder of its own and run up to the step
`readings`: eight lines of 600 m, a reading a second, a base each 60 s with noise of 0.05 nT. Drawn
anew for each: spectral exponent of the diurnal field (1.5 to 3), its sd over the record (1 to
20 nT) and the white noise of the sensor (0.03 to 0.5 nT). Positions are exact, since the budget
has no part for them yet. Run ``python bench/evidence_budget.py``; it prints one Markdown section.
"""

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from common import spread
from planted_survey import Outcome, drawn, outcome

SURVEYS = 200


def part_of_base(item: Outcome) -> float:
    """Return the share of the stated variance that the diurnal correction has."""
    return float(np.mean(item.sd_diurnal**2) / np.mean(item.sd**2))


GROUPS: dict[str, Callable[[int, Outcome], bool]] = {
    "all": lambda _seed, _item: True,
    "exponent 1.5 to 2": lambda seed, _item: drawn(seed).exponent < 2,
    "exponent 2 to 2.5": lambda seed, _item: 2 <= drawn(seed).exponent < 2.5,
    "exponent 2.5 to 3": lambda seed, _item: drawn(seed).exponent >= 2.5,
    "sensor has over 80 % of the variance": lambda _seed, item: part_of_base(item) < 0.2,
    "both count": lambda _seed, item: 0.2 <= part_of_base(item) <= 0.8,
    "diurnal has over 80 % of the variance": lambda _seed, item: part_of_base(item) > 0.8,
}


def section(surveys: int = SURVEYS) -> str:
    found = []
    for seed in range(surveys):
        with TemporaryDirectory() as folder:
            found.append((seed, outcome(Path(folder), seed)))
    readings = sum(item.error.size for _, item in found)
    lines = [
        "## Anomaly: sensor and diurnal part together",
        "",
        f"{surveys} planted surveys, {readings:,} kept readings, from raw files through the real "
        "steps. Share of true errors of the anomaly inside the 90 % interval after one constant is "
        "taken off for each survey; mean and 5th to 95th percentile over surveys. Base each 60 s, "
        "exact positions.",
        "",
        "| surveys | number | coverage |",
        "|---|---:|---|",
    ]
    for name, belongs in GROUPS.items():
        shares = [item.coverage for seed, item in found if belongs(seed, item)]
        lines.append(f"| {name} | {len(shares)} | {spread(shares) if shares else ''} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(section())
