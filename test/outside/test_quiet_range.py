"""The expected range of a quiet day against real days at one observatory."""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from lodewalk.methods.geomagnetic import site_values
from lodewalk.methods.geomagnetic.quiet_range import QuietRange, quiet_range
from outside.readers import read_cdf, read_iaga, read_kp, utc

PLACE = (47.93, 15.87)


def expected(decimal_year: float) -> QuietRange:
    site = site_values(*PLACE, 1000.0, decimal_year=decimal_year)
    return quiet_range(*PLACE, inclination_deg=site.inclination_deg, decimal_year=decimal_year)


def test_quiet_days_lie_in_the_range(
    conrad_2024_cdf: Path,
    conrad_2018_iaga: Path,
    conrad_2023_base: Path,
    kp_file: Path,
    figures: Callable[[str], None],
) -> None:
    """9 May 2024 (43 nT), 12 July 2023 and 29 August 2018; which count as quiet, Kp says."""
    storm, base = read_cdf(conrad_2024_cdf), read_iaga(conrad_2023_base)
    length = np.sqrt(sum(base[letter] ** 2 for letter in "HEZ"))
    days = {
        (2024, 5, 9): storm["GeomagneticFieldS"][:86_400],
        (2023, 7, 12): length,
        (2018, 8, 29): read_iaga(conrad_2018_iaga)["F"],
    }
    for day, field in days.items():
        kp = read_kp(kp_file, first=utc(*day), days=1).max()
        year = day[0] + (day[1] - 0.5) / 12
        found, ranged = expected(year), float(np.nanmax(field) - np.nanmin(field))
        date = "-".join(f"{part:02}" for part in day)
        figures(
            f"range of F on {date}, largest Kp {kp:.1f}: {ranged:.0f} nT, "
            f"expected on a quiet day {found.low_nT:.0f} to {found.high_nT:.0f} nT"
        )
        if kp < 2.5:
            assert found.low_nT < ranged < found.high_nT


def test_a_storm_lies_far_outside(conrad_2024_cdf: Path) -> None:
    field = read_cdf(conrad_2024_cdf)["GeomagneticFieldS"][86_400 : 2 * 86_400]
    assert np.ptp(field) > 4.0 * expected(2024.36).high_nT
