"""Coverage of the predicted error of the diurnal correction, by trials.

A field is made each second, the base keeps every 10th, 30th or 60th value with noise of 0.05 nT,
and each reading between asks whether its true error lies inside 1.645 predicted sd. Six hours a
trial; the table shows the mean coverage, and the 5th and 95th percentile over trials.

    python bench/evidence_diurnal_sd.py [TRIALS]
"""

import sys

import numpy as np

from lodewalk.methods.corrections.diurnal_sd import diurnal_sd

SECONDS = 6 * 3600 + 1
NOISE = 0.05
FIELDS = ("1.5", "2.0", "2.5", "3.0", "pulsations")


def red_noise(rng: np.random.Generator, exponent: float) -> np.ndarray:
    frequency = np.fft.rfftfreq(4 * SECONDS)
    size = np.zeros(frequency.size)
    size[1:] = frequency[1:] ** (-exponent / 2)
    phases = rng.normal(size=frequency.size) + 1j * rng.normal(size=frequency.size)
    field = np.fft.irfft(size * phases, 4 * SECONDS)[:SECONDS]
    return 5 * (field - field.mean()) / field.std()


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
    field = pulsations(rng) if kind == "pulsations" else red_noise(rng, float(kind))
    time = np.arange(float(SECONDS))
    base_time = time[::interval]
    base = field[::interval] + NOISE * rng.normal(size=base_time.size)
    reading = (np.arange(SECONDS) % interval != 0) & (time < base_time[-1])
    sd = diurnal_sd(time[reading], base_time, base, max_gap_s=2 * interval, base_noise_nT=NOISE)
    error = np.interp(time[reading], base_time, base) - field[reading]
    return float(np.mean(np.abs(error) <= 1.645 * sd))


def main(trials: int) -> None:
    print(f"Share of true errors inside the 90 % interval, {trials} trials each\n")
    print("| base interval | " + " | ".join(FIELDS) + " |")
    print("|---" * (len(FIELDS) + 1) + "|")
    for interval in (10, 30, 60):
        cells = []
        for kind in FIELDS:
            shares = [coverage(kind, interval, seed) for seed in range(trials)]
            low, high = np.quantile(shares, [0.05, 0.95])
            cells.append(f"{np.mean(shares):.3f} ({low:.2f} to {high:.2f})")
        print(f"| {interval} s | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 400)
