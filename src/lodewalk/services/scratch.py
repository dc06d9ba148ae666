"""Temporary folders that stay for nobody: gone at the end, however sudden, or swept by the next."""

import atexit
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

#: How often a folder is cleared into which a thread may still write, and the pause between [s].
TRIES, PAUSE_S = 5, 0.1


@contextmanager
def scratch(kind: str) -> Iterator[Path]:
    """Hold a temporary folder of a kind; those that processes which are no more left are removed.

    It is removed at the end of the process as well, should the removal here be interrupted, or
    the thread that holds the folder be left behind.
    """
    sweep(kind)
    folder = made(kind)
    remove = partial(_remove, folder)
    atexit.register(remove)
    try:
        yield folder
    finally:
        remove()
        atexit.unregister(remove)


def made(kind: str) -> Path:
    """Return a new temporary folder, named by its kind and the process that made it."""
    return Path(tempfile.mkdtemp(prefix=f"{_prefix(kind)}{os.getpid()}-"))


def sweep(kind: str) -> None:
    """Remove the folders of a kind whose processes are no more."""
    for folder in Path(tempfile.gettempdir()).glob(f"{_prefix(kind)}*-*"):
        number = folder.name.removeprefix(_prefix(kind)).split("-")[0]
        own = folder.is_dir() and not folder.is_symlink()
        if own and number.isdigit() and not _runs(int(number)):
            shutil.rmtree(folder, ignore_errors=True)


def _prefix(kind: str) -> str:
    """Return what the names of all folders of a kind begin with."""
    return f"lodewalk-{kind}-"


def _remove(folder: Path) -> None:
    """Remove a folder, again where something was written into it meanwhile."""
    for attempt in range(TRIES):
        if attempt:
            time.sleep(PAUSE_S)
        shutil.rmtree(folder, ignore_errors=True)
        if not folder.exists():
            return


def _runs(process: int) -> bool:
    """Tell whether a process of this number runs, as far as this machine tells; else say yes."""
    if os.name != "posix":  # there a signal of number 0 would end it
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
