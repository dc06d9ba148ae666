"""Files: what was understood, the column map, adding them, the list, setting aside."""

import json
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Any

from fastapi import File, UploadFile
from fastapi import Form as FormField
from pydantic import Field

from lodewalk.errors import InputError
from lodewalk.services.add import AddResult
from lodewalk.services.intake.columns import MapResult, column_map_text
from lodewalk.services.intake.held import LedgerResult, add_as, held_path, ledger, put_aside
from lodewalk.services.intake.names import safe_name
from lodewalk.services.intake.preview import FilePreview, preview_file
from lodewalk.web.depends import Survey
from lodewalk.web.described import router_of
from lodewalk.web.routes.surveys import Form

router = router_of("files")

BLOCK = 1 << 20
Uploads = Annotated[list[UploadFile] | None, File(max_length=1000)]
Text = Annotated[str | None, FormField(max_length=200)]
#: A column map as JSON, with the keys of its TOML file.
MapText = Annotated[str | None, FormField(max_length=100_000)]


class Held(Form):
    """A file of the survey, by the name that the list gives it."""

    stored_as: str = Field(max_length=300)


class Aside(Held):
    """A file to set aside, with why and who."""

    reason: str = Field(pattern=r"\S", max_length=2000)
    who: str = Field(pattern=r"\S", max_length=200)


class MapForm(Form):
    """A column map: the text of its file, or plain values."""

    toml: str | None = Field(default=None, max_length=100_000)
    columns: dict[str, Any] | None = None


@router.get("/files")
def list_files(folder: Survey) -> LedgerResult:
    """List the raw files with the span of time that each records."""
    return ledger(folder)


@router.post("/files/preview")
def preview_files(
    folder: Survey,
    file: Uploads = None,
    held: Text = None,
    role: Text = None,
    instrument: Text = None,
    time_zone: Text = None,
    columns: MapText = None,
) -> list[FilePreview]:
    """Say what is understood of files, sent or held already; nothing is added."""
    chosen = _map(columns)
    with _given(folder, file, held) as paths:
        return [
            preview_file(
                folder, path, role=role or None, instrument=instrument or None,
                columns=chosen, time_zone=time_zone or None,
            )
            for path in paths
        ]  # fmt: skip


@router.post("/files", status_code=201)
def add(
    folder: Survey,
    role: Annotated[str, FormField(max_length=40)],
    file: Uploads = None,
    held: Text = None,
    instrument: Text = None,
    time_zone: Text = None,
    columns: MapText = None,
) -> AddResult:
    """Add files, all of them or none; or read a held one in another way."""
    chosen = _map(columns)
    with _given(folder, file, held) as paths:
        return add_as(
            folder, paths, role=role, instrument=instrument, columns=chosen, time_zone=time_zone
        )


@router.post("/files/aside")
def set_aside(form: Aside, folder: Survey) -> AddResult:
    """Set a file aside: it stays in raw/, and no step reads it."""
    return put_aside(folder, form.stored_as, reason=form.reason, who=form.who)


@router.post("/column-map")
def show_map(form: MapForm) -> MapResult:
    """Return a column map both ways: as plain values and as the text of its file."""
    return column_map_text(toml=form.toml, columns=form.columns)


@contextmanager
def _given(
    folder: Any, uploads: Sequence[UploadFile] | None, held: str | None
) -> Iterator[list[Path]]:
    """Yield where the files lie: those sent in a place of their own that goes away again."""
    if held:
        yield [held_path(folder, held)]
        return
    if not uploads:
        raise InputError("No file was sent.", remedy="Choose one or more files.")
    with TemporaryDirectory(prefix="lodewalk-") as place:
        yield [_kept(Path(place) / str(n), upload) for n, upload in enumerate(uploads)]


def _kept(place: Path, upload: UploadFile) -> Path:
    """Write a file that was sent to its own folder, a piece at a time."""
    place.mkdir()
    path = place / safe_name(upload.filename or "")
    with path.open("wb") as stream:
        shutil.copyfileobj(upload.file, stream, BLOCK)
    return path


def _map(text: str | None) -> Mapping[str, Any] | None:
    """Return a column map as plain values."""
    if not text:
        return None
    try:
        found = json.loads(text)
    except ValueError as error:
        raise InputError("A column map is sent as JSON.", value=text[:60]) from error
    if not isinstance(found, dict):
        raise InputError("A column map is a table of settings.", value=text[:60])
    return found
