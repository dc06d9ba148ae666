"""Handing over: the report, the layers, the package and its verification."""

import shutil
from pathlib import Path
from typing import Annotated, Any

from fastapi import Query, UploadFile
from fastapi.responses import FileResponse, Response
from pydantic import Field

from lodewalk.errors import InputError
from lodewalk.services.cautions import CautionsResult, cautions
from lodewalk.services.hand_over import PackageState, package_file, package_state
from lodewalk.services.outputs import OutputsResult, output_file, outputs
from lodewalk.services.readiness import ReadinessResult, readiness
from lodewalk.services.report_state import ReportState, report_file, report_state
from lodewalk.web.depends import Serving, Survey, plain
from lodewalk.web.described import router_of
from lodewalk.web.jobs import JobState
from lodewalk.web.report_page import report_page
from lodewalk.web.routes.surveys import Form

router = router_of("handover")

#: What is said of an answer that is a file.
FILE: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
        "description": "The file as it lies in the survey's folder.",
    }
}
PAGE: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/html": {"schema": {"type": "string"}}}, "description": "The report."}
}


class ReportForm(Form):
    """Scale number of the sheets, 2000 for 1:2 000; the largest that fits where left out."""

    scale: Annotated[int, Field(ge=1, le=1_000_000)] | None = None


@router.get("/handover")
def show_readiness(folder: Survey) -> ReadinessResult:
    """Say what to look at before the survey is handed over."""
    return readiness(folder)


@router.get("/cautions")
def show_cautions() -> CautionsResult:
    """Return the cautions that every survey carries."""
    return cautions()


@router.get("/report")
def show_report(folder: Survey) -> ReportState:
    """Say whether there is a report and whether it still holds."""
    return report_state(folder)


@router.post("/report", status_code=202)
def write_report(session: Serving, folder: Survey, form: ReportForm | None = None) -> JobState:
    """Bring the products up to date and write the report, in the background."""
    from lodewalk.services.report import SCALES, report

    scale = form.scale if form else None
    if scale is not None and scale not in SCALES:  # refused here, not in the background
        known = ", ".join(str(item) for item in SCALES)
        error = InputError(f"The scale of a sheet is one of {known}.", value=scale)
        error.field = "scale"  # type: ignore[attr-defined]
        raise error

    def work(reporter: Any, cancelled: Any) -> dict[str, Any]:
        return plain(report(folder, scale=scale, reporter=reporter, cancelled=cancelled))

    return session.jobs.start("report", work)


@router.get("/report/page", response_class=Response, responses=PAGE)
def show_report_page(folder: Survey) -> Response:
    """Return the report as a page that runs no script and asks for nothing."""
    return report_page(report_file(folder))


@router.get("/outputs")
def list_outputs(folder: Survey) -> OutputsResult:
    """List maps, layers and data that have been made."""
    return outputs(folder)


@router.get("/outputs/file", response_class=FileResponse, responses=FILE)
def download_output(folder: Survey, file: Annotated[str, Query(max_length=300)]) -> FileResponse:
    """Return one of the files that are listed, to keep."""
    return _kept(output_file(folder, file))


@router.get("/package")
def show_package(folder: Survey) -> PackageState:
    """Say whether there is a package and whether it still holds."""
    return package_state(folder)


@router.post("/package", status_code=202)
def make_package(session: Serving, folder: Survey) -> JobState:
    """Bring up what is stale and make the package, in the background."""
    from lodewalk.services.hand_over import pack_here

    def work(reporter: Any, cancelled: Any) -> dict[str, Any]:
        return plain(pack_here(folder, reporter=reporter, cancelled=cancelled))

    return session.jobs.start("package", work)


@router.get("/package/file", response_class=FileResponse, responses=FILE)
def download_package(folder: Survey) -> FileResponse:
    """Return the package, to keep."""
    return _kept(package_file(folder))


@router.post("/package/verify", status_code=202)
def verify_own(session: Serving, folder: Survey) -> JobState:
    """Verify the package that was made here, in the background."""
    return _verify(session, package_file(folder))


@router.post("/package/verify/upload", status_code=202)
def verify_upload(session: Serving, file: UploadFile) -> JobState:
    """Verify a package from elsewhere, in the background; it is gone afterwards."""
    scratch = session.uploads.made()
    try:
        name = Path((file.filename or "package.zip").replace("\\", "/")).name[:60]
        target = scratch / (name.replace("\0", "").lstrip(".") or "package.zip")
        with target.open("wb") as stream:
            shutil.copyfileobj(file.file, stream)
        return _verify(session, target, scratch)
    except BaseException:
        shutil.rmtree(scratch, ignore_errors=True)
        raise


def _verify(session: Any, path: Path, scratch: Path | None = None) -> JobState:
    """Start to verify a package; `scratch` is removed in the end."""
    from lodewalk.services.verify import verify

    def work(reporter: Any, cancelled: Any) -> dict[str, Any]:
        try:
            return plain(verify(path, reporter=reporter, cancelled=cancelled))
        finally:
            if scratch is not None:
                shutil.rmtree(scratch, ignore_errors=True)

    state: JobState = session.jobs.start("verify", work)
    return state


def _kept(path: Path) -> FileResponse:
    """Return a file to keep; it is sent as it is, not squeezed again."""
    headers = {"content-encoding": "identity"}
    return FileResponse(
        path, filename=path.name, media_type="application/octet-stream", headers=headers
    )
