"""How fast a clock runs away, and whether that matters over a day."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.methods.checks.clocks.evidence import DETECTED_SD, ClockEvidence
from lodewalk.methods.checks.clocks.pair import MOST_SPANS, pair_drift
from lodewalk.validation import check_positive

#: No clock that runs drifts faster (judgement: 0.3 %): it was set between, or a run is wrong.
MOST_S_PER_H: Final = 10.0

#: A drift that amounts to less over the day doesn't matter (common practice) [s].
AGREE_S: Final = 1.0

#: An offset of two series is good to this share of the slower one's interval at best
#: (`pair_offset`: some hundredths; judgement), and so is each of the spans of a long run.
BEST_SHARE: Final = 0.05

HOURS_PER_DAY: Final = 24.0
SECONDS_PER_HOUR: Final = 3600.0


@dataclass(frozen=True)
class Drift:
    """The rate of one clock against another, and what it amounts to over a span.

    Parameters
    ----------
    s_per_h, sd_s_per_h : float
        Rate and its standard deviation [s/h].
    lasting_s : float
        Span over which it is judged [s].
    """

    s_per_h: float
    sd_s_per_h: float
    lasting_s: float

    @property
    def amount_s(self) -> float:
        """What it amounts to over the span [s]."""
        return self.s_per_h * self.lasting_s / SECONDS_PER_HOUR

    @property
    def amount_sd_s(self) -> float:
        """Standard deviation of that [s]."""
        return self.sd_s_per_h * self.lasting_s / SECONDS_PER_HOUR

    @property
    def significant(self) -> bool:
        """Whether it is more than three sd from none."""
        return abs(self.s_per_h) > DETECTED_SD * self.sd_s_per_h

    @property
    def matters(self) -> bool:
        """Whether it is significant and amounts to a second or more over the span.

        Examples
        --------
        >>> Drift(2.0, 0.1, 7 * 3600).matters, Drift(0.1, 0.01, 7 * 3600).matters
        (True, False)
        """
        return self.significant and abs(self.amount_s) >= AGREE_S

    @property
    def plausible(self) -> bool:
        """Whether a clock that runs steadily can drift so fast."""
        return abs(self.s_per_h) <= MOST_S_PER_H


def runs_drift(
    time_s: Sequence[float],
    runs: Sequence[ClockEvidence],
    *,
    at_s: float,
    lasting_s: float,
    interval_s: float = 0.0,
) -> tuple[ClockEvidence, Drift | None]:
    """Return the offset of a day and the drift from all its runs of one pair of clocks.

    Parameters
    ----------
    time_s : sequence of float
        Time at the middle of each run [s].
    runs : sequence of ClockEvidence
        What each run says; those that say nothing are left out.
    at_s : float
        Time at which the offset is wanted [s].
    lasting_s : float
        Span over which the drift is judged [s].
    interval_s : float
        Interval of the slower of the two series [s] (default 0: offsets are as good as they say).

    Returns
    -------
    evidence : ClockEvidence
        Offset at `at_s` by the line through the runs.
    drift : Drift or None
        None with fewer than two runs, unless one long run tells it by itself.

    Raises
    ------
    InputError
        When the lengths differ or `lasting_s` isn't above zero.

    Notes
    -----
    The line is that of `pair_drift`, a twentieth of the interval added to each sd in quadrature. A
    single long run has that at each of its spans: ``sd = sqrt(12 / 5) 0.05 interval / lasting`` is
    added to that of its slope, for five spans spread evenly over it.

    A line through two runs goes through both, so a clock that was set between them looks like a
    drift; beyond 10 s/h it isn't `plausible`. In 24 trials of two bases over 6 h without drift
    (1 s, noise 0.05 nT, red noise of 3 and 10 nT) the rate was 1.3 of its sd from zero as rms
    without the share of the interval, and about 1.0 with it.

    Examples
    --------
    Two side-by-side runs six hours apart, 12 s apart:

    >>> runs = [ClockEvidence(1.0, 0.3), ClockEvidence(13.0, 0.4)]
    >>> found, drift = runs_drift([0.0, 21_600.0], runs, at_s=10_800.0, lasting_s=28_800.0)
    >>> round(found.offset_s, 6), round(drift.s_per_h, 6), round(drift.sd_s_per_h, 4)
    (7.0, 2.0, 0.0833)
    """
    check_positive(lasting_s, name="lasting_s")
    least = BEST_SHARE * interval_s
    known = [k for k, run in enumerate(runs) if np.isfinite(run.offset_s) and run.sd_s > 0]
    if len(known) == 1:
        run = runs[known[0]]
        return run, _drift(run, lasting_s, np.sqrt(12 / MOST_SPANS) * least / lasting_s)
    sd = [float(np.hypot(run.sd_s, least)) for run in runs]
    line = pair_drift(time_s, [run.offset_s for run in runs], sd, at_s=at_s)
    return line, _drift(line, lasting_s, 0.0)


def _drift(line: ClockEvidence, lasting_s: float, least_rate: float) -> Drift | None:
    """Return the drift of some evidence, None where it tells none."""
    rate = line.drift_s_per_day / HOURS_PER_DAY
    sd = float(np.hypot(line.drift_sd_s_per_day / HOURS_PER_DAY, SECONDS_PER_HOUR * least_rate))
    if not (np.isfinite(rate) and np.isfinite(sd)):
        return None
    return Drift(rate, sd, lasting_s)


def mean_drift(drifts: Sequence[Drift]) -> tuple[float, float] | None:
    """Return the rate that the drifts of several days have in common, and its sd [s/h].

    Weighted by 1/sd^2; the sd is raised by the root of the reduced chi square where that is above
    one. None without any.

    Examples
    --------
    >>> mean_drift([Drift(2.0, 0.1, 1.0), Drift(2.2, 0.1, 1.0)])
    (2.1, 0.1)
    """
    if not drifts:
        return None
    rate, sd = (np.array([getattr(d, name) for d in drifts]) for name in ("s_per_h", "sd_s_per_h"))
    weight = np.maximum(sd, 1e-9) ** -2.0
    mean = float(np.average(rate, weights=weight))
    freedom = max(len(drifts) - 1, 1)
    inflation = max(1.0, float(weight @ (rate - mean) ** 2) / freedom)
    return round(mean, 12), round(float(np.sqrt(inflation / weight.sum())), 12)
