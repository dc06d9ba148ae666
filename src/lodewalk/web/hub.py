"""Tells every open page what changed: each gets the whole state, the present one first."""

import asyncio
import json
import threading
from collections.abc import AsyncIterator, Callable
from typing import Any

#: Pages hear of changes at most this often, and a sign of life at least this often [s].
SHORTEST_S, LONGEST_S = 0.05, 1.0


class Hub:
    """Wakes the streams of all pages; what they then send is the state at that moment.

    A state that changes while a page is being told is told once more, so nothing is lost and
    nothing is queued.
    """

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._listeners: dict[asyncio.Event, asyncio.AbstractEventLoop] = {}

    def wake(self) -> None:
        """Let every page look at the state again; may be called from any thread."""
        with self._guard:
            listeners = list(self._listeners.items())
        for event, loop in listeners:
            if not loop.is_closed():
                loop.call_soon_threadsafe(event.set)

    async def stream(self, state: Callable[[], dict[str, Any]]) -> AsyncIterator[bytes]:
        """Yield the state as server-sent events: now, and whenever it differs from the last."""
        event, sent = asyncio.Event(), None
        with self._guard:
            self._listeners[event] = asyncio.get_running_loop()
        try:
            while True:
                now = json.dumps(await asyncio.to_thread(state), sort_keys=True)
                yield b": still here\n\n" if now == sent else f"data: {now}\n\n".encode()
                sent = now
                await asyncio.sleep(SHORTEST_S)
                await _until(event, LONGEST_S)
        finally:
            with self._guard:
                self._listeners.pop(event, None)


async def _until(event: asyncio.Event, seconds: float) -> None:
    """Wait for an event, but no longer than this."""
    try:
        await asyncio.wait_for(event.wait(), seconds)
    except TimeoutError:
        return
    event.clear()
