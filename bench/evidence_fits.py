"""Fits of sheets and dykes against the information limit: spread, bias and coverage of intervals.

Profile of ten depths either side, 81 readings, index angle -50 degrees, level and slope free. Noise
in per cent of the range of the anomaly, independent or mostly shared by neighbours (four fifths of
the variance, over 0.8 depths), known or told by `fit_noise` from the profile itself. Run
``python bench/evidence_fits.py [trials] [first case] [last case]``.
"""

import sys
from dataclasses import dataclass

import numpy as np

import common  # noqa: F401
from lodewalk.methods.inversion import Noise, Profile, body_curve, fit_body, fit_noise, floor
from lodewalk.methods.inversion._whitening import covariance_of

TRIALS, SEED = 1000, 0
DISTANCE = np.linspace(-100.0, 100.0, 81)
SHARED, LENGTH_M = 0.8, 8.0
NAMES = ("position_m", "depth_m", "half_width_m", "index_angle_deg")


@dataclass(frozen=True)
class Case:
    """A body, its half width, noise in per cent, whether shared and whether told beforehand."""

    kind: str
    half_width_m: float
    percent: float
    shared: bool = False
    told: bool = True


CASES = (
    Case("thin sheet", 1.0, 5.0),
    Case("dyke", 10.0, 5.0),
    Case("thin sheet", 1.0, 5.0, shared=True),
    Case("dyke", 10.0, 2.0, shared=True),
    Case("dyke", 5.0, 1.0),
    Case("dyke", 5.0, 5.0),
    Case("dyke", 10.0, 10.0),
    Case("thin sheet", 1.0, 5.0, told=False),
    Case("thin sheet", 1.0, 5.0, shared=True, told=False),
    Case("dyke", 10.0, 2.0, shared=True, told=False),
)
HEAD = """| body | noise | parameter | floor | sd / floor | bias / sd | held by 90 % |
|---|---|---|---:|---:|---:|---:|"""


def rows_of(case: Case, trials: int) -> list[str]:
    """Return the rows of one case; a search that ended at an edge is counted in the name."""
    rng = np.random.default_rng(SEED)
    truth = {
        "position_m": 0.0, "depth_m": 10.0, "half_width_m": case.half_width_m,
        "strength_nT_m": 1000.0, "index_angle_deg": -50.0,
    }  # fmt: skip
    curve, _ = body_curve(case.kind, DISTANCE, truth)
    sd = case.percent / 100.0 * float(np.ptp(curve))
    quiet = Profile(DISTANCE, curve, sd_nT=np.full(81, sd))
    noise = Noise((1 - SHARED) ** 0.5, sd * SHARED**0.5, LENGTH_M) if case.shared else Noise()
    root = np.linalg.cholesky(covariance_of(quiet, noise))
    least = floor(case.kind, quiet, truth, noise=noise)
    names = [name for name in NAMES if name in least]
    found: list[list[tuple[float, bool]]] = []
    edges = 0
    for _ in range(trials):
        profile = Profile(DISTANCE, curve + root @ rng.normal(size=81), sd_nT=quiet.sd_nT)
        known = noise if case.told else fit_noise(profile, case.kind)
        fit = fit_body(profile, case.kind, noise=known)
        edges += not fit.converged
        one = [(fit.estimates[name], truth[name]) for name in names]
        found.append([(e.value - t, e.low <= t <= e.high) for e, t in one])
    off, inside = np.moveaxis(np.array(found, dtype=float), -1, 0)
    width = f", half width {case.half_width_m:g} m" if case.kind == "dyke" else ""
    sort = ("shared" if case.shared else "independent") + ("" if case.told else ", fitted")
    return [
        f"| {case.kind}{width} ({trials} trials, {edges} at an edge) | {case.percent:g} %, {sort} "
        f"| {name} | {least[name]:.3g} | {off[:, k].std() / least[name]:.2f} "
        f"| {off[:, k].mean() / off[:, k].std():+.2f} | {100 * inside[:, k].mean():.1f} % |"
        for k, name in enumerate(names)
    ]


def main() -> None:
    trials, first, last = (*map(int, sys.argv[1:]), *(TRIALS, 0, len(CASES))[len(sys.argv) - 1 :])
    print("## Fits of sheets and dykes\n\nTop 10 m below the sensor.\n")
    print(HEAD)
    for case in CASES[first:last]:
        print("\n".join(rows_of(case, trials)), flush=True)


if __name__ == "__main__":
    main()
