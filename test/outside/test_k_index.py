"""K and activity from the Conrad record of 9-12 May 2024, a quiet day and a great storm."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from lodewalk.methods.geomagnetic.k_index import (
    ACTIVITY_WORDS,
    KIntervals,
    k_index,
    scalar_activity,
)
from outside.readers import Columns, cdf_attribute, read_cdf, read_kp, utc

THREE_HOURS = 10_800
LONGITUDE = 15.866  # the file's own


@pytest.fixture(scope="module")
def record(conrad_2024_cdf: Path) -> Columns:
    return read_cdf(conrad_2024_cdf)


@pytest.fixture(scope="module")
def k9_nT(conrad_2024_cdf: Path) -> float:
    """The K = 9 limit that the observatory states in the file: 500 nT."""
    return float(cdf_attribute(conrad_2024_cdf, "StationK9"))


@pytest.fixture(scope="module")
def whole(record: Columns, k9_nT: float) -> KIntervals:
    return index_of(record, slice(None), k9_nT)


def index_of(record: Columns, part: slice, k9_nT: float) -> KIntervals:
    return k_index(
        record["time_s"][part],
        record["GeomagneticFieldH"][part],
        record["GeomagneticFieldE"][part],
        k9_nT=k9_nT,
        longitude_deg=LONGITUDE,
    )


def test_k_follows_published_kp(
    record: Columns, whole: KIntervals, kp_file: Path, figures: Callable[[str], None]
) -> None:
    kp = read_kp(kp_file, first=utc(2024, 5, 9), days=4)
    assert whole.start_s[0] == utc(2024, 5, 9).timestamp()
    assert set(whole.quiet_curve) == {"harmonic"}
    off = whole.k - kp
    r = np.corrcoef(whole.k, kp)[0, 1]
    figures(
        f"K against Kp, 32 intervals: r {r:.4f}, mean difference {off.mean():+.2f}, "
        f"mean size {np.abs(off).mean():.2f}, largest {np.abs(off).max():.2f}, "
        f"over 2.0 in {np.sum(np.abs(off) > 2.0)}"
    )
    assert r >= 0.97
    # The aim was a difference of 2.0 at most. Kp is the mean of thirteen observatories; where the
    # range at this one was below the limit of K = 7 (200 nT) before anything was taken away, while
    # Kp was 8+, no quiet curve can come within 2.0. Anywhere else the aim holds.
    raw = np.maximum(raw_range(record["GeomagneticFieldH"]), raw_range(record["GeomagneticFieldE"]))
    out_of_reach = (raw < 200.0) & (kp > 8.0)
    assert np.all(np.abs(off[~out_of_reach]) <= 2.0)


def raw_range(component: np.ndarray) -> np.ndarray:
    """Range of minute means in each interval; the record is whole, one value each second."""
    return np.ptp(component.reshape(-1, 180, 60).mean(axis=2), axis=1)


def pieces(record: Columns, hours: int) -> Iterator[slice]:
    """Every stretch of so many hours that begins on an hour."""
    for start in range(0, record["time_s"].size - hours * 3600 + 1, 3600):
        yield slice(start, start + hours * 3600)


@pytest.mark.parametrize("hours", [3, 6, 9, 12, 18])
def test_short_records_stay_near_the_whole_one(
    record: Columns, whole: KIntervals, k9_nT: float, hours: int, figures: Callable[[str], None]
) -> None:
    off = []
    for piece in pieces(record, hours):
        found = index_of(record, piece, k9_nT)
        which = ((found.start_s - whole.start_s[0]) // THREE_HOURS).astype(int)
        off.append(found.k - whole.k[which])
    differences = np.concatenate(off)
    differences = differences[np.isfinite(differences)]
    same, near = np.mean(differences == 0), np.mean(np.abs(differences) <= 1)
    figures(
        f"K from records of {hours} h: {same:.0%} as from the whole record, {near:.0%} within 1, "
        f"largest {np.abs(differences).max():.0f} ({differences.size} intervals)"
    )
    assert same > 0.7
    assert near > 0.9


def test_total_field_never_cries_louder_than_the_components(
    record: Columns, whole: KIntervals, k9_nT: float, figures: Callable[[str], None]
) -> None:
    found = scalar_activity(
        record["time_s"], record["GeomagneticFieldS"], k9_nT=k9_nT, longitude_deg=LONGITUDE
    )
    of_k = np.searchsorted([2, 4, 5], whole.k, side="right")
    of_field = np.array([ACTIVITY_WORDS.index(word) for word in found.activity])
    figures(
        f"activity from the total field, 32 intervals: {np.sum(of_field == of_k)} as from K, "
        f"{np.sum(of_field < of_k)} milder, {np.sum(of_field > of_k)} louder"
    )
    assert np.all(of_field <= of_k)
    assert set(found.activity[:8]) == {"quiet"}  # 9 May
    assert set(found.activity[14:22]) == {"storm"}  # 18 UT on 10 May to 18 UT on 11 May
