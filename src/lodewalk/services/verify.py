"""Verifying a delivery package: every sum, then the whole survey rebuilt from raw and compared."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from lodewalk.errors import CancelledError, FolderError, InputError, LodewalkError
from lodewalk.handover.compare import Difference, compare
from lodewalk.handover.package import MANIFEST, PLACE, SUMS, Manifest, PackedFile, PackedProduct
from lodewalk.handover.unpack import opened, read_manifest, read_sums, unpack
from lodewalk.services.scratch import scratch
from lodewalk.steps.context import Reporter, Silent
from lodewalk.steps.declarations import STEPS, producer_of
from lodewalk.survey.contents import is_source
from lodewalk.survey.folder import Folder, open_folder
from lodewalk.survey.journal import versions
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.run import run as run_steps
from lodewalk.survey.state import read_state
from lodewalk.survey.store import product_path, read_product

#: Differences that are told in all.
MOST_TOLD = 200


@dataclass(frozen=True)
class FileFault:
    """A file of the package that isn't what its lists say."""

    file: str
    fault: str


@dataclass(frozen=True)
class VersionRow:
    """A version with which the package was made, and the one here."""

    name: str
    packaged: str
    here: str


@dataclass(frozen=True)
class VerifyResult:
    """Which grade a package meets, and whatever keeps it from one.

    `grade` is 1 for equal digests, 2 for the same text, flags and verdicts with numbers inside
    the tolerances, null for neither; `text` says so in words. `rebuilt` tells whether the survey
    could be rebuilt, `equal` how many of the `products` have equal digests. `differences` hold
    the worst place of each column that differs, also of those inside the tolerances.
    `versions` are those that differ from the ones here.
    """

    package: str
    survey: str
    crs: str
    grade: int | None
    text: str
    files: int
    faults: list[FileFault]
    rebuilt: bool
    problem: str | None
    products: int
    equal: int
    differences: list[Difference]
    versions: list[VersionRow]


@dataclass(frozen=True)
class _Rebuilt:
    """What came of rebuilding."""

    problem: str | None
    equal: int
    differences: list[Difference]


