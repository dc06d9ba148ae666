"""Who does the parts of a step's work: threads of this process, or workers elsewhere.

An executor changes where a part is done and how many are done at once, never what the parts are:
results are the same, bit by bit.
"""

from collections.abc import Callable, Generator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Protocol, TypeVar

Part = TypeVar("Part")
Result = TypeVar("Result")


class Executor(Protocol):
    """Does the parts of a step's work."""

    def results(
        self,
        function: Callable[[Part], Result],
        parts: Sequence[Part],
        *,
        check: Callable[[], None],
    ) -> Generator[Result, None, None]:
        """Yield `function` of each part, in the order of the parts.

        Parameters
        ----------
        function : callable
            Stands at the top of a module, or is a partial of such a one; takes one part.
        parts : sequence
            Arrays, or what can be pickled.
        check : callable
            Called now and again while parts are awaited; raises when the user asked to stop.

        Notes
        -----
        An error in a part ends the work: that of the first such part, in their order. Parts that
        wait are dropped when the iterator is closed before its end.
        """


@dataclass(frozen=True)
class Threads:
    """Threads of this process.

    Parameters
    ----------
    count : int
        How many parts are done at once (default 1).
    """

    count: int = 1

    def results(
        self,
        function: Callable[[Part], Result],
        parts: Sequence[Part],
        *,
        check: Callable[[], None],
    ) -> Generator[Result, None, None]:
        """Yield `function` of each part; see `Executor`."""
        pool = ThreadPoolExecutor(max_workers=self.count)
        try:
            for future in [pool.submit(function, part) for part in parts]:
                check()
                yield future.result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
