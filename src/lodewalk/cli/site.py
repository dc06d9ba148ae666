"""`lodewalk site`: the reference field at a place, and what it means for a survey there."""

from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, emit


def site(
    lat: Annotated[float, typer.Option(help="Latitude [degrees], north positive.")],
    lon: Annotated[float, typer.Option(help="Longitude [degrees], east positive.")],
    height: Annotated[float, typer.Option(help="Height above the ellipsoid [m].")] = 0.0,
    date: Annotated[
        str | None, typer.Option(metavar="YYYY-MM-DD", help="Today if left out.")
    ] = None,
    crs: Annotated[
        str | None,
        typer.Option(metavar="EPSG:CODE", help="Projected system, for bearings on its grid."),
    ] = None,
    explain: Annotated[bool, typer.Option("--explain", help="Explain the words too.")] = False,
    as_json: AsJson = False,
) -> None:
    """Give field, compass, sensor set-up, expected anomaly and quiet day of a place and date."""
    from lodewalk.cli.site_text import site_lines
    from lodewalk.services.site import site as site_service

    result = site_service(lat, lon, height_m=height, date=date, crs=crs)
    emit(result, as_json=as_json, lines=() if as_json else site_lines(result, explain=explain))
