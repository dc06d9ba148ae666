"""Parts of a step's work done by the workers of a Dask scheduler that already runs."""

import logging
import pickle
import re
import warnings
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from platform import python_version_tuple
from threading import Lock
from time import monotonic
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeVar

from lodewalk.errors import ClusterError, InputError, LodewalkError

if TYPE_CHECKING:
    from distributed import Client, Future

Part = TypeVar("Part")
Result = TypeVar("Result")

#: What must be the same everywhere for the same bits, or for parts to be understood at all.
SAME: Final = ("lodewalk", "numpy", "scipy", "numba", "dask", "distributed")
ADDRESS: Final = re.compile(r"(tcp|tls)://(\[[0-9a-fA-F:.]+\]|[^\s/:\[\]]+):[0-9]{1,5}")
#: Seconds to wait for the scheduler, and for its first worker.
CONNECT_S: Final = 10.0
#: Seconds without any worker after which a run gives up: one that was killed is back by then.
ALONE_S: Final = 60.0
#: Seconds between two looks at whether the user asked to stop.
LOOK_S: Final = 0.2
LOGGERS: Final = ("distributed", "distributed.client", "tornado", "tornado.application")
INSTALL: Final = "Install it with: pip install 'lodewalk[cluster]'."
SAME_REMEDY: Final = "Install the versions of requirements.lock on each machine."


@dataclass(frozen=True)
class Cluster:
    """Workers of a Dask scheduler, as an executor of parts; `connected` makes one.

    Parameters
    ----------
    client : Client
        The connection; who made it closes it.
    """

    client: "Client"

    def results(
        self,
        function: Callable[[Part], Result],
        parts: Sequence[Part],
        *,
        check: Callable[[], None],
    ) -> Generator[Result, None, None]:
        """Yield `function` of each part, in the order of the parts.

        Parts of a worker that is lost are done again by another one. The arrays that all parts
        have in common (a partial's) are sent once; workers hand them on to each other.

        Raises
        ------
        LodewalkError
            What a part raised, as it was.
        ClusterError
            When a part fails otherwise, the connection is lost, or no worker is left.
        """
        futures: list[Future[Any]] = []
        try:
            futures += self._sent(function, parts, check)
            for number, future in enumerate(futures, start=1):
                self._wait(future, check)
                yield _result(future, f"part {number} of {len(futures)}")
        finally:
            if self.client.status == "running":
                self.client.cancel(futures)

    def _sent(
        self,
        function: Callable[[Part], Result],
        parts: Sequence[Part],
        check: Callable[[], None],
    ) -> list["Future[Any]"]:
        """Send function and parts off; what was sent can be sent again when a worker is lost."""
        from dask import config

        # What is scattered is gone with the worker that has it; a task's arguments are not. Each
        # worker gets it at once: parts go first to those that have what they need.
        with config.set({"distributed.admin.large-graph-warning-threshold": "1 TiB"}):
            common = self.client.submit(bytes, _packed(function), pure=False)
            self._wait(common, check)
            # A worker lost right now is no matter: the others get what they need with a part.
            with suppress(AssertionError, KeyError, ValueError):
                self.client.replicate(common)
            return [
                self.client.submit(_work, common, _packed(part), versions(), pure=False)
                for part in parts
            ]

    def _wait(self, future: "Future[Any]", check: Callable[[], None]) -> None:
        """Wait until a part is done or has failed, as long as there are workers."""
        seen = monotonic()
        while not future.done():
            check()
            try:
                future.exception(timeout=LOOK_S)
            except TimeoutError:
                if self.client.status != "running" or self.client.scheduler_info()["workers"]:
                    seen = monotonic()
            if monotonic() - seen > ALONE_S:
                raise ClusterError(
                    f"The scheduler has had no worker for {ALONE_S:.0f} s. Start workers, then "
                    "run again: finished products are kept."
                )


@contextmanager
def connected(address: str) -> Iterator[Cluster]:
    """Yield the workers of the scheduler at an address.

    Parameters
    ----------
    address : str
        Such as ``tcp://10.0.0.5:8786``.

    Raises
    ------
    InputError
        When the address isn't one.
    ClusterError
        When Dask isn't installed, the scheduler can't be reached or has no worker, or versions
        differ.
    """
    if not ADDRESS.fullmatch(address):
        raise InputError(
            "A scheduler's address is tcp://HOST:PORT.",
            value=address,
            remedy="The scheduler prints it when it starts.",
        )
    try:
        import distributed  # noqa: F401
    except ImportError as error:
        raise ClusterError(
            f"Running on a scheduler's workers needs Dask, and {error.name} isn't installed. "
            f"{INSTALL}"
        ) from error
    with _quiet():
        client = _client(address)
        try:
            _check_workers(client, address)
            yield Cluster(client)
        finally:
            client.close()


