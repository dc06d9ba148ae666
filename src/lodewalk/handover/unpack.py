"""Reading a package from elsewhere: nothing in it is trusted before it has been looked at."""

import hashlib
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import accumulate
from pathlib import Path
from zipfile import BadZipFile, ZipFile, ZipInfo
from zlib import error as ZlibError  # noqa: N812 - an error, whatever its name

from pydantic import TypeAdapter, ValidationError

from lodewalk.errors import InputError
from lodewalk.handover.package import (
    FORMAT,
    MANIFEST,
    SUMS,
    Manifest,
    PackedFile,
    blocks_of,
)

#: What a package may hold: files, bytes in all when unpacked, and how much it may be squeezed.
MOST_FILES, MOST_BYTES, MOST_SQUEEZED = 20_000, 20_000_000_000, 300
#: A package below this many bytes may be squeezed as it likes.
SMALL_BYTES = 50_000_000
#: Longest name that every file system takes [bytes], and how deep a file may lie.
MOST_NAME_BYTES, MOST_FOLDERS = 255, 20
#: Largest list of content and sums [bytes].
MOST_LIST_BYTES = 50_000_000

_MANIFEST = TypeAdapter(Manifest)
_BROKEN = (BadZipFile, ZlibError, EOFError, NotImplementedError, UnicodeDecodeError)


@contextmanager
def opened(path: Path) -> Iterator[ZipFile]:
    """Open a package whose names, kinds and sizes are safe.

    Raises
    ------
    InputError
        When the file is no zip, or holds what no package holds: a path that leads out, a link,
        a file twice, a file under a password, or far too much.
    """
    try:
        with ZipFile(path) as package:
            check_entries(package.infolist(), name=path.name)
            yield package
    except _BROKEN as error:
        raise InputError(
            f"The package can't be read ({str(error) or type(error).__name__}).",
            file=path.name,
            remedy="Ask for it again: it was damaged on its way, or is no package of lodewalk.",
        ) from error


def check_entries(entries: list[ZipInfo], *, name: str) -> None:
    """Raise for what no package holds."""
    if len(entries) > MOST_FILES:
        raise InputError(
            f"A package holds {MOST_FILES} files at most.", file=name, value=len(entries)
        )
    known: set[str] = set()
    folders = {
        folder.casefold() for entry in entries for folder in _folders_of(entry.orig_filename)
    }
    for entry in entries:
        problem = _problem(entry, known, folders)
        if problem:
            raise InputError(
                f"{problem} Nothing was unpacked.", file=name, value=entry.orig_filename
            )
        known.add(entry.filename.casefold())
    total = sum(entry.file_size for entry in entries)
    squeezed = sum(entry.compress_size for entry in entries)
    if total > MOST_BYTES or (total > SMALL_BYTES and total > MOST_SQUEEZED * max(squeezed, 1)):
        raise InputError(
            f"The package would unpack to {total / 1e6:,.0f} MB from {squeezed / 1e6:,.1f} MB; "
            "no survey does. Nothing was unpacked.",
            file=name,
        )


def _folders_of(name: str) -> Iterator[str]:
    """Yield the folders that a name lies in, the outermost first."""
    parts = name.split("/")[:-1]
    return accumulate(parts, "{}/{}".format)


def _problem(entry: ZipInfo, known: set[str], folders: set[str]) -> str:
    """Say what is wrong with an entry; nothing where it is sound."""
    name = entry.orig_filename
    parts = name.split("/")
    if "\\" in name or "\0" in name or ":" in name or {"", ".", ".."} & set(parts):
        return "A path in the package would lead out of its folder, or is no plain path."
    longest = max(len(part.encode(errors="surrogatepass")) for part in parts)
    if longest > MOST_NAME_BYTES or len(parts) > MOST_FOLDERS:
        return f"A name in the package is longer than {MOST_NAME_BYTES} bytes, or lies too deep."
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if kind not in (0, stat.S_IFREG):
        return "The package holds a link or something else that is no file."
    if entry.flag_bits & 1:
        return "A file in the package is under a password."
    if entry.filename.casefold() in known:
        return "The package holds a file twice."
    if entry.filename.casefold() in folders:
        return "The package holds a file that is also a folder."
    return ""


def read_manifest(package: ZipFile, *, name: str) -> Manifest:
    """Return the list of what a package holds.

    Raises
    ------
    InputError
        When there is none, or one of another format.
    """
    if MANIFEST not in package.namelist():
        raise InputError(
            f"The zip is no package of lodewalk: it has no {MANIFEST}.",
            file=name,
            remedy="Make one with: lodewalk pack DIR OUT.zip",
        )
    try:
        found = _MANIFEST.validate_json(_small(package, MANIFEST))
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "its text"
        raise InputError(
            f"The list of the package is damaged ({place}: {first['msg']}).", file=MANIFEST
        ) from error
    if found.format != FORMAT:
        raise InputError(
            f"This lodewalk reads packages of format {FORMAT}.",
            file=MANIFEST,
            value=found.format,
            remedy="Use the version of lodewalk that the package names.",
        )
    return found


def _small(package: ZipFile, name: str) -> bytes:
    """Return the bytes of a list."""
    if package.getinfo(name).file_size > MOST_LIST_BYTES:
        raise InputError("The list of the package is far too long.", file=name)
    return package.read(name)


def read_sums(package: ZipFile) -> dict[str, str]:
    """Return the sum of each file as the list of sums has it; none without that list."""
    if SUMS not in package.namelist():
        return {}
    rows = _small(package, SUMS).decode("utf-8", errors="replace").splitlines()
    return {name: digest for digest, _, name in (row.partition("  ") for row in rows)}


def unpack(
    package: ZipFile, place: Path, *, told: Callable[[int, int], None]
) -> dict[str, PackedFile]:
    """Unpack all files and return what each is, by its bytes.

    A file whose bytes can't be had, since the zip's own sum fails, is left out of the answer.
    """
    found = {}
    entries = package.infolist()
    for done, entry in enumerate(entries, 1):
        target = place / entry.filename
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            found[entry.filename] = _unpack_one(package, entry, target)
        except _BROKEN:
            target.unlink(missing_ok=True)
        told(done, len(entries))
    return found


def _unpack_one(package: ZipFile, entry: ZipInfo, target: Path) -> PackedFile:
    """Unpack one file, never more of it than was told."""
    total, length = hashlib.sha256(), 0
    with package.open(entry) as source, target.open("wb") as stream:
        for block in blocks_of(source):
            length += len(block)
            if length > entry.file_size:
                raise BadZipFile("A file is longer than told.")
            stream.write(block)
            total.update(block)
    return PackedFile(entry.filename, length, total.hexdigest())
