"""What a step gets from outside: parallel map, progress, cancelling, random numbers."""

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from lodewalk.errors import CancelledError

if TYPE_CHECKING:
    import numpy as np

Part = TypeVar("Part")
Result = TypeVar("Result")


class Reporter(Protocol):
    """Hears how far a step is."""

    def progress(self, step: str, done: int, total: int) -> None:
        """Hear that `done` of `total` parts are ready."""


class Silent:
    """A reporter that says nothing."""

    def progress(self, step: str, done: int, total: int) -> None:
        """Say nothing."""


@dataclass(frozen=True)
class Context:
    """Handed to each step; the same in a test, at the command line and in a page.

    Parameters
    ----------
    step : str
        Name of the running step.
    key : str
        Key of its products; it seeds the random numbers.
    workers : int
        Number of threads; results never depend on it.
    reporter : Reporter
        Hears the progress.
    cancelled : callable
        Tells whether the user asked to stop.
    decisions : tuple of mappings
        Decisions in force of the kinds that the step reads: kind, target, value.
    """

    step: str = ""
    key: str = ""
    workers: int = 1
    reporter: Reporter = field(default_factory=Silent)
    cancelled: Callable[[], bool] = lambda: False
    decisions: tuple[Mapping[str, Any], ...] = ()

    def map(self, function: Callable[[Part], Result], parts: Iterable[Part]) -> list[Result]:
        """Return `function` of each part, in the order of the parts."""
        todo: Sequence[Part] = list(parts)
        results: list[Result] = []
        with ThreadPoolExecutor(max_workers=self.workers) as pool:
            for result in pool.map(function, todo):
                self.check_cancelled()
                results.append(result)
                self.progress(len(results), len(todo))
        return results

    def progress(self, done: int, total: int) -> None:
        """Report that `done` of `total` parts are ready."""
        self.reporter.progress(self.step, done, total)

    def check_cancelled(self) -> None:
        """Raise `CancelledError` when the user asked to stop."""
        if self.cancelled():
            raise CancelledError("The run was cancelled; finished products are kept.")

    def rng(self, name: str) -> "np.random.Generator":
        """Return random numbers seeded from the step's key and `name`."""
        import numpy as np

        seed = hashlib.sha256(f"{self.key}/{name}".encode()).digest()
        return np.random.default_rng(int.from_bytes(seed[:8], "little"))