def verify(
    package: Path,
    *,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> VerifyResult:
    """Check a package's sums, rebuild its survey in a temporary folder, and compare.

    Parameters
    ----------
    package : Path
        The zip; it is only read.
    reporter, cancelled
        As for a run.

    Returns
    -------
    VerifyResult
        Also where the package fails. It is not rebuilt where settings, raw files or decisions
        aren't those that were packed.

    Raises
    ------
    InputError
        When the file is no package, or one that could do harm: see `lodewalk.handover.unpack`.
    CancelledError
        On request.
    """
    hears = reporter or Silent()
    if not package.is_file():
        raise InputError("There is no such package.", file=package.name)
    with (
        scratch("verify") as place,
        opened(package) as zipped,
    ):
        manifest = read_manifest(zipped, name=package.name)
        total = sum(entry.file_size for entry in zipped.infolist())
        _check_room(place, total, package.name)

        def told(done: int, count: int) -> None:
            if cancelled():
                raise CancelledError("Verifying was cancelled.")
            hears.progress("sums of files", done, count)

        packed = place / "packed"
        found = unpack(zipped, packed, told=told)
        faults = _file_faults(manifest, found, read_sums(zipped), set(zipped.namelist()))
        faults += _raw_faults(packed / PLACE, found, {one.file for one in faults})
        made = _rebuild(manifest, faults, place, hears, cancelled)
    return _result(package, manifest, faults, made)


def _check_room(place: Path, total: int, name: str) -> None:
    """Raise where the disk hasn't room for the package and its rebuilt survey."""
    free = shutil.disk_usage(place).free
    if free < 2 * total:
        raise InputError(
            f"Verifying needs {2 * total / 1e6:,.0f} MB of temporary room; {free / 1e6:,.0f} MB "
            "are free.",
            file=name,
            remedy="Make room, or let TMPDIR name a folder on a larger disk.",
        )


def _file_faults(
    manifest: Manifest, found: dict[str, PackedFile], sums: dict[str, str], there: set[str]
) -> list[FileFault]:
    """Return the files that are missing, changed, damaged or on no list."""
    listed = {file.name: file for file in manifest.files}
    faults = []
    for name, file in listed.items():
        if name not in there:
            faults.append(FileFault(name, "is missing"))
        elif name not in found:
            faults.append(FileFault(name, "is damaged: the zip can't give its bytes"))
        elif found[name].sha256 != file.sha256:
            faults.append(FileFault(name, "was changed: its SHA-256 isn't the one in the list"))
        elif sums.get(name) != file.sha256:
            faults.append(FileFault(name, f"has another sum in {SUMS}"))
    if MANIFEST in found and sums.get(MANIFEST) != found[MANIFEST].sha256:
        faults.append(FileFault(MANIFEST, f"was changed: its SHA-256 isn't the one in {SUMS}"))
    extra = sorted(there - set(listed) - {MANIFEST, SUMS})
    return faults + [FileFault(name, "is on no list") for name in extra]


def _raw_faults(survey: Path, found: dict[str, PackedFile], known: set[str]) -> list[FileFault]:
    """Return the raw files that aren't those of the ledger, whatever the lists say."""
    faults = []
    try:
        entries = read_ledger(Folder(survey))
    except FolderError as error:
        return [FileFault(f"{PLACE}raw/ledger.json", f"can't be read: {error}")]
    for entry in entries:
        name = f"{PLACE}raw/{entry.name}"
        if name in known:
            continue
        if name in found and found[name].sha256 != entry.sha256:
            faults.append(FileFault(name, "isn't the raw file that the ledger lists"))
        elif name not in found:
            faults.append(FileFault(name, "is in the ledger, but not in the package"))
    return faults


def _rebuild(
    manifest: Manifest,
    faults: list[FileFault],
    place: Path,
    hears: Reporter,
    cancelled: Callable[[], bool],
) -> _Rebuilt:
    """Rebuild the survey from its sources alone and compare every product."""
    bad = [one.file for one in faults if is_source(one.file.removeprefix(PLACE))]
    if bad:
        text = "The survey wasn't rebuilt, since what it rests on isn't what was packed: "
        return _Rebuilt(f"{text}{', '.join(bad[:5])}.", 0, [])
    packed, fresh = place / "packed" / PLACE, place / "rebuilt"
    for path in packed.rglob("*"):
        name = path.relative_to(packed).as_posix()
        if path.is_file() and is_source(name):
            (fresh / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, fresh / name)
    try:
        folder = open_folder(fresh)
        unknown = _run(folder, manifest, hears, cancelled)
    except CancelledError:
        raise
    except LodewalkError as error:
        return _Rebuilt(f"The survey can't be rebuilt: {error}", 0, [])
    return _compared(manifest, Folder(packed), folder, unknown, hears, cancelled)


def _run(
    folder: Folder, manifest: Manifest, hears: Reporter, cancelled: Callable[[], bool]
) -> set[str]:
    """Make every product anew; return those that no step here makes."""
    folder.products.mkdir(exist_ok=True)
    known = {product for step in STEPS for product in step.products}
    wanted = {item.product for item in manifest.products}
    before = {producer_of(name).name for name in known & wanted if producer_of(name).before_going}
    run_steps(folder, rehash=True, reporter=hears, cancelled=cancelled)
    for name in sorted(before):
        run_steps(folder, to=name, reporter=hears, cancelled=cancelled)
    return wanted - known


def _compared(
    manifest: Manifest,
    packed: Folder,
    fresh: Folder,
    unknown: set[str],
    hears: Reporter,
    cancelled: Callable[[], bool],
) -> _Rebuilt:
    """Compare every product of the package with the rebuilt one."""
    digests = {
        name: stored.digest
        for made in read_state(fresh).values()
        for name, stored in made.products.items()
    }
    equal, differences = 0, []
    for done, item in enumerate(manifest.products, 1):
        if cancelled():
            raise CancelledError("Verifying was cancelled.")
        rows = _one(item, packed, fresh, None if item.product in unknown else digests)
        equal += not rows
        differences += rows
        hears.progress("comparing products", done, len(manifest.products))
    missing = sorted(set(digests) - {item.product for item in manifest.products})
    differences += [_told(name, "", "not in the package", "made") for name in missing]
    return _Rebuilt(None, equal, differences)


def _one(
    item: PackedProduct, packed: Folder, fresh: Folder, digests: dict[str, str] | None
) -> list[Difference]:
    """Return what differs of one product; nothing where content and digests are the same."""
    if digests is None or item.product not in digests:
        return [_told(item.product, item.file, "in the package", "no step here makes it")]
    try:
        old = read_product(packed, item.product)
    except FolderError:
        return [_told(item.product, item.file, "can't be read", "made")]
    own = product_path(packed, item.product).relative_to(packed.path).as_posix()
    own_file = PLACE + own
    if old.digest() == digests[item.product] == item.digest and own_file == item.file:
        return []
    new = read_product(fresh, item.product)
    if old.digest() == new.digest() and item.digest == digests[item.product]:
        return []  # a form that holds less than the record, such as GPX: both lost the same
    rows = compare(item.product, own_file, old, new)
    if not rows:
        rows = [_told(item.product, MANIFEST, item.digest, digests[item.product], what="digest")]
    return rows


def _told(product: str, file: str, packaged: str, rebuilt: str, what: str = "") -> Difference:
    """Return a difference that concerns a product as a whole."""
    return Difference(product, file, what, None, "", packaged, rebuilt, None, "", None, 1, False)


def _result(
    package: Path, manifest: Manifest, faults: list[FileFault], made: _Rebuilt
) -> VerifyResult:
    """Return grade and words."""
    here = versions()
    other = [
        VersionRow(name, number, here.get(name, "absent"))
        for name, number in manifest.about.versions.items()
        if here.get(name) != number
    ]
    outside = [row for row in made.differences if not row.within]
    grade = None
    if not faults and made.problem is None and not outside:
        grade = 2 if made.differences else 1
    count = len(manifest.products)
    return VerifyResult(
        package=package.name,
        survey=manifest.about.survey,
        crs=manifest.about.crs,
        grade=grade,
        text=_words(grade, faults, made, count),
        files=len(manifest.files),
        faults=faults,
        rebuilt=made.problem is None,
        problem=made.problem,
        products=count,
        equal=made.equal,
        differences=sorted(made.differences, key=lambda row: row.within)[:MOST_TOLD],
        versions=other,
    )


def _words(grade: int | None, faults: list[FileFault], made: _Rebuilt, count: int) -> str:
    """Say what came out."""
    if grade == 1:
        return (
            f"Grade 1: every sum is right, and all {count} products rebuilt from the raw files "
            "have equal digests."
        )
    if grade == 2:
        return (
            "Grade 2: every sum is right; rebuilt from the raw files, text, flags and verdicts "
            "are the same and numbers agree within 1e-6 nT and 1e-6 m, grids within 1e-3 nT. "
            f"{made.equal} of {count} products have equal digests."
        )
    parts = []
    if faults:
        named = ", ".join(f"{one.file} {one.fault}" for one in faults[:3])
        more = f" and {len(faults) - 3} more" if len(faults) > 3 else ""
        parts.append(f"{named}{more}.")
    if made.problem:
        parts.append(made.problem)
    outside = [row for row in made.differences if not row.within]
    if outside:
        names = sorted({row.product for row in outside})
        shown = ", ".join(names[:5]) + (" and others" if len(names) > 5 else "")
        parts.append(f"Rebuilt from the raw files these come out otherwise: {shown}.")
    return "Not verified: " + " ".join(parts)
