"""`lodewalk site`: the reference field at a place."""

from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, columns, emit


def site(
    lat: Annotated[float, typer.Option(help="Latitude [degrees], north positive.")],
    lon: Annotated[float, typer.Option(help="Longitude [degrees], east positive.")],
    height: Annotated[float, typer.Option(help="Height above the ellipsoid [m].")] = 0.0,
    date: Annotated[
        str | None, typer.Option(metavar="YYYY-MM-DD", help="Today if left out.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Give the reference field, precession frequency and tuning at a place and date."""
    from lodewalk.services.site import site as site_service

    result = site_service(lat, lon, height_m=height, date=date)
    rows = [
        ["total field", f"{result.total_field_nT:.1f} nT"],
        ["inclination", f"{result.inclination_deg:.3f} degrees (down positive)"],
        ["declination", f"{result.declination_deg:.3f} degrees (east positive)"],
        ["north, east, down", f"{result.north_nT:.1f}, {result.east_nT:.1f}, "
         f"{result.down_nT:.1f} nT"],
        ["horizontal", f"{result.horizontal_nT:.1f} nT"],
        ["yearly change", f"{result.change_nT_per_year:+.1f} nT a year"],
        ["proton precession", f"{result.precession_Hz:.2f} Hz"],
        ["tuning", f"{result.tuning_uT:g} uT"],
        ["model", result.model],
    ]  # fmt: skip
    emit(result, as_json=as_json, lines=columns(rows))
