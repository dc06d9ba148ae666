"""The field's change with time: quiet daily curve, red noise, and on one day a storm."""

import numpy as np

from lodewalk.services.demo.noise import red_noise, stream
from lodewalk.services.demo.scenario import FieldDay, Variation
from lodewalk.units import SECONDS_PER_DAY
from lodewalk.validation import FloatArray

RISE_S = 80.0
RECOVERY_S = 9000.0
MAIN_PHASE_S = 4200.0
MORNING_S, AFTERNOON_S = 9400.0, 11000.0


def variation(day: FieldDay, *, seed: int) -> FloatArray:
    """Return the change of the total field for each second of a UTC day [nT].

    The shape follows what low latitudes see (common practice, no source): a quiet curve that
    peaks before local noon, a sudden onset, a main phase, bays and pulsations.
    """
    second = np.arange(SECONDS_PER_DAY)
    rule = day.variation
    rng = stream(seed, "variation", day.date)
    noise = red_noise(rng, len(second), sd=rule.red_noise_nT, slope=2.3, longest_s=5400.0)
    if rule.onset_s is not None:
        noise *= np.where(second < rule.onset_s, 0.25, 1.0)
    return _daily(second, rule) + noise + _storm(second, rule)


def _daily(second: FloatArray, rule: Variation) -> FloatArray:
    """Return the quiet daily curve."""
    early = np.exp(-(((second - rule.daily_peak_s) / MORNING_S) ** 2))
    late = np.exp(-(((second - rule.daily_peak_s - 17000.0) / AFTERNOON_S) ** 2))
    return np.asarray(rule.daily_nT * (early - 0.3 * late))


def _storm(second: FloatArray, rule: Variation) -> FloatArray:
    """Return onset, main phase, bays and pulsations."""
    total = np.zeros(len(second))
    if rule.onset_s is not None:
        since = np.maximum(second - rule.onset_s, 0.0)
        total += rule.onset_nT * (1.0 - np.exp(-since / RISE_S)) * np.exp(-since / RECOVERY_S)
        late = np.maximum(since - 1200.0, 0.0)
        total += rule.main_phase_nT * (1.0 - np.exp(-((late / MAIN_PHASE_S) ** 2)))
    for bay in rule.bays:
        total += bay.size_nT * np.exp(-(((second - bay.centre_s) / bay.width_s) ** 2))
    for packet in rule.pulsations:
        shape = np.exp(-(((second - packet.centre_s) / packet.width_s) ** 2))
        total += packet.size_nT * shape * np.sin(2.0 * np.pi * second / packet.period_s)
    return total
