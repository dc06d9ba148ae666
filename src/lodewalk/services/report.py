"""The report, the map, the sheets and the profiles of a survey."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import TYPE_CHECKING, Any, cast

from lodewalk.errors import CancelledError, InputError
from lodewalk.services.joined import all_findings, base_record, product, ticks
from lodewalk.services.report_rocks import rock_records
from lodewalk.services.report_state import NOTE, note_report
from lodewalk.services.rocks_layers import write_rock_layers
from lodewalk.services.sensor_heights import height_words
from lodewalk.steps.context import Reporter, Silent
from lodewalk.steps.declarations import STEPS
from lodewalk.survey.clock import now_utc
from lodewalk.survey.decisions import read_decisions
from lodewalk.survey.files import write_bytes, write_text, write_with
from lodewalk.survey.folder import Folder
from lodewalk.survey.journal import versions
from lodewalk.survey.ledger import display_names, read_ledger
from lodewalk.survey.run import run as run_steps
from lodewalk.survey.settings import range_text, toml_value
from lodewalk.survey.settings_base import Section
from lodewalk.survey.settings_table import SECTIONS
from lodewalk.survey.state import read_state

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from lodewalk.handover.assemble import Records
    from lodewalk.handover.content import Job, Provenance, Setting
    from lodewalk.records import Document, Grid
    from lodewalk.records.products import Heights, Positions, Readings

SCALES = (500, 1000, 2000, 5000, 10_000, 25_000)
MAP_DPI = 200.0


@dataclass(frozen=True)
class ReportResult:
    """Where the report and its parts lie; null where a part can't be made.

    `rocks` are the layers and waypoints of the interpretation.
    """

    report: str
    map: str | None
    sheets: str | None
    profiles: str | None
    scale: int | None
    problem: str | None
    rocks: tuple[str, ...] = ()


def report(
    folder: Folder,
    *,
    scale: int | None = None,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> ReportResult:
    """Bring the products up to date and write the report with map, sheets and profiles.

    Parameters
    ----------
    folder : Folder
        The survey.
    scale : int, optional
        Scale number of the sheets, 2000 for 1:2 000; the largest scale that fits on one sheet
        when left out.
    reporter : Reporter, optional
        Hears the progress.
    cancelled : callable, optional
        Tells whether the user asked to stop.

    Raises
    ------
    InputError
        When the scale isn't one of the usual ones.
    CancelledError
        On request; a report half made is told to be stale.
    """
    from lodewalk.handover.assemble import assemble
    from lodewalk.handover.report import build_report

    if scale is not None and scale not in SCALES:
        known = ", ".join(str(item) for item in SCALES)
        raise InputError(f"The scale of a sheet is one of {known}.", value=scale)
    hears = reporter or Silent()
    run_steps(folder, reporter=hears, cancelled=cancelled)
    (folder.report / NOTE).unlink(missing_ok=True)
    records = _records(folder)
    job = _job(folder, records)
    folder.report.mkdir(exist_ok=True)
    for old in (*folder.report.glob("sheets_1_*.pdf"), folder.report / "map.png"):
        old.unlink(missing_ok=True)
    written, used = _map_and_sheets(folder, job, records, scale)
    hears.progress("map and sheets", 1, 1)
    check_cancelled(cancelled)
    profiles = _profiles(folder, records, hears, cancelled)
    rocks = tuple(str(path) for path in write_rock_layers(folder))
    content = assemble(job, records, provenance=_provenance(folder))
    path = folder.report / "report.html"
    check_cancelled(cancelled)
    write_text(path, build_report(content))
    note_report(folder, scale=scale)
    hears.progress("report", 1, 1)
    problem = product(folder, "grid_notes")["problem"]
    return ReportResult(str(path), written[0], written[1], profiles, used, problem, rocks)


def check_cancelled(cancelled: Callable[[], bool]) -> None:
    """Raise `CancelledError` when the user asked to stop."""
    if cancelled():
        raise CancelledError("The report was cancelled; write it again before you hand it over.")


def _records(folder: Folder) -> "Records":
    """Return the records that the report is made of."""
    from lodewalk.handover.assemble import Records

    grids, targets = (product(folder, name) for name in ("grids", "target_grids"))
    datum = product(folder, "datum")
    return Records(
        readings=product(folder, "readings"),
        lines=product(folder, "lines"),
        findings=all_findings(folder, reduced=True),
        base=base_record(folder),
        grid=grids.named("total_field_anomaly"),
        error_grid=grids.named("total_field_anomaly_standard_error"),
        error_notes=product(folder, "error_notes"),
        budget=product(folder, "budget"),
        targets=targets.grids[0] if targets.grids else None,
        grid_notes=product(folder, "grid_notes"),
        heading=product(folder, "heading"),
        datum=datum,
        base_levels=product(folder, "datum_network"),
        rover_levels=product(folder, "rover_network"),
        joined=product(folder, "join"),
        site=_site(product(folder, "rover_positions"), product(folder, "rover_heights"), datum),
        check=product(folder, "check"),
        minutes=product(folder, "base_minutes"),
        ticks=ticks(folder, product(folder, "check")),
        rocks=rock_records(folder),
    )


def _site(positions: "Positions", heights: "Heights", datum: "Document") -> "Document | None":
    """Return the reference field in the middle of the readings, at the datum's epoch."""
    import numpy as np

    from lodewalk.methods.geomagnetic import decimal_year, site_values
    from lodewalk.records import Document

    columns = [positions.floats("latitude_deg"), positions.floats("longitude_deg")]
    columns.append(heights.floats("height_m"))
    if not all(np.isfinite(values).any() for values in columns) or not datum["epoch_utc"]:
        return None
    middle = [float(np.nanmedian(values)) for values in columns]
    year = float(decimal_year(datetime.fromisoformat(datum["epoch_utc"]).timestamp()))
    found = site_values(middle[0], middle[1], middle[2], decimal_year=year)
    values = {item.name: getattr(found, item.name) for item in fields(found)}
    place = {"latitude_deg": middle[0], "longitude_deg": middle[1], "height_m": middle[2]}
    return Document({**place, "epoch_utc": datum["epoch_utc"], **values})