def _client(address: str) -> "Client":
    """Connect to a scheduler."""
    from distributed import Client

    try:
        with warnings.catch_warnings():
            # Versions are compared afterwards, and told in one line.
            warnings.simplefilter("ignore")
            return Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ImportError, ValueError) as error:
        raise ClusterError(
            f"No Dask scheduler answers at {address} ({_line(error)}). Is it running, is the "
            "address right, does a firewall let it through? Without --scheduler the run uses "
            "this machine."
        ) from error


def _check_workers(client: "Client", address: str) -> None:
    """Make sure that there are workers, and that they have what is here."""
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
    except TimeoutError as error:
        raise ClusterError(
            f"The scheduler at {address} has no worker. Start one with: dask worker {address}"
        ) from error
    told = client.get_versions(packages=list(SAME))
    here = versions()
    _compare(here, _told(told["scheduler"]), "The scheduler", ("python", "dask", "distributed"))
    for name, there in told["workers"].items():
        _compare(here, _told(there), f"The worker {name}", tuple(here))


def versions() -> dict[str, str | None]:
    """Return the versions that must be the same everywhere; None where not installed."""
    found: dict[str, str | None] = {"python": ".".join(python_version_tuple()[:2])}
    for name in SAME:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = None
    return found


def _told(answer: Mapping[str, Any]) -> dict[str, str | None]:
    """Return versions as `versions` does, from what a scheduler or worker answered."""
    packages = answer["packages"]
    python = ".".join(str(packages["python"]).split(".")[:2])
    return {name: packages.get(name) for name in SAME} | {"python": python}


def _compare(
    here: Mapping[str, str | None],
    there: Mapping[str, str | None],
    who: str,
    names: tuple[str, ...],
) -> None:
    """Raise when versions differ, since results might too."""
    other = [
        f"{name} {there[name] or 'not installed'} (here {here[name]})"
        for name in names
        if there[name] != here[name]
    ]
    if other:
        raise ClusterError(f"{who} has {', '.join(other)}. {SAME_REMEDY}")


def _packed(thing: object) -> bytes:
    """Return a function or a part in the form in which it is sent."""
    try:
        return pickle.dumps(thing, protocol=5)
    except (pickle.PicklingError, AttributeError, TypeError) as error:
        raise ClusterError(f"A part can't be sent to a worker: {_line(error)}.") from error


def _result(future: "Future[Any]", name: str) -> Any:
    """Return the result of a part that is done."""
    from distributed import KilledWorker

    if future.status == "finished":
        return future.result()
    error = future.exception()
    if isinstance(error, LodewalkError):
        raise error
    if isinstance(error, KilledWorker):
        raise ClusterError(
            f"Workers were lost while they did {name}, again and again. Do they have enough "
            "memory? Without --scheduler the run uses this machine."
        ) from error
    if future.status == "error" and error is not None:
        raise ClusterError(
            f"A worker failed at {name}: {type(error).__name__}: {_line(error)}."
        ) from error
    raise ClusterError(
        "The connection to the scheduler was lost. Run again: finished products are kept."
    )


def _line(error: BaseException) -> str:
    """Return an error's message on one line."""
    return " ".join(str(error).split()).rstrip(".") or type(error).__name__


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep Dask's own log to itself: what a user has to know comes as an error."""
    loggers = [logging.getLogger(name) for name in LOGGERS]
    before = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, before, strict=True):
            logger.setLevel(level)


class _Pinned(NamedTuple):
    """How many parts this process is doing, and what gives BLAS its threads back after them."""

    lock: Lock
    state: dict[str, Any]


_PINNED = _Pinned(Lock(), {"parts": 0, "limits": None})


@contextmanager
def _one_blas_thread() -> Iterator[None]:
    """Keep BLAS to one thread while any part runs: its sums depend on their number."""
    from threadpoolctl import threadpool_limits

    lock, state = _PINNED
    with lock:
        if not state["parts"]:
            state["limits"] = threadpool_limits(limits=1, user_api="blas")
        state["parts"] += 1
    try:
        yield
    finally:
        with lock:
            state["parts"] -= 1
            if not state["parts"]:
                state["limits"].restore_original_limits()


def _work(function: bytes, part: bytes, wanted: Mapping[str, str | None]) -> object:
    """Do one part; runs on a worker."""
    _compare(wanted, versions(), "A worker", tuple(wanted))
    do, given = pickle.loads(function), pickle.loads(part)  # noqa: S301, our own parcels
    with _one_blas_thread():
        return do(given)
