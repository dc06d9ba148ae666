"""The delivery package: the whole survey with its report in one zip that can be verified."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from lodewalk.errors import CancelledError, InputError
from lodewalk.handover.package import (
    UNITS,
    About,
    Manifest,
    PackedProduct,
    write_package,
)
from lodewalk.services.report import report
from lodewalk.services.report_state import report_state
from lodewalk.services.stale import pending
from lodewalk.steps.context import Reporter, Silent
from lodewalk.steps.declarations import STEPS
from lodewalk.survey.contents import survey_files
from lodewalk.survey.files import replacing
from lodewalk.survey.folder import Folder
from lodewalk.survey.journal import versions
from lodewalk.survey.ledger import check_raw, file_digest, read_ledger
from lodewalk.survey.lock import locked
from lodewalk.survey.run import run as run_steps
from lodewalk.survey.state import read_state


@dataclass(frozen=True)
class PackResult:
    """The package, and what had to be done before: steps that ran, whether the report was written.

    `left_out` names plans that are no longer up to date and so aren't packed as products.
    """

    package: str
    sha256: str
    size_bytes: int
    files: int
    unpacked_bytes: int
    products: int
    steps_run: list[str]
    report_written: bool
    left_out: list[str]


def pack(
    folder: Folder,
    out: Path,
    *,
    force: bool = False,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> PackResult:
    """Write the delivery package, after bringing up what is stale: products, then the report.

    Parameters
    ----------
    folder : Folder
        The survey. Every raw file is held against its digest first.
    out : Path
        The zip to write. It is there whole or not at all, and the same survey makes the same
        bytes.
    force : bool
        Whether a file of this name is replaced.
    reporter, cancelled
        As for a run.

    Returns
    -------
    PackResult

    Raises
    ------
    InputError
        When `out` is taken, lies in a folder that is packed, or its own folder isn't there; when
        the survey has no raw file; for a raw file that changed.
    CancelledError
        On request; nothing is left behind.
    """
    hears = reporter or Silent()
    _check_out(folder, out, force=force)
    if not read_ledger(folder):
        raise InputError(
            "The survey has no raw file yet: there is nothing to hand over.",
            remedy="Add the files of your base and rover first.",
        )
    ran = _bring_up(folder, hears, cancelled)
    state = report_state(folder)
    if state.stale:
        report(folder, scale=state.scale, reporter=hears, cancelled=cancelled)
    with locked(folder):
        check_raw(folder, read_ledger(folder), rehash=True)
        if pending(folder).steps:
            raise InputError("The survey changed while it was packed.", remedy="Pack it again.")
        left_out = _stale_plans(folder)
        manifest = _write(folder, out, left_out, hears, cancelled)
    return PackResult(
        package=str(out),
        sha256=file_digest(out),
        size_bytes=out.stat().st_size,
        files=len(manifest.files),
        unpacked_bytes=sum(file.size for file in manifest.files),
        products=len(manifest.products),
        steps_run=ran,
        report_written=bool(state.stale),
        left_out=left_out,
    )


def _check_out(folder: Folder, out: Path, *, force: bool) -> None:
    """Raise where the package can't be written as asked."""
    if out.suffix.lower() != ".zip":
        raise InputError(
            "The package is a zip.", value=out.name, remedy="Let its name end in .zip."
        )
    if not out.parent.is_dir():
        raise InputError("There is no such folder to write into.", value=str(out.parent))
    inside = out.resolve()
    packed = set(folder.own_folders) - {folder.package}
    if any(inside.is_relative_to(own.resolve()) for own in packed):
        raise InputError(
            "A package can't lie in a folder that is packed.",
            value=str(out),
            remedy="Write it beside the survey.",
        )
    if out.is_dir() or (out.exists() and not force):
        raise InputError(
            "There is a file of this name already.",
            file=out.name,
            remedy="Choose another name, or say that it may be replaced.",
            means=("force",),
        )


def _bring_up(folder: Folder, hears: Reporter, cancelled: Callable[[], bool]) -> list[str]:
    """Run what is stale and say what ran; nothing is written where all is up to date."""
    if not pending(folder).steps:
        return []
    return [
        item.step for item in run_steps(folder, reporter=hears, cancelled=cancelled) if item.ran
    ]


def _stale_plans(folder: Folder) -> list[str]:
    """Return the steps before going whose products were made once and are stale."""
    state = read_state(folder)
    made = [step.name for step in STEPS if step.before_going and step.name in state]
    return [name for name in made if name in {row.step for row in pending(folder, to=name).steps}]


def _write(
    folder: Folder,
    out: Path,
    left_out: list[str],
    hears: Reporter,
    cancelled: Callable[[], bool],
) -> Manifest:
    """Write the zip aside and let it take its place."""
    from lodewalk.adapters.projection import crs_title
    from lodewalk.records.products import Readings

    def told(done: int, total: int) -> None:
        if cancelled():
            raise CancelledError("Packing was cancelled; there is no package.")
        hears.progress("package", done, total)

    survey = folder.settings.survey
    about = About(
        survey.name, survey.crs, crs_title(survey.crs), survey.time_zone, UNITS, versions()
    )
    products = _products(folder, left_out)
    files = survey_files(folder)
    columns = [(column.name, column.unit, column.text) for column in Readings.SCHEMA]
    with replacing(out) as part:
        return write_package(
            part, about, products=products, files=files, columns=columns, told=told
        )


def _products(folder: Folder, left_out: list[str]) -> list[PackedProduct]:
    """Return the products that can be rebuilt."""
    state = read_state(folder)
    return [
        PackedProduct(product, f"products/{stored.file}", step.name, step.version, stored.digest)
        for step in STEPS
        if step.name in state and step.name not in left_out and state[step.name].complete
        for product, stored in state[step.name].products.items()
    ]
