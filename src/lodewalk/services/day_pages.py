"""The page of each field day as a picture beside the products."""

from pathlib import Path

from lodewalk.errors import InputError
from lodewalk.services.joined import all_findings, base_record, product
from lodewalk.survey.files import write_bytes
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path

DPI = 160.0


def write_day_pages(folder: Folder) -> dict[str, str]:
    """Draw the pages that are older than the check; return the file of each day.

    A day with nothing to draw has none.
    """
    check = product(folder, "check")
    made = product_path(folder, "check").stat().st_mtime_ns
    directory = folder.products / "days"
    pages = {day["date"]: directory / f"{day['date']}.png" for day in check["days"]}
    for old in directory.glob("*.png"):
        if old not in pages.values():
            old.unlink()
    if any(not page.exists() or page.stat().st_mtime_ns < made for page in pages.values()):
        directory.mkdir(exist_ok=True)
        _draw(folder, pages)
    return {
        day: page.relative_to(folder.path).as_posix()
        for day, page in pages.items()
        if page.exists()
    }


def _draw(folder: Folder, pages: dict[str, Path]) -> None:
    """Draw the pages of all days."""
    from lodewalk.figures import draw_day, png_bytes
    from lodewalk.records.products import BaseRecord

    check, base = product(folder, "check"), base_record(folder)
    lines, findings = product(folder, "lines"), all_findings(folder)
    datum, minutes = product(folder, "datum"), product(folder, "base_minutes")
    for day in check["days"]:
        page = pages[day["date"]]
        try:
            figure = draw_day(
                base if base is not None else BaseRecord.empty(),
                lines,
                findings,
                minutes=minutes,
                check=check,
                day=day["date"],
                datum_nT=datum["datum_nT"],
                zone=folder.settings.survey.time_zone or day["zone"],
            )
        except InputError:
            page.unlink(missing_ok=True)
            continue
        write_bytes(page, png_bytes(figure, dpi=DPI))
