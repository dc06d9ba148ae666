"""Coverage of the predicted error of the diurnal correction, by trials.

A field is made each second, the base keeps every 10th, 30th or 60th value with noise of 0.05 nT,
and each reading between asks whether its true error lies inside 1.645 predicted sd. Six hours a
trial; the table shows the mean coverage, and the 5th and 95th percentile over trials. Run
``python bench/evidence_diurnal_sd.py``; it prints one Markdown section.
"""

import numpy as np

from common import spread
from lodewalk.methods.corrections.diurnal_sd import diurnal_sd
from planted_survey import red_noise

SECONDS = 6 * 3600 + 1
NOISE = 0.05
TRIALS = 200
FIELDS = ("1.5", "2.0", "2.5", "3.0", "pulsations")


def pulsations(rng: np.random.Generator) -> np.ndarray:
    time = np.arange(float(SECONDS))
    field = 20 * np.sin(2 * np.pi * time / 86_400 + rng.uniform(0, 7))
    for _ in range(rng.integers(20, 60)):
        period = np.exp(rng.uniform(np.log(60), np.log(600)))
        centre, width = rng.uniform(0, SECONDS), period * rng.uniform(2, 8)
        packet = np.exp(-(((time - centre) / width) ** 2) / 2)
        wave = np.cos(2 * np.pi * time / period + rng.uniform(0, 7))
        field += rng.exponential() * period / 100 * packet * wave
    return field


def coverage(kind: str, interval: int, seed: int) -> float:
    rng = np.random.default_rng([seed, interval])
    if kind == "pulsations":
        field = pulsations(rng)
    else:
        field = red_noise(rng, SECONDS, exponent=float(kind), sd=5.0)
    time = np.arange(float(SECONDS))
    base_time = time[::interval]
    base = field[::interval] + NOISE * rng.normal(size=base_time.size)
    reading = (np.arange(SECONDS) % interval != 0) & (time < base_time[-1])
    sd = diurnal_sd(time[reading], base_time, base, max_gap_s=2 * interval, base_noise_nT=NOISE)
    error = np.interp(time[reading], base_time, base) - field[reading]
    return float(np.mean(np.abs(error) <= 1.645 * sd))


def section(trials: int = TRIALS) -> str:
    lines = [
        "## Diurnal part alone",
        "",
        f"Share of true errors of the diurnal correction inside the 90 % interval; mean and 5th to "
        f"95th percentile of {trials} trials of six hours each. Columns: spectral exponent of a "
        "red field, and a daily curve with packets of pulsations of 60 to 600 s.",
        "",
        "| base interval | " + " | ".join(FIELDS) + " |",
        "|---" * (len(FIELDS) + 1) + "|",
    ]
    for interval in (10, 30, 60):
        cells = [
            spread([coverage(kind, interval, seed) for seed in range(trials)]) for kind in FIELDS
        ]
        lines.append(f"| {interval} s | " + " | ".join(cells) + " |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(section())
