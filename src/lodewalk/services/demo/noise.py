"""Seeded noise: each use has a stream of its own, so that one change leaves the rest alone."""

from zlib import crc32

import numpy as np

from lodewalk.validation import FloatArray


def stream(seed: int, *name: str) -> np.random.Generator:
    """Return the random stream of one use.

    Examples
    --------
    >>> bool(stream(1, "base").normal() == stream(1, "base").normal())
    True
    """
    return np.random.default_rng([seed, crc32("/".join(name).encode())])


def wandering(
    rng: np.random.Generator, count: int, *, sd: float, time_s: float, interval_s: float = 1.0
) -> FloatArray:
    """Return noise of a given standard deviation that forgets itself within `time_s`.

    A first-order autoregression at steady state from its first value.
    """
    from scipy.signal import lfilter

    keep = np.exp(-interval_s / time_s)
    steps = rng.normal(size=count) * np.sqrt(1.0 - keep**2)
    start = np.array([keep * rng.normal()])
    return sd * np.asarray(lfilter([1.0], [1.0, -keep], steps, zi=start)[0])


def red_noise(
    rng: np.random.Generator, count: int, *, sd: float, slope: float, longest_s: float
) -> FloatArray:
    """Return noise at 1 s whose power falls as frequency to the power -`slope`.

    Periods above `longest_s` are flat; the series is scaled to the standard deviation `sd`.
    """
    frequency = np.fft.rfftfreq(count)
    amplitude = np.maximum(frequency, 1.0 / longest_s) ** (-slope / 2.0)
    phases = rng.normal(size=(2, len(frequency)))
    series = np.fft.irfft(amplitude * (phases[0] + 1j * phases[1]), n=count)
    return np.asarray(sd * (series - series.mean()) / series.std())
