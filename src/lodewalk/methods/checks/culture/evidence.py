"""Notes as evidence for a cause, and the odds by which a course is a fence."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.methods.checks.culture.events import NOTE_WORDS, Notes
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: By how much a note near multiplies the odds of a cause: someone who notes three in ten of
#: what they pass, and has a note within reach of three in a hundred of all places.
NOTE_FACTOR: Final = 10.0

#: Odds that a course of short anomalies is a fence, pipe or line and no rock, beforehand.
COURSE_ODDS: Final = 0.3

#: By how much each source on it that is surely above ground multiplies them: one in three
#: along a fence, one in thirty over rock.
IRON_FACTOR: Final = 10.0

#: Probability above ground from which a source is surely there.
SURELY: Final = 0.9


def course_probability(above_ground: ArrayLike) -> float:
    """Return the probability that a course of short anomalies is a fence, pipe or line.

    Parameters
    ----------
    above_ground : array, shape (n_points,)
        Probability that each of its sources is above ground.

    Returns
    -------
    float

    Notes
    -----
    Odds ``0.3 * 10^n``, n the sources that are above ground with 0.9 or more: without any a
    thin dyke that reaches the surface is as good a cause. Both figures are our own.

    Examples
    --------
    >>> round(course_probability([0.1, 0.95, 1.0]), 2)
    0.97
    """
    surely = int(np.count_nonzero(np.asarray(above_ground, float) >= SURELY))
    odds = COURSE_ODDS * IRON_FACTOR ** min(surely, 6)
    return float(odds / (1 + odds))


def note_words(
    cause: str,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    time_s: ArrayLike,
    notes: Notes | None,
    *,
    radius_m: float = 15.0,
    seconds: float = 30.0,
) -> NDArray[np.str_]:
    """Return the word of the nearest note that speaks for a cause at each event.

    Parameters
    ----------
    cause : str
        The cause.
    easting_m, northing_m, time_s : array, shape (n_events,)
        Where [m] and when [s] each event is; NaN where not known.
    notes : Notes or None
        The notes.
    radius_m, seconds : float
        A note speaks within this distance [m] (default 15) or this time [s] (default 30).

    Returns
    -------
    str array, shape (n_events,)
        Empty where no note is near.

    Raises
    ------
    InputError
        When the lengths differ, or a reach isn't above zero.

    Examples
    --------
    >>> notes = Notes(["drum", "fence"], [0.0, 50.0], [0.0, 0.0])
    >>> note_words("surface iron", [10.0, 100.0], [0.0, 0.0], [0.0, 0.0], notes).tolist()
    ['drum', '']
    """
    check_positive(radius_m, name="radius_m")
    check_positive(seconds, name="seconds")
    east, north, when = (np.asarray(a, float) for a in (easting_m, northing_m, time_s))
    check_same_length(easting_m=east, northing_m=north, time_s=when)
    words = np.full(east.size, "", dtype="<U16")
    if notes is None or not notes.word:
        return words
    speaks = np.array([cause in NOTE_WORDS[word] for word in notes.word])
    apart = np.hypot(
        east[:, np.newaxis] - np.asarray(notes.easting_m, float),
        north[:, np.newaxis] - np.asarray(notes.northing_m, float),
    )
    far = np.nan_to_num(apart / radius_m, nan=np.inf)
    if notes.time_s is not None:
        later = np.abs(when[:, np.newaxis] - np.asarray(notes.time_s, float))
        far = np.minimum(far, np.nan_to_num(later / seconds, nan=np.inf))
    far[:, ~speaks] = np.inf
    near = np.flatnonzero(far.min(axis=1, initial=np.inf) <= 1)
    words[near] = np.array(notes.word)[far[near].argmin(axis=1)]
    return words


def with_note(probability: ArrayLike, noted: ArrayLike) -> FloatArray:
    """Return probabilities after the notes.

    Parameters
    ----------
    probability : array, shape (n_events,)
        Probability of the cause before.
    noted : bool array, shape (n_events,)
        True where a note speaks for it.

    Returns
    -------
    array, shape (n_events,)

    Notes
    -----
    Bayes' rule: the odds are multiplied by 10 where a note speaks for the cause, which holds for
    a person who notes three in ten of what they pass and has a note within reach of three in a
    hundred of all places. Silence changes nothing.

    Examples
    --------
    >>> with_note([0.5, 0.5], [True, False]).round(3).tolist()
    [0.909, 0.5]
    """
    before = np.asarray(probability, float)
    factor = np.where(np.asarray(noted, bool), NOTE_FACTOR, 1.0)
    return np.asarray(before * factor / (1 - before + before * factor))
