"""Stopping pure work that can't hear a wish to stop."""

from collections.abc import Callable
from concurrent.futures import Future, wait
from threading import Thread
from typing import Any, TypeVar

from lodewalk.errors import CancelledError

Found = TypeVar("Found")
#: Time between two questions whether to stop [s].
EVERY_S = 0.05
#: Findings of work that was left behind and may still be at it.
_LEFT: set["Future[Any]"] = set()


def unless_cancelled(work: Callable[[], Found], cancelled: Callable[[], bool]) -> Found:
    """Do work in a thread of its own and return what it finds.

    Work that an earlier call left behind is waited for first, so that pieces don't pile up on the
    processors. No program waits for it at its end.

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
    for earlier in tuple(_LEFT):
        _wait_for(earlier, cancelled)
        _LEFT.discard(earlier)
    found: Future[Found] = Future()
    # A daemon, since the interpreter joins any other thread before it ends.
    Thread(target=_do, args=(work, found), name="fit", daemon=True).start()
    try:
        _wait_for(found, cancelled)
    finally:
        if not found.done():
            _LEFT.add(found)
    return found.result()


def _do(work: Callable[[], Found], found: "Future[Found]") -> None:
    """Do work and keep what it returns or raises."""
    try:
        found.set_result(work())
    except BaseException as error:  # noqa: BLE001 - raised again where it is asked for
        found.set_exception(error)


def _wait_for(found: "Future[Any]", cancelled: Callable[[], bool]) -> None:
    """Wait for the end of work, or raise where the user asks to stop."""
    while not wait([found], timeout=EVERY_S).done:
        if cancelled():
            raise CancelledError("The fit was cancelled; nothing of it is kept.")
