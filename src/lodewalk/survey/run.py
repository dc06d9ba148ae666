"""Bringing the products up to date: only what changed runs, and the run says why."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from importlib import import_module
from time import perf_counter
from typing import TYPE_CHECKING

from lodewalk.steps.context import Context, Reporter, Silent
from lodewalk.steps.declarations import needed_for
from lodewalk.steps.executors import Executor, Threads
from lodewalk.steps.step import Step
from lodewalk.survey.decisions import Decision, in_force, read_decisions
from lodewalk.survey.folder import Folder
from lodewalk.survey.graph import key_of, key_parts, why_stale
from lodewalk.survey.journal import start_entry
from lodewalk.survey.ledger import RawFile, check_raw, read_ledger
from lodewalk.survey.lock import locked
from lodewalk.survey.settings import picked
from lodewalk.survey.state import Made, State, read_state, write_state
from lodewalk.survey.store import read_product, stamped, write_product

if TYPE_CHECKING:
    from lodewalk.records import Record


@dataclass(frozen=True)
class StepRun:
    """What a run did with one step."""

    step: str
    ran: bool
    why: list[str]
    seconds: float


@dataclass
class Runner:
    """One run over a survey folder.

    Parameters
    ----------
    folder : Folder
        The survey; the caller holds its lock.
    executor : Executor
        Does the parts of the steps' work; results never depend on it.
    reporter : Reporter
        Hears the progress.
    cancelled : callable
        Tells whether the user asked to stop.
    """

    folder: Folder
    executor: Executor = field(default_factory=lambda: Threads(2))
    reporter: Reporter = field(default_factory=Silent)
    cancelled: Callable[[], bool] = lambda: False
    entries: list[RawFile] = field(init=False)
    decisions: list[Decision] = field(init=False)
    state: State = field(init=False)
    records: dict[str, "Record"] = field(default_factory=dict, init=False)
    digests: dict[str, str] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self.entries = read_ledger(self.folder)
        self.decisions = read_decisions(self.folder)
        self.state = read_state(self.folder)

    def bring_up(self, step: Step) -> StepRun:
        """Run a step if something it depends on changed."""
        started = perf_counter()
        parts = key_parts(
            step,
            self.folder,
            entries=self.entries,
            decisions=self.decisions,
            digests=self.digests,
        )
        why = why_stale(self.folder, step, parts, self.state.get(step.name))
        if why:
            self.reporter.began(step.name, why)
            self._execute(step, Made(key_of(step, parts), parts))
        else:
            self._restamp(step)
        for name, stored in self.state[step.name].products.items():
            self.digests[name] = stored.digest
        return StepRun(step.name, bool(why), why, round(perf_counter() - started, 3))

    def _restamp(self, step: Step) -> None:
        """Keep the file times of a survey that was copied, so that its products are read once."""
        made = self.state[step.name]
        now = {name: stamped(self.folder, name, one) for name, one in made.products.items()}
        if now != made.products:
            self.state[step.name] = replace(made, products=now)
            write_state(self.folder, self.state)

    def _execute(self, step: Step, made: Made) -> None:
        """Run a step and keep its products; the state says when they are only half there."""
        context = Context(
            step=step.name,
            executor=self.executor,
            reporter=self.reporter,
            cancelled=self.cancelled,
            decisions=tuple(d.effect() for d in in_force(self.decisions, step.decisions)),
        )
        context.check_cancelled()
        self.reporter.progress(step.name, 0, 1)
        results = self._results(step, context)
        if set(results) != set(step.products):
            raise RuntimeError(f"Step {step.name} made {sorted(results)}, not {step.products}.")
        self.state[step.name] = made
        write_state(self.folder, self.state)
        stored = {name: write_product(self.folder, name, results[name]) for name in step.products}
        self.state[step.name] = Made(made.key, made.parts, stored, complete=True)
        write_state(self.folder, self.state)
        self.records.update(results)
        self.reporter.progress(step.name, 1, 1)

    def _results(self, step: Step, context: Context) -> Mapping[str, "Record"]:
        """Return what the implementation of a step makes of its inputs.

        Threads are the executor's alone: on many small matrices those of BLAS cost more than they
        save, and on a busy machine far more.
        """
        from threadpoolctl import threadpool_limits

        module = import_module(step.module)
        if step.role:
            entries = [entry for entry in self.entries if entry.role == step.role]
            made: Mapping[str, Record] = module.read_role(self.folder, entries, role=step.role)
        else:
            inputs = {name: self._record(name) for name in step.inputs}
            with threadpool_limits(limits=1, user_api="blas"):
                made = module.run(inputs, picked(self.folder.settings, step.settings), context)
        return made

    def _record(self, product: str) -> "Record":
        """Return a product from memory or from its file."""
        if product not in self.records:
            self.records[product] = read_product(self.folder, product)
        return self.records[product]


def run(
    folder: Folder,
    *,
    to: str | None = None,
    rehash: bool = False,
    workers: int = 2,
    scheduler: str | None = None,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> list[StepRun]:
    """Bring the products of a survey up to date.

    Parameters
    ----------
    folder : Folder
        The survey.
    to : str, optional
        Last step wanted; all steps when left out.
    rehash : bool
        Compare the content of every raw file, whatever its size and time say.
    workers : int
        Number of threads; results never depend on it.
    scheduler : str, optional
        Address of a Dask scheduler whose workers do the parts instead of threads; see
        `lodewalk.adapters.cluster`. Results don't depend on it either.
    reporter, cancelled
        See `Runner`.

    Returns
    -------
    list of StepRun
        One for each step, in the order in which they were looked at.

    Raises
    ------
    LodewalkError
        What a step, the settings or the folder complain of; finished products stay.
    """
    steps = needed_for(to)
    with _executor(scheduler, workers) as executor, locked(folder):
        runner = Runner(folder, executor, reporter or Silent(), cancelled)
        check_raw(folder, runner.entries, rehash=rehash)
        entry = start_entry(folder, command="run", to=to)
        done: list[StepRun] = []
        try:
            done.extend(map(runner.bring_up, steps))
        except BaseException as error:
            told = f"{type(error).__name__}: {error}"
            entry.finish("failed", error=told, steps=[asdict(item) for item in done])
            raise
        entry.finish("done", steps=[asdict(item) for item in done], digests=runner.digests)
        return done


@contextmanager
def _executor(scheduler: str | None, workers: int) -> Iterator[Executor]:
    """Yield who does the parts: threads here, or the workers of a scheduler."""
    if scheduler is None:
        yield Threads(workers)
        return
    from lodewalk.adapters.cluster import connected

    with connected(scheduler) as cluster:
        yield cluster
