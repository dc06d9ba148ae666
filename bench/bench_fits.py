"""Time the fit of thick dykes beside scipy's Levenberg-Marquardt with derivatives in closed form.

Two hundred readings, varied dykes (place, depth, width, index angle) and noise. The kernel starts
from the readings alone; scipy gets the true dyke as its one start, which leaves out the search that
it would need. Both costs are compared with the least that scipy finds from the truth and two starts
beside it.
Run ``python bench/bench_fits.py``.
"""

import time

import numpy as np
from scipy.optimize import leastsq

from common import Row, show
from lodewalk.methods.inversion import Profile, body_curve, quick_dykes

FITS, READINGS, ROUNDS, SEED = 200, 200, 3, 9
DISTANCE = np.linspace(-100.0, 100.0, READINGS)
NAMES = ("position_m", "depth_m", "half_width_m", "strength_nT_m", "index_angle_deg")
#: Relative difference of costs that counts as none.
EQUAL = 1e-6


def dykes() -> tuple[np.ndarray, np.ndarray]:
    """Return readings over varied dykes, and the dykes."""
    rng, rows, truths = np.random.default_rng(SEED), [], []
    for _ in range(FITS):
        depth = np.exp(rng.uniform(np.log(4.0), np.log(20.0)))
        half = depth * np.exp(rng.uniform(np.log(0.2), np.log(2.5)))
        truth = (rng.uniform(-40.0, 40.0), depth, half, 2000.0, rng.uniform(-180.0, 180.0))
        curve, _ = body_curve("dyke", DISTANCE, dict(zip(NAMES, truth, strict=True)))
        noise = np.exp(rng.uniform(np.log(0.002), np.log(0.05))) * np.ptp(curve)
        level = rng.normal(0.0, 0.2 * np.ptp(curve)) + rng.normal(0.0, 0.05) * DISTANCE
        rows.append(curve + level + rng.normal(0.0, noise, READINGS))
        truths.append(truth)
    return np.array(rows), np.array(truths)


def scipys(readings: np.ndarray, truth: np.ndarray, factor: float = 1.0) -> float:
    """Return the cost where scipy's Levenberg-Marquardt ends."""
    ramp = DISTANCE / 100.0
    kept: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}

    def parts(v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        key = v.tobytes()
        if key not in kept:
            kept.clear()
            width = np.exp(v[2])
            # two edges, written out: the plainest model with derivatives that this can get
            x, h = DISTANCE - v[0], np.exp(v[1])
            left, right = (x + width) ** 2 + h**2, (x - width) ** 2 + h**2
            angle = np.arctan2(2.0 * h * width, x**2 + h**2 - width**2)
            log = 0.5 * np.log(left / right)
            by_x = [h / left - h / right, (x + width) / left - (x - width) / right]
            by_h = [(x - width) / right - (x + width) / left, h / left - h / right]
            by_w = [h / left + h / right, (x + width) / left + (x - width) / right]
            c, s = v[3], v[4]
            slopes = [
                -(c * by_x[0] + s * by_x[1]), h * (c * by_h[0] + s * by_h[1]),
                width * (c * by_w[0] + s * by_w[1]), angle, log, np.ones(READINGS), ramp,
            ]  # fmt: skip
            kept[key] = c * angle + s * log + v[5] + v[6] * ramp, np.array(slopes).T
        return kept[key]

    x0, depth, half, size, angle = truth
    turn, amplitude = np.radians(angle), size / (2.0 * half)
    begin = [
        x0, np.log(depth * factor), np.log(half / factor),
        amplitude * np.cos(turn), amplitude * np.sin(turn), 0.0, 0.0,
    ]  # fmt: skip
    found = leastsq(
        lambda v: parts(v)[0] - readings, begin, Dfun=lambda v: parts(v)[1],
        full_output=True, ftol=1e-9,
    )  # fmt: skip
    return float(found[2]["fvec"] @ found[2]["fvec"])


def main() -> None:
    rows, truths = dykes()
    profile = Profile(DISTANCE, rows[0])
    quick_dykes(profile, rows[:2])
    ours, theirs = [], []
    # the process's own time: other work on the machine does not count
    for _ in range(ROUNDS):
        begin = time.process_time()
        _, costs, rested = quick_dykes(profile, rows)
        ours.append(time.process_time() - begin)
        begin = time.process_time()
        ends = np.array([scipys(row, one) for row, one in zip(rows, truths, strict=True)])
        theirs.append(time.process_time() - begin)
    least = np.minimum(costs, ends)
    for factor in (0.6, 1.6):
        more = [scipys(row, one, factor) for row, one in zip(rows, truths, strict=True)]
        least = np.minimum(least, more)
    failed = int((~rested | (costs > least * (1.0 + EQUAL))).sum())
    higher = int((ends > least * (1.0 + EQUAL)).sum())
    note = (
        f"{FITS / min(ours):,.0f} and {FITS / min(theirs):,.0f} fits/s a core; cost above the "
        f"least by more than 1e-6: here {failed} of {FITS} (cold), scipy {higher} (from the truth)"
    )
    show(
        [
            Row(
                f"{FITS} thick dykes of {READINGS} readings", min(ours),
                "scipy leastsq, derivatives in closed form", min(theirs), note,
            )
        ]
    )  # fmt: skip


if __name__ == "__main__":
    main()
