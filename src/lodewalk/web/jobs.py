"""Work in the background: one piece at a time, with progress by step, and a way to stop it."""

import threading
from collections.abc import Callable
from copy import deepcopy
from dataclasses import asdict, dataclass, field
from time import monotonic
from typing import Any, Literal, Protocol

from lodewalk.errors import CancelledError, LodewalkError
from lodewalk.services.stale import ABOUT
from lodewalk.web.problems import BusyError, Problem, problem_of, problem_of_fault

Status = Literal["running", "stopping", "done", "failed", "stopped"]


@dataclass
class StepState:
    """A step of a run: what it does, why it runs and how far it is."""

    step: str
    about: str
    why: list[str]
    done: int = 0
    total: int = 1


@dataclass
class JobState:
    """A piece of work as the pages see it; `survey` names the folder that it is for.

    `planned` is about how many steps it takes, where that is known before.
    """

    id: int
    kind: str
    survey: str | None = None
    planned: int = 1
    status: Status = "running"
    steps: list[StepState] = field(default_factory=list)
    seconds: float = 0.0
    problem: dict[str, Any] | None = None
    result: dict[str, Any] | None = None


class Work(Protocol):
    """A piece of work: hears itself through a reporter, and asks whether it shall stop."""

    def __call__(self, reporter: "Job", cancelled: Callable[[], bool]) -> dict[str, Any] | None:
        """Do it and return what there is to tell."""


class Job:
    """One piece of work in a thread of its own; it is the reporter of its run, too."""

    def __init__(self, state: JobState, work: Work, changed: Callable[[], None]) -> None:
        self._state = state
        self._changed = changed
        self._guard = threading.Lock()
        self._stop = threading.Event()
        self._started = monotonic()
        self._thread = threading.Thread(target=self._run, args=(work,), daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    @property
    def alive(self) -> bool:
        """Whether it is still at work."""
        return self._state.status in ("running", "stopping")

    def state(self) -> JobState:
        """Return a copy of the state."""
        with self._guard:
            if self.alive:
                self._state.seconds = round(monotonic() - self._started, 1)
            return deepcopy(self._state)

    def stop(self) -> None:
        """Ask it to stop; it ends at the next edge of a part, and what is finished is kept."""
        with self._guard:
            if self._state.status == "running":
                self._state.status = "stopping"
        self._stop.set()
        self._changed()

    def join(self, seconds: float) -> None:
        """Wait for its end, but no longer than this."""
        self._thread.join(seconds)

    def began(self, step: str, why: list[str]) -> None:
        """Hear that a step begins."""
        with self._guard:
            self._state.steps.append(StepState(step, ABOUT.get(step, ""), why))
        self._changed()

    def progress(self, step: str, done: int, total: int) -> None:
        """Hear how far a step is; work that has no steps of a run is shown as one."""
        with self._guard:
            if not self._state.steps or self._state.steps[-1].step != step:
                self._state.steps.append(StepState(step, ABOUT.get(step, ""), []))
            self._state.steps[-1].done, self._state.steps[-1].total = done, total
        self._changed()

    def _run(self, work: Work) -> None:
        """Do the work and keep how it ended."""
        try:
            result = work(self, self._stop.is_set)
            self._end("done", result=result)
        except CancelledError as error:
            self._end("stopped", problem=problem_of(error))
        except (LodewalkError, OSError) as error:
            self._end("failed", problem=problem_of(error))
        except Exception as error:  # noqa: BLE001 - told on the page; a thread has no other way
            self._end("failed", problem=problem_of_fault(error))

    def _end(
        self,
        status: Status,
        *,
        problem: Problem | None = None,
        result: dict[str, Any] | None = None,
    ) -> None:
        """Keep how the work ended."""
        with self._guard:
            self._state.seconds = round(monotonic() - self._started, 1)
            self._state.problem = None if problem is None else asdict(problem)
            self._state.result = result
            self._state.status = status
        self._changed()


class Jobs:
    """The one piece of work under way, or the last one.

    Parameters
    ----------
    changed : callable
        Is called whenever a state changes.
    survey : callable
        Names the survey that is open.
    """

    def __init__(
        self, changed: Callable[[], None], survey: Callable[[], str | None] = lambda: None
    ) -> None:
        self._changed = changed
        self._survey = survey
        self._guard = threading.Lock()
        self._last: Job | None = None
        self._count = 0

    def start(
        self, kind: str, work: Work, *, survey: str | None = None, planned: int = 1
    ) -> JobState:
        """Begin a piece of work and return its state.

        Parameters
        ----------
        kind : str
            What it is.
        work : callable
            Does it.
        survey : str, optional
            Folder of the survey that it is for; the one that is open when left out.
        planned : int
            About how many steps it takes.

        Raises
        ------
        BusyError
            When another one is under way.
        """
        with self._guard:
            if self._last is not None and self._last.alive:
                raise BusyError(
                    "Something is under way already. Wait until it ends, or stop it first."
                )
            self._count += 1
            state = JobState(self._count, kind, survey or self._survey(), planned)
            self._last = Job(state, work, self._changed)
            self._last.start()
        self._changed()
        return self._last.state()

    @property
    def busy(self) -> bool:
        """Whether a piece of work is under way."""
        return self._last is not None and self._last.alive

    def state(self) -> JobState | None:
        """Return the state of the work under way, or of the last one; None before the first."""
        return None if self._last is None else self._last.state()

    def stop(self) -> JobState | None:
        """Ask the work under way to stop; nothing happens where there is none."""
        if self._last is not None and self._last.alive:
            self._last.stop()
        return self.state()

    def close(self, seconds: float = 10.0) -> None:
        """Stop the work under way and wait for its end."""
        if self._last is not None and self._last.alive:
            self._last.stop()
            self._last.join(seconds)
