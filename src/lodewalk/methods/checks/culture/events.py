"""What a check of a rover's readings finds, and by what the causes are known."""

from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.methods.checks.culture.courses import LinearFeatures
from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.validation import FloatArray, check_same_length

Cause = Literal[
    "isolated spike",
    "surface iron",
    "compact source",
    "fence or power line",
    "mains beating",
    "dropout",
    "dead zone",
    "loss of lock",
]

#: All causes.
CAUSES: Final[tuple[Cause, ...]] = get_args(Cause)

#: Causes that leave no field of the ground in a reading, so that it is dropped.
DROPPED: Final = ("isolated spike", "dropout", "dead zone", "loss of lock")

#: Causes for which each word of a note speaks.
NOTE_WORDS: Final[dict[str, tuple[Cause, ...]]] = {
    "fence": ("fence or power line", "surface iron"),
    "wire": ("fence or power line", "surface iron"),
    "pipe": ("fence or power line", "surface iron", "compact source"),
    "power line": ("fence or power line", "mains beating"),
    "car": ("surface iron", "compact source"),
    "drum": ("compact source", "surface iron"),
    "iron": ("surface iron", "compact source"),
}


@dataclass(frozen=True)
class Notes:
    """What a person noted in the field.

    Parameters
    ----------
    word : sequence of str
        What was seen, one of 'fence', 'wire', 'pipe', 'power line', 'car', 'drum', 'iron'.
    easting_m, northing_m : array, shape (n_notes,)
        Where [m]; NaN where not known.
    time_s : array, shape (n_notes,), optional
        When [s]; NaN where not known.

    Raises
    ------
    InputError
        When the lengths differ or a word isn't known.

    Examples
    --------
    >>> Notes(["fence"], [100.0], [20.0]).word
    ['fence']
    """

    word: list[str]
    easting_m: ArrayLike
    northing_m: ArrayLike
    time_s: ArrayLike | None = None

    def __post_init__(self) -> None:
        check_same_length(easting_m=self.easting_m, northing_m=self.northing_m, word=self.index)
        if self.time_s is not None:
            check_same_length(time_s=self.time_s, word=self.index)
        for word in self.word:
            if word not in NOTE_WORDS:
                raise InputError(
                    f"A note's word must be one of {', '.join(NOTE_WORDS)}.", value=word
                )

    @property
    def index(self) -> IntArray:
        """Number of each note."""
        return np.arange(len(self.word))


@dataclass(frozen=True)
class RoverEvents:
    """Events in the readings of one or more rovers, each with a probable cause.

    Nothing is changed or taken away: the marks say what a caller may set aside, and leaving
    them out gives the record back as it was.

    Parameters
    ----------
    first, last : int array, shape (n_events,)
        Row of the first and of the last reading, both included. Where rows of several
        instruments are mixed, the rows between of other instruments don't belong to the event.
    cause : str array, shape (n_events,)
        Probable cause, one of `CAUSES`.
    probability : array, shape (n_events,)
        Probability of that cause.
    drop : bool array, shape (n_events,)
        True where the readings don't hold the field of the ground: spikes, dropouts and their
        edges, dead zones and loss of lock. Iron and lines are only reported.
    peak_nT : array, shape (n_events,)
        Largest departure [nT], with its sign; NaN where there is no field to depart from.
    width_m : array, shape (n_events,)
        Full width at half maximum along the way [m]; NaN where it can't be told.
    depth_m : array, shape (n_events,)
        Distance of the source from the sensor [m], its depth where it lies under the path; NaN
        but for iron, compact sources and lines.
    row : int array, shape (n_events,)
        Row of the reading at the peak, or of the first.
    frequency_Hz : array, shape (n_events,)
        Frequency of a beat as recorded, aliased [Hz]; else NaN.
    feature : int array, shape (n_events,)
        Number of the linear feature in `features`; -1 for none.
    note : str array, shape (n_events,)
        Word of the note that speaks for the cause; empty for none.
    event_of_row : int array, shape (n,)
        Event to which each row belongs, the dropping one first; -1 for none.
    dropped : bool array, shape (n,)
        True at the rows of the events that drop.
    features : LinearFeatures
        The linear features.
    """

    first: IntArray
    last: IntArray
    cause: NDArray[np.str_]
    probability: FloatArray
    drop: BoolArray
    peak_nT: FloatArray
    width_m: FloatArray
    depth_m: FloatArray
    row: IntArray
    frequency_Hz: FloatArray
    feature: IntArray
    note: NDArray[np.str_]
    event_of_row: IntArray
    dropped: BoolArray
    features: LinearFeatures

    def __len__(self) -> int:
        return len(self.first)
