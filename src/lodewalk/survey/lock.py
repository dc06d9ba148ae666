"""The lock that keeps two runs apart."""

import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager

from filelock import FileLock, Timeout

from lodewalk.errors import LockedError
from lodewalk.survey.files import remove_parts
from lodewalk.survey.folder import Folder


@contextmanager
def locked(folder: Folder) -> Iterator[None]:
    """Hold the survey folder alone; leftovers of a killed run are cleared away.

    The system frees the lock of a killed process. Process and host are written beside it, so
    that somebody on another machine can tell whose it is.

    Raises
    ------
    LockedError
        When another process holds it.
    """
    lock = FileLock(folder.path / ".lock")
    owner = folder.path / ".lock-owner.json"
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        told = owner.read_text(errors="replace") if owner.exists() else ""
        raise LockedError(_advice(told)) from error
    try:
        owner.write_text(json.dumps({"pid": os.getpid(), "host": socket.gethostname()}))
        for part in (folder.path, *folder.own_folders):
            remove_parts(part)
        yield
    finally:
        owner.unlink(missing_ok=True)
        lock.release()


def _advice(owner: str) -> str:
    """Say who holds the lock and what to do."""
    try:
        found = json.loads(owner)
        who = f"process {found['pid']} on {found['host']}"
    except (ValueError, KeyError, TypeError):
        who = "another process"
    return (
        f"The survey folder is in use by {who}. Wait until it ends; if that process is gone "
        "(a shared drive may keep its lock), delete the file .lock in the survey folder."
    )
