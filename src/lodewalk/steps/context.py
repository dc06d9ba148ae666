"""What a step gets from outside: parallel map, progress, cancelling, random numbers."""

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from lodewalk.errors import CancelledError
from lodewalk.steps.executors import Executor, Threads

if TYPE_CHECKING:
    import numpy as np

Part = TypeVar("Part")
Result = TypeVar("Result")


class Reporter(Protocol):
    """Hears which step begins and how far it is."""

    def began(self, step: str, why: list[str]) -> None:
        """Hear that a step begins, and the reasons for it."""

    def progress(self, step: str, done: int, total: int) -> None:
        """Hear that `done` of `total` parts are ready."""


class Silent:
    """A reporter that says nothing."""

    def began(self, step: str, why: list[str]) -> None:
        """Say nothing."""

    def progress(self, step: str, done: int, total: int) -> None:
        """Say nothing."""


@dataclass(frozen=True)
class Context:
    """Handed to each step; the same in a test, at the command line and in a page.

    Parameters
    ----------
    step : str
        Name of the running step; it seeds the random numbers.
    executor : Executor
        Does the parts of the work; results never depend on it.
    reporter : Reporter
        Hears the progress.
    cancelled : callable
        Tells whether the user asked to stop.
    decisions : tuple of mappings
        Decisions in force of the kinds that the step reads: kind, target, value.
    """

    step: str = ""
    executor: Executor = field(default_factory=Threads)
    reporter: Reporter = field(default_factory=Silent)
    cancelled: Callable[[], bool] = lambda: False
    decisions: tuple[Mapping[str, Any], ...] = ()

    def map(self, function: Callable[[Part], Result], parts: Iterable[Part], /) -> list[Result]:
        """Return `function` of each part, in the order of the parts.

        Parameters
        ----------
        function : callable
            Stands at the top of a module, or is a partial of such a one; takes one part. It may
            be sent to another machine, so it reads no file and changes nothing but its result.
        parts : iterable
            Arrays, or what can be pickled: lines or tiles, never as many as there are workers.

        Returns
        -------
        list
            One result for each part.

        Raises
        ------
        CancelledError
            When the user asked to stop; parts that wait are dropped.
        """
        todo: Sequence[Part] = list(parts)
        results: list[Result] = []
        with closing(self.executor.results(function, todo, check=self.check_cancelled)) as coming:
            for result in coming:
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
        """Return random numbers seeded from the names of the step and of the draw.

        The digests of the inputs have no part in it: their last bit depends on the processor, and
        a survey that is rebuilt on another machine has to come to the same numbers.
        """
        import numpy as np

        seed = hashlib.sha256(f"{self.step}/{name}".encode()).digest()
        return np.random.default_rng(int.from_bytes(seed[:8], "little"))
