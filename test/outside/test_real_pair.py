"""Two real instruments on one quiet day: a vector record as the base, a scalar one as the rover.

Conrad Observatory, 2023-07-12, one reading a second each. Both see the same variation of the field,
so what is left after the base is taken away is the noise of the two instruments. Computed
beforehand by other code: sd 0.0198 nT at 1 s, 0.012 nT for 1-minute means, and 0.148 nT when one
clock is 37 s wrong.
"""

import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from lodewalk.methods.corrections.diurnal import interpolate_base
from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from outside.readers import read_cdf, read_iaga


@dataclass(frozen=True)
class Pair:
    time_s: np.ndarray
    rover_nT: np.ndarray
    base_time_s: np.ndarray
    base_nT: np.ndarray

    def residual(self, *, clock_s: float = 0.0, every: int = 1) -> np.ndarray:
        """Rover minus base, with the rover's clock ahead and a base that reads less often."""
        base = interpolate_base(
            self.time_s + clock_s,
            self.base_time_s[::every],
            self.base_nT[::every],
            kind="linear",
            max_gap_s=1.5 * every,
        )
        return self.rover_nT - base


@pytest.fixture(scope="module")
def pair(conrad_2023_base: Path, conrad_2023_scalar_cdf: Path) -> Pair:
    base, rover = read_iaga(conrad_2023_base), read_cdf(conrad_2023_scalar_cdf)
    length = np.sqrt(base["H"] ** 2 + base["E"] ** 2 + base["Z"] ** 2)
    return Pair(rover["time_s"], rover["f"], base["time_s"], length)


def test_base_takes_away_all_but_the_noise(pair: Pair, figures: Callable[[str], None]) -> None:
    residual = pair.residual()
    inside = np.isfinite(residual)
    minute = residual[: residual.size // 60 * 60].reshape(-1, 60)
    sd, sd_minute = np.std(residual[inside]), np.std(np.nanmean(minute, axis=1))
    day = np.ptp(pair.rover_nT)
    figures(
        f"real pair: {inside.sum()} of {residual.size} readings, {day:.1f} nT over the day; "
        f"left sd {sd:.4f} nT at 1 s, {sd_minute:.4f} nT for 1-minute means"
    )
    assert inside.sum() >= 86_399
    assert day > 20.0
    assert sd <= 0.022
    assert sd_minute == pytest.approx(0.012, abs=0.001)


def test_wrong_clock_leaves_seven_times_as_much(pair: Pair, figures: Callable[[str], None]) -> None:
    sd = np.nanstd(pair.residual(clock_s=37.0))
    figures(f"real pair: left sd {sd:.4f} nT with one clock 37 s wrong")
    assert sd == pytest.approx(0.148, abs=0.003)


def test_rarer_base_leaves_more(pair: Pair, figures: Callable[[str], None]) -> None:
    sds = [float(np.nanstd(pair.residual(every=step))) for step in (1, 10, 60, 300, 600)]
    listed = ", ".join(f"{sd:.3f}" for sd in sds)
    figures(f"real pair: left sd {listed} nT with a base each 1, 10, 60, 300, 600 s")
    assert sds == sorted(sds)


def test_the_whole_job_leaves_the_same_noise(
    pair: Pair, conrad_2023_base: Path, tmp_path: Path, figures: Callable[[str], None]
) -> None:
    """The base as the observatory's own file, the scalar record as a rover that stands still."""
    base = tmp_path / "base.sec"
    with zipfile.ZipFile(conrad_2023_base) as archive:
        base.write_bytes(archive.read(archive.namelist()[0]))
    stamps = pl.from_epoch(pl.Series(pair.time_s * 1e6).cast(int), time_unit="us")
    rover = tmp_path / "rover.csv"
    pl.DataFrame(
        {"time": stamps, "latitude": 47.93, "longitude": 15.87, "field": pair.rover_nT}
    ).write_csv(rover, datetime_format="%Y-%m-%dT%H:%M:%S%.3fZ", float_precision=4)
    new_survey(tmp_path / "survey", name="Pair", crs="EPSG:32633")
    folder = open_folder(tmp_path / "survey")
    add_files(folder, [base], role="base")
    add_files(folder, [rover], role="rover")
    run(folder, to="readings")
    frame = pl.read_parquet(folder.products / "readings.parquet")
    kept = frame.filter("kept")["anomaly_nT"].to_numpy()
    figures(
        f"real pair through the whole job: {kept.size} of {frame.height} readings kept, left sd "
        f"{np.std(kept):.4f} nT"
    )
    assert kept.size >= 0.999 * frame.height
    assert np.std(kept) <= 0.022
