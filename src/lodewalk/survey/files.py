"""Atomic writes: a file is there whole or not at all."""

import json
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

#: End of the name of a file that is being written; no raw file is ever called so.
PART_SUFFIX = ".lodewalk-part"


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Yield a temporary path beside `path`; on success it takes the place of `path`.

    The bytes are flushed to the disk before the rename and the rename after it, so that a
    crash leaves the old file or the new one. On an error the temporary file is removed.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}{PART_SUFFIX}")
    try:
        yield part
        _flush(part)
        part.replace(path)
        _flush(path.parent)
    except OSError as error:
        if error.errno is not None and error.filename is None:  # as for a full disk
            error.filename = path.name
        raise
    finally:
        part.unlink(missing_ok=True)


def _flush(path: Path) -> None:
    """Make the system write a file or a folder to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        if path.is_file():  # some systems cannot flush a folder; a file must be flushed
            raise
    finally:
        os.close(handle)


def write_text(path: Path, text: str) -> None:
    """Write a text file atomically."""
    with replacing(path) as part:
        part.write_text(text, encoding="utf-8")


def write_bytes(path: Path, content: bytes) -> None:
    """Write a binary file atomically."""
    with replacing(path) as part:
        part.write_bytes(content)


def write_json(path: Path, value: Any) -> None:
    """Write a JSON file atomically."""
    write_text(path, json.dumps(value, indent=1, sort_keys=True, allow_nan=False) + "\n")


def write_with(path: Path, writer: Callable[[Path], object]) -> None:
    """Let `writer` write a temporary file that then takes the place of `path`."""
    with replacing(path) as part:
        writer(part)


def remove_parts(folder: Path) -> None:
    """Remove what a killed run left half written; call only while holding the lock."""
    for part in folder.glob(f".*{PART_SUFFIX}"):
        if part.is_file():
            part.unlink(missing_ok=True)
