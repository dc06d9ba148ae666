"""What one kind of evidence says of the difference between two clocks."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

#: A slip counts as measured when its standard deviation is no larger than this [s].
MEASURED_SD_S: Final = 2.0

#: A slip of uncertain size counts as found when it is this many standard deviations from zero.
DETECTED_SD: Final = 3.0

MEASURED: Final = "measured"
DETECTED: Final = "detected"
NOT_IDENTIFIABLE: Final = "not identifiable"


@dataclass(frozen=True)
class ClockEvidence:
    """The difference of two clocks, as one kind of evidence gives it.

    Parameters
    ----------
    offset_s : float
        First clock minus second [s]; NaN where nothing can be said.
    sd_s : float
        Standard deviation of the offset [s]; infinite where nothing can be said.
    count : int
        Number of independent pieces that it rests on (readings, crossings, pairs of lines).
    drift_s_per_day : float
        Rate of the first clock against the second [s/day]; NaN where it wasn't estimated.
    drift_sd_s_per_day : float
        Standard deviation of the drift [s/day].

    Examples
    --------
    >>> ClockEvidence(18.2, 0.4).state, ClockEvidence(3600.0, 40.0).state
    ('measured', 'detected')
    >>> ClockEvidence(5.0, 40.0).state
    'not identifiable'
    """

    offset_s: float
    sd_s: float
    count: int = 0
    drift_s_per_day: float = float("nan")
    drift_sd_s_per_day: float = float("nan")

    @property
    def state(self) -> str:
        """Return measured, detected (a slip of uncertain size) or not identifiable."""
        return clock_state(self.offset_s, self.sd_s)

    def moved(self, by_s: float) -> "ClockEvidence":
        """Return the same evidence with the first clock ahead by some seconds more.

        Examples
        --------
        >>> ClockEvidence(-1.5, 0.4).moved(3600.0).offset_s
        3598.5
        """
        return replace(self, offset_s=self.offset_s + by_s)


#: Evidence that says nothing.
NOTHING: Final = ClockEvidence(float("nan"), float("inf"))


def clock_state(offset_s: float, sd_s: float) -> str:
    """Return the state of a clock difference.

    Parameters
    ----------
    offset_s, sd_s : float
        Difference and its standard deviation [s].

    Returns
    -------
    str
        ``measured`` where sd is 2 s or less, ``detected`` where the difference is more than three
        sd from zero, else ``not identifiable``.

    Examples
    --------
    >>> clock_state(0.1, 0.3)
    'measured'
    """
    if not np.isfinite(offset_s) or not sd_s >= 0:
        return NOT_IDENTIFIABLE
    if sd_s <= MEASURED_SD_S:
        return MEASURED
    return DETECTED if abs(offset_s) > DETECTED_SD * sd_s else NOT_IDENTIFIABLE
