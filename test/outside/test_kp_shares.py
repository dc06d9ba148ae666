"""Shares of disturbed half days, from the published Kp of 56 years."""

from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np

from lodewalk.methods.planning.stand_by import ACTIVE_SHARE, MEAN_SHARE, QUIET_SHARE
from outside.readers import read_kp, utc

FIRST, LAST = 1964, 2019


def test_the_shares_are_those_of_published_kp(
    kp_file: Path, figures: Callable[[str], None]
) -> None:
    days = (date(LAST + 1, 1, 1) - date(FIRST, 1, 1)).days
    k = np.round(read_kp(kp_file, first=utc(FIRST, 1, 1), days=days)).astype(int)
    half_day = np.max([k[shift : len(k) - 3 + shift] for shift in range(4)], axis=0)
    first = np.datetime64(f"{FIRST}-01-01")
    year = (first + np.arange(half_day.size) // 8).astype("datetime64[Y]")
    shares = np.array(
        [[np.mean(half_day[year == y] >= n) for n in range(1, 10)] for y in np.unique(year)]
    )
    low, high = shares[:, 4].min(), shares[:, 4].max()
    mean = np.mean(half_day >= 5)
    figures(f"half days with K at least 5: {mean:.4f}, by year {low:.3f} to {high:.3f}")
    mean = [np.mean(half_day >= n) for n in range(1, 10)]
    assert np.allclose(MEAN_SHARE, mean, atol=2e-3)
    assert np.allclose(QUIET_SHARE, np.percentile(shares, 10, axis=0), atol=2e-3)
    assert np.allclose(ACTIVE_SHARE, np.percentile(shares, 90, axis=0), atol=2e-3)
