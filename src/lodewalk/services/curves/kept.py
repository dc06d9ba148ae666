"""Keeps what was made of products until their files change, so that pages need not wait twice."""

import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path

Made = TypeVar("Made")
Stamp = tuple[Any, ...]

_guard = threading.Lock()
#: One survey at a time is kept, since several would fill the memory.
_made: dict[str, tuple[Stamp, Any]] = {}


def kept(folder: Folder, name: str, products: Sequence[str], make: Callable[[], Made]) -> Made:
    """Return what `make` returns, or what it returned while the products were the same files.

    Parameters
    ----------
    folder : Folder
        The survey.
    name : str
        What is made; the last of each name is kept.
    products : sequence of str
        Products that it is made of.
    make : callable
        Makes it anew. What it returns must not be changed by anybody.
    """
    stamp = (folder.products, *(_stamp(product_path(folder, one)) for one in products))
    with _guard:
        found = _made.get(name)
    if found is not None and found[0] == stamp:
        made: Made = found[1]
        return made
    made = make()
    with _guard:
        _made[name] = (stamp, made)
    return made


def _stamp(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from the one that replaces it; None where there is none."""
    try:
        status = path.stat()
    except FileNotFoundError:
        return None
    return status.st_mtime_ns, status.st_size