def _job(folder: Folder, records: "Records") -> "Job":
    """Return what the survey is, in words."""
    from lodewalk.adapters.projection import crs_title, grid_convergence_deg
    from lodewalk.handover.content import Job

    about = folder.settings.survey
    convergence = 0.0
    if records.site:
        convergence = float(
            grid_convergence_deg(
                records.site["longitude_deg"], records.site["latitude_deg"], crs=about.crs
            )
        )
    return Job(
        name=about.name,
        crs=about.crs,
        crs_title=crs_title(about.crs),
        zone=about.time_zone or "UTC",
        local_zone=about.time_zone or _zone_of_base(folder),
        purpose=about.purpose,
        convergence_deg=convergence,
        made_utc=f"{now_utc()[:16]}Z",
    )


def _zone_of_base(folder: Folder) -> str:
    """Return the zone of the base's files where all agree and it is a local one, else nothing."""
    zones = {entry.zone for entry in read_ledger(folder) if entry.role == "base"}
    (zone,) = zones if len(zones) == 1 else ("",)
    return "" if zone in ("UTC", "GPS") else zone


def _map_and_sheets(
    folder: Folder, job: "Job", records: "Records", scale: int | None
) -> tuple[tuple[str | None, str | None], int | None]:
    """Write the map and the fixed-scale sheets; say where they are and at which scale."""
    import numpy as np

    from lodewalk.figures.anomaly_map import draw_anomaly_map
    from lodewalk.figures.save import pdf_bytes, png_bytes
    from lodewalk.figures.sheet import draw_sheet

    grid, readings = records.grid, cast("Readings", records.readings)
    if grid is None or not np.isfinite(grid.values).any():
        return (None, None), None
    declination = records.site["declination_deg"] if records.site else None
    figure = draw_anomaly_map(
        grid,
        readings,
        title=f"{grid.title}, {job.name}",
        crs_title=job.crs_title,
        convergence_deg=job.convergence_deg,
        declination_deg=declination,
    )
    map_path = folder.report / "map.png"
    write_bytes(map_path, png_bytes(figure, dpi=MAP_DPI))
    used = scale or _fitting_scale(grid)
    block = _title_block(job, records)
    sheets = draw_sheet(
        grid,
        readings,
        scale=used,
        title_block=block,
        convergence_deg=job.convergence_deg,
        declination_deg=declination,
    )
    sheet_path = folder.report / f"sheets_1_{used}.pdf"
    write_bytes(sheet_path, pdf_bytes(sheets))
    return (str(map_path), str(sheet_path)), used


