"""What the events of a base record are, and what is said of them."""

from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.checks.spans import BoolArray
from lodewalk.validation import FloatArray

CodeArray = NDArray[np.int8]


class Kind(IntEnum):
    """What an event looks like."""

    PASSAGE = 0  #: a bump or pulse that starts from the trend and returns to it
    STEP = 1  #: the level changes within a few readings and stays
    PARKED = 2  #: two opposite steps
    NOISIER = 3  #: the noise of the readings grows lastingly
    CREEP = 4  #: base less witness drifts


class Untestable(IntEnum):
    """Why a kind of event can't be looked for."""

    TESTABLE = 0
    INTERVAL_TOO_LONG = 1
    RECORD_TOO_SHORT = 2
    NO_WITNESS = 3


class Witness(IntEnum):
    """What the witness says of an event."""

    NONE = 0  #: it doesn't cover the event, or reads too seldom
    NOT_SEEN = 1
    SEEN = 2  #: real variation


#: Longest interval at which each kind can be told [s], from trials. At a minute a passage is a
#: spike or nothing, and a sudden commencement is a step.
LONGEST_INTERVAL_S: Final = {
    Kind.PASSAGE: 5.0,
    Kind.STEP: 30.0,
    Kind.PARKED: 30.0,
    Kind.NOISIER: 5.0,
    Kind.CREEP: np.inf,
}


@dataclass(frozen=True)
class BaseEvents:
    """Events of a base record, in order of time.

    Parameters
    ----------
    start_s, end_s : float array, shape (n_events,)
        First and last time of each [s].
    kind : int8 array, shape (n_events,)
        A `Kind`.
    peak_nT : float array, shape (n_events,)
        Largest departure of a passage, rise of a step, level of a parked vehicle, noise sd of a
        noisier stretch, change of a creep [nT].
    probability : float array, shape (n_events,)
        Probability that the event isn't the field of the Earth.
    witness : int8 array, shape (n_events,)
        A `Witness`.
    marked : bool array, shape (n,)
        Base readings within a passage or a parked vehicle, or on the rise of a step, that are
        contaminated with a probability of at least a half.
    judged : bool array, shape (n,)
        Base readings at which a passage would have been seen; not so near the ends of the record
        and of its gaps.
    untestable : int8 array, shape (5,)
        For each `Kind`, an `Untestable`.
    shortest_passage_s : float
        Passages that last shorter, from a tenth of the peak to a tenth of it, are missed more
        often than one in twenty [s]; NaN where none can be looked for.
    """

    start_s: FloatArray
    end_s: FloatArray
    kind: CodeArray
    peak_nT: FloatArray
    probability: FloatArray
    witness: CodeArray
    marked: BoolArray
    judged: BoolArray
    untestable: CodeArray
    shortest_passage_s: float

    def __len__(self) -> int:
        return len(self.start_s)

    @property
    def testable(self) -> BoolArray:
        """For each `Kind`, whether it could be looked for."""
        testable: BoolArray = self.untestable == Untestable.TESTABLE
        return testable
