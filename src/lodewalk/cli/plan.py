"""`lodewalk plan`: lines, ties, base, days and files of a survey to come."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from lodewalk.cli.output import AsJson, Survey, emit, progress
from lodewalk.services.opening import open_survey

if TYPE_CHECKING:
    from lodewalk.services.plan import PlanResult


def plan(
    directory: Survey,
    area: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE",
            help="Area to survey: GeoJSON, KML, GeoPackage or GPX; in place of one that was there.",
        ),
    ] = None,
    exclude: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="What is kept clear of: power lines, fences, water."),
    ] = None,
    terrain: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Terrain model, GeoTIFF.")
    ] = None,
    draft: Annotated[
        bool, typer.Option("--draft", help="Write the plan to products/plan/draft; don't adopt it.")
    ] = False,
    replace: Annotated[
        bool,
        typer.Option(
            "--replace", help="Adopt it in place of a plan added by hand, or after rover files."
        ),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Plan lines, tie lines, base and days; the plan becomes an input of the survey."""
    from lodewalk.services.plan import plan as plan_service

    with progress() as reporter:
        result = plan_service(
            open_survey(directory),
            area=area or (),
            exclude=exclude or (),
            terrain=terrain,
            draft=draft,
            replaces=replace,
            reporter=reporter,
        )
    emit(result, as_json=as_json, lines=_lines(result))


def _lines(result: "PlanResult") -> Iterator[str]:
    """Yield the plan in short."""
    for added in result.added:
        yield f"{added.stored_as}: {added.format}, role {added.role}"
        yield from (f"  {sentence}" for sentence in added.understood)
    for name in result.set_aside:
        yield f"{name}: set aside, the area given takes its place"
    site, base, effort = result.site, result.base.site, result.effort
    yield (
        f"Where: {abs(site.latitude_deg):.5f} {'S' if site.latitude_deg < 0 else 'N'} "
        f"{abs(site.longitude_deg):.5f} {'W' if site.longitude_deg < 0 else 'E'}; "
        f"{result.area_m2 / 1e4:.1f} ha, {result.walkable_m2 / 1e4:.1f} ha of it walked"
    )
    yield (
        f"Lines: {result.lines} each {result.spacing_m:g} m at azimuth {result.azimuth_deg:g}, "
        f"{result.ties} tie line{'' if result.ties == 1 else 's'} each "
        f"{result.tie_spacing_m:.0f} m; {result.pieces} pieces"
    )
    yield from (f"  {name}: {text}" for name, text in result.why.items())
    way = result.kilometres
    yield (
        f"Kilometres: {way['lines_km']:.1f} on lines, {way['ties_km']:.1f} on ties, "
        f"{way['repeat_km']:.1f} repeated, {way['between_km']:.1f} between"
    )
    yield (
        f"Days: {effort.field_days} of walking; {effort.days} most likely, {effort.days_low} to "
        f"{effort.days_high} with storms and what is walked again"
    )
    hours = result.base.hours[0].lower() + result.base.hours[1:]
    yield f"Base: {base.easting_m:.0f} E {base.northing_m:.0f} N; {hours}"
    if result.detection is not None:
        yield f"Detection: {_detection(result.detection)}"
    yield from (f"repair: {text}" for text in result.repairs)
    yield from (f"warning: {text}" for text in result.warnings)
    yield from _adopted(result)
    yield from _files(result.files)


def _files(files: list[str]) -> Iterator[str]:
    """Yield the folder of the files, and their names."""
    if not files:
        return
    folder = files[0].rsplit("/", 1)[0]
    yield f"Files in {folder}/: {', '.join(file.rsplit('/', 1)[1] for file in files)}"


def _detection(found: "dict[str, Any]") -> str:
    """Return the promise with its error; a certainty isn't claimed."""
    chance, error = found["probability"], found["standard_error"]
    told = "over 99%" if chance > 0.995 else f"{chance:.0%} ±{max(100 * error, 1):.0f} (1 sd)"
    return f"{told} with {found['of']}, {found['wanted']:.0%} wanted"


def _adopted(result: "PlanResult") -> Iterator[str]:
    """Yield what became of the plan."""
    if result.draft:
        yield (
            "Draft: written to products/plan/draft; planned lines and files of the plan adopted "
            "are as they were, but products/plan/plan.json and its tables hold the draft."
        )
        return
    former = f", in place of {', '.join(result.superseded)}" if result.superseded else ""
    yield f"Adopted as {result.adopted}{former}: lines are told apart by it from now on."
