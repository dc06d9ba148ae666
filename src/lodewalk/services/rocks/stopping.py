"""Stopping pure work that can't hear a wish to stop."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, wait
from typing import TypeVar

from lodewalk.errors import CancelledError

Found = TypeVar("Found")
#: Time between two questions whether to stop [s].
EVERY_S = 0.05


def unless_cancelled(work: Callable[[], Found], cancelled: Callable[[], bool]) -> Found:
    """Do work in a thread of its own and return what it finds.

    Parameters
    ----------
    work : callable
        Changes nothing but its result, and ends soon by itself: once a stop is wished for, it is
        left to do so, and what it finds is dropped.
    cancelled : callable
        Tells whether the user asked to stop.

    Returns
    -------
    object
        What `work` returned; what it raised is raised.

    Raises
    ------
    CancelledError
        When the user asked to stop.

    Examples
    --------
    >>> unless_cancelled(lambda: 2 + 2, lambda: False)
    4
    """
    pool = ThreadPoolExecutor(max_workers=1)
    try:
        doing = pool.submit(work)
        while not wait([doing], timeout=EVERY_S).done:
            if cancelled():
                raise CancelledError("The fit was cancelled; nothing of it is kept.")
        return doing.result()
    finally:
        pool.shutdown(wait=False)
