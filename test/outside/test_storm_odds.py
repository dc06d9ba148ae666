"""The shares in the package, counted again from published Kp by another route."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from lodewalk.methods.planning.storm_odds import SHARES
from outside.readers import read_kp, utc

FIRST, LAST = 1958, 2024
# Minima of the sunspot cycle (SILSO, from memory).
MINIMA = [1954.3, 1964.8, 1976.2, 1986.7, 1996.6, 2008.9, 2019.9, 2030.9]


@pytest.fixture(scope="module")
def years(kp_file: Path) -> dict[int, np.ndarray]:
    """Published Kp of each year, eight a day."""
    days = {y: (utc(y + 1, 1, 1) - utc(y, 1, 1)).days for y in range(FIRST, LAST + 1)}
    kp = read_kp(kp_file, first=utc(FIRST, 1, 1), days=sum(days.values()))
    ends = np.cumsum(list(days.values()))
    return dict(zip(days, np.split(kp.reshape(-1, 8), ends[:-1]), strict=True))


def quarter(year: int) -> str:
    start = max(m for m in MINIMA if m <= year + 0.5)
    end = min(m for m in MINIMA if m > year + 0.5)
    return str(int((year + 0.5 - start) / (end - start) * 4))


@pytest.mark.parametrize("part", ["any", "0", "1", "2", "3"])
@pytest.mark.parametrize("span", ["day", "morning"])
def test_shares_of_days_and_mornings(years: dict[int, np.ndarray], part: str, span: str) -> None:
    chosen = [kp for year, kp in years.items() if part in ("any", quarter(year))]
    for place, k in enumerate(range(2, 10)):
        shares = []
        for kp in chosen:
            high = kp > k - 0.5  # 5- is 4.67, 4+ is 4.33
            if span == "day":
                shares.append(float(np.mean(high.any(axis=1))))
            else:
                shares.append(float(np.mean(high[:, 1:] | high[:, :-1])))
        low, upper = np.quantile(shares, [0.1, 0.9])
        assert SHARES[span, part][0][place] == pytest.approx(low, abs=6e-5)
        assert SHARES[span, part][1][place] == pytest.approx(upper, abs=6e-5)


def test_days_of_storm_in_a_cycle(
    years: dict[int, np.ndarray], figures: Callable[[str], None]
) -> None:
    """Published counts for a cycle of eleven years: about 900, 360, 130 and 60 days with storms of
    the first, second, third and fourth class or stronger, Kp 5 to 8 (space-weather scales of the
    United States' weather service, from memory; older, more active cycles)."""
    highest = np.concatenate([kp.max(axis=1) for kp in years.values()])
    cycles = len(years) / 11.0
    counted = [np.count_nonzero(highest > k - 0.5) / cycles for k in (5, 6, 7, 8)]
    figures("days a cycle with Kp of 5, 6, 7, 8 or more: " + ", ".join(f"{n:.0f}" for n in counted))
    for found, published in zip(counted, (900, 360, 130, 60), strict=True):
        assert 0.6 < found / published < 1.2


def test_hours_of_daylight_at_an_observatory(
    years: dict[int, np.ndarray], figures: Callable[[str], None]
) -> None:
    """Eskdalemuir 2003, 06 to 18 UT, days by their largest K: 24, 58, 102, 124, 49 and 8 of K 0 to
    1, 2, 3, 4, 5 and 6 to 9 (K9 of 750 nT). Kp of the same hours has to tell about the same."""
    highest = years[2003][:, 2:6].max(axis=1)
    seen = {k: np.mean(highest > k - 0.5) for k in (2, 3, 4, 5, 6)}
    observed = {2: 341 / 365, 3: 283 / 365, 4: 181 / 365, 5: 57 / 365, 6: 8 / 365}
    figures(
        "share of days with K of 2 ... 6 or more in 06 to 18 UT, 2003, Kp / Eskdalemuir: "
        + ", ".join(f"{seen[k]:.2f} / {observed[k]:.2f}" for k in seen)
    )
    for k in (2, 3, 4):
        assert observed[k] == pytest.approx(seen[k], abs=0.15)
    # By day one observatory is milder than the mean over all longitudes: Kp overstates.
    assert observed[5] < seen[5]