def _fitting_scale(grid: "Grid") -> int:
    """Return the largest usual scale at which the grid fits on one A3 sheet."""
    rows, columns = grid.values.shape
    longest, shortest = sorted((rows * grid.spacing_m, columns * grid.spacing_m), reverse=True)
    for scale in SCALES:
        if longest * 1000 / scale <= 330 and shortest * 1000 / scale <= 230:
            return scale
    return SCALES[-1]


def _title_block(job: "Job", records: "Records") -> dict[str, str]:
    """Return the words of the title block."""
    lines = cast("Any", records.lines).frame
    days = sorted(set(lines["day"].to_list()))
    datum = "none"
    if records.datum and records.datum["datum_nT"] is not None:
        datum = f"{records.datum['datum_nT']:.1f} nT, {records.datum['epoch_utc'][:10]}"
    return {
        "Survey": job.name,
        "CRS": job.crs_title,
        "Datum": datum,
        "Walked": " to ".join([days[0], days[-1]][: len(days)]) if days else "",
    }


def _profiles(
    folder: Folder, records: "Records", hears: Reporter, cancelled: Callable[[], bool]
) -> str | None:
    """Write the profile of each line, one page each."""
    from lodewalk.figures.line_profile import draw_line_profiles
    from lodewalk.figures.passages import drawable_lines
    from lodewalk.figures.save import write_pdf

    readings = cast("Readings", records.readings)
    total = len(drawable_lines(readings))
    if not total:
        return None

    def pages() -> "Iterator[Figure]":
        for done, figure in enumerate(draw_line_profiles(readings), 1):
            yield figure
            check_cancelled(cancelled)
            hears.progress("line profiles", done, total)

    path = folder.report / "line_profiles.pdf"
    write_with(path, lambda part: write_pdf(part, pages()))
    return str(path)


def _provenance(folder: Folder) -> "Provenance":
    """Return where the numbers come from."""
    from lodewalk.handover import content
    from lodewalk.services.decided import decided

    entries = read_ledger(folder)
    state = read_state(folder)
    shown = display_names(entries)
    rows = {
        item["name"]: item["rows"]
        for made in ("rover", "base", "track", "plan", "notes", "older")
        for item in product(folder, f"{made}_files")["files"]
    }
    sources = [
        content.SourceFile(name, e.role, e.sha256, e.instrument, e.zone, rows.get(name), e.size)
        for e in entries
        for name in [shown[e.sha256]]
    ]
    named = sorted({(e.instrument, e.role) for e in entries if e.instrument})
    instruments = [
        content.Instrument(
            name, role, folder.settings.instrument(name).text, _sensor(folder, name, role)
        )
        for name, role in named
    ]
    steps = [
        content.Step(step.name, str(step.version), _first_digest(state[step.name]), step.text)
        for step in STEPS
        if step.name in state
    ]
    return content.Provenance(
        tuple(sources),
        tuple(instruments),
        tuple(steps),
        versions(),
        tuple(_settings(folder)),
        tuple(decided(read_decisions(folder))),
    )


def _sensor(folder: Folder, name: str, role: str) -> str:
    """Say how high the sensor of a base or rover was; nothing of what has none."""
    if role not in ("base", "rover"):
        return ""
    settings = folder.settings
    return height_words(settings, [name], settings.instrument(name).sensor_height_m)


def _first_digest(made: Any) -> str:
    """Return the digest of the first product of a step."""
    return next((stored.digest for stored in made.products.values()), "")


def _settings(folder: Folder) -> "Sequence[Setting]":
    """Return all settings with their defaults."""
    found = []
    for name, section in SECTIONS.items():
        kind, each, _ = name.partition(".")
        if each:
            for key, own in getattr(folder.settings, kind).items():
                found += _section(f"{kind}.{key}", section, own)
        else:
            found += _section(name, section, getattr(folder.settings, name))
    return found


def _section(name: str, section: type[Section], own: Section) -> "list[Setting]":
    """Return the settings of one section."""
    from lodewalk.handover.content import Setting

    def shown(value: Any) -> str:
        return "" if value is None else toml_value(value)

    return [
        Setting(
            f"{name}.{key}",
            shown(getattr(own, key)),
            shown(None if item.is_required() else item.default),
            range_text(item),
            str(item.description),
        )
        for key, item in section.model_fields.items()
    ]
