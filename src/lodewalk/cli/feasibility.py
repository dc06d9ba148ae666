"""`lodewalk feasibility`: will it work, with odds."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from lodewalk.cli.output import AsJson, columns, emit, progress

if TYPE_CHECKING:
    from lodewalk.services.feasibility import FeasibilityResult

#: Options that are settings: section and name.
OPTIONS = {
    "kind": ("body", "kind"),
    "rock": ("body", "rock"),
    "susceptibility": ("body", "susceptibility"),
    "depth": ("body", "depth_m"),
    "width": ("body", "width_m"),
    "length": ("body", "length_m"),
    "extent": ("body", "depth_extent_m"),
    "radius": ("body", "radius_m"),
    "strike": ("body", "strike_deg"),
    "dip": ("body", "dip_deg"),
    "host": ("host", "rock"),
    "spacing": ("plan", "line_spacing_m"),
    "azimuth": ("plan", "line_azimuth_deg"),
    "sensor_height": ("plan", "sensor_height_m"),
}

#: Changes of the odds by less aren't told one by one.
LEAST = 0.005


def feasibility(
    directory: Annotated[
        Path | None,
        typer.Argument(
            metavar="[DIR]", help="Survey folder; without one give a place.", show_default=False
        ),
    ] = None,
    lat: Annotated[float | None, typer.Option(help="Latitude [degrees].")] = None,
    lon: Annotated[float | None, typer.Option(help="Longitude [degrees].")] = None,
    kind: Annotated[
        str | None, typer.Option(help="dyke, sheet, contact, pipe, sphere, prism, folded bed.")
    ] = None,
    rock: Annotated[
        str | None, typer.Option(help="Rock of the body; diabase if neither is given.")
    ] = None,
    susceptibility: Annotated[float | None, typer.Option(help="Of the body [SI].")] = None,
    host: Annotated[str | None, typer.Option(help="Rock around the body.")] = None,
    depth: Annotated[float | None, typer.Option(help="Depth of its top below ground [m].")] = None,
    width: Annotated[float | None, typer.Option(help="Width across the strike [m].")] = None,
    length: Annotated[float | None, typer.Option(help="Length along the strike [m].")] = None,
    extent: Annotated[float | None, typer.Option(help="From top to bottom [m].")] = None,
    radius: Annotated[float | None, typer.Option(help="Of a sphere or pipe [m].")] = None,
    strike: Annotated[float | None, typer.Option(help="Azimuth of the strike [degrees].")] = None,
    dip: Annotated[float | None, typer.Option(help="Dip, right of the strike [degrees].")] = None,
    spacing: Annotated[float | None, typer.Option(help="Distance between lines [m].")] = None,
    azimuth: Annotated[float | None, typer.Option(help="Azimuth of the lines [degrees].")] = None,
    sensor_height: Annotated[float | None, typer.Option(help="Height of the sensor [m].")] = None,
    figure: Annotated[
        Path | None, typer.Option(metavar="FILE.png", help="Draw what to expect, without DIR.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say whether a survey would find its body, with odds, and what would change them most.

    With a survey folder body and plan are those of its survey.toml; without one they are the
    options, and the defaults of the settings.
    """  # fmt: skip
    given = {
        "kind": kind, "rock": rock, "susceptibility": susceptibility, "host": host,
        "depth": depth, "width": width, "length": length, "extent": extent, "radius": radius,
        "strike": strike, "dip": dip, "spacing": spacing, "azimuth": azimuth,
        "sensor_height": sensor_height,
    }  # fmt: skip
    chosen = {name: value for name, value in given.items() if value is not None}
    if directory is not None:
        _refuse(chosen, lat, lon, figure)
        result = _of_folder(directory)
    else:
        result = _of_place(lat, lon, chosen, figure)
    emit(result, as_json=as_json, lines=_lines(result))


def _refuse(
    chosen: dict[str, Any], lat: float | None, lon: float | None, figure: Path | None
) -> None:
    """Refuse options beside a folder, which has settings of its own."""
    more = {"lat": lat, "lon": lon, "figure": figure}
    names = [*chosen, *(name for name, value in more.items() if value is not None)]
    if names:
        option = names[0].replace("_", "-")
        raise typer.BadParameter(
            f"--{option} serves without a survey folder only; set it in survey.toml."
        )


def _of_folder(directory: Path) -> "FeasibilityResult":
    """Return the feasibility of a survey."""
    from lodewalk.services.feasibility import feasibility as feasibility_service
    from lodewalk.services.opening import open_survey

    with progress() as reporter:
        return feasibility_service(open_survey(directory), reporter=reporter)


def _of_place(
    lat: float | None, lon: float | None, chosen: dict[str, Any], figure: Path | None
) -> "FeasibilityResult":
    """Return the feasibility at a place."""
    from lodewalk.services.feasibility import feasibility_of

    if lat is None or lon is None:
        raise typer.BadParameter("Give a survey folder, or a place with --lat and --lon.")
    settings: dict[str, dict[str, Any]] = {}
    for name, value in chosen.items():
        section, key = OPTIONS[name]
        settings.setdefault(section, {})[key] = value
    body = settings.setdefault("body", {})
    if "rock" not in body and "susceptibility" not in body:
        body["rock"] = "diabase"
    return feasibility_of(lat, lon, settings=settings, figure=figure)


def _lines(result: "FeasibilityResult") -> Iterator[str]:
    """Yield the answer, verdict first."""
    yield result.summary
    yield from (f"  {text}" for text in result.reasons)
    yield ""
    yield f"Expected: {result.anomaly.text}"
    yield from (f"Warning: {text}" for text in result.warnings)
    yield ""
    yield "Odds at the ends of what isn't known"
    rows = []
    for what, unit in (("susceptibility", "SI"), ("depth", "m")):
        own = [row for row in result.cases if row.what == what]
        cells = [f"{row.value:.3g} {unit}: {_odds(row.probability)}" for row in own]
        rows.append([f"  {what}", *cells])
    yield from columns(rows)
    yield "Odds with one thing done otherwise, and the gain in per cent"
    told = [row for row in result.changes if abs(row.gain) >= LEAST]
    yield from columns(
        [[f"  {_odds(row.probability)}", f"{100 * row.gain:+.1f}", row.text] for row in told]
    )
    if len(told) < len(result.changes):
        names = "; ".join(row.name for row in result.changes if abs(row.gain) < LEAST)
        yield f"  by less than half a per cent: {names}"
    yield ""
    yield f"Susceptibility of the body: {_rock_text(result.susceptibility.target)}"
    yield f"Susceptibility of the host: {_rock_text(result.susceptibility.host)}"
    yield _magnetisation_text(result)
    yield from (f"Assumed: {text}" for text in result.assumed)
    if result.figure:
        yield f"Figure: {result.figure}"


def _odds(chance: float) -> str:
    """Return a probability in whole per cent; a certainty isn't claimed."""
    return ">99%" if chance > 0.995 else "<1%" if chance < 0.005 else f"{chance:.0%}"


def _magnetisation_text(result: "FeasibilityResult") -> str:
    """Return size and direction of the magnetisation."""
    found = result.magnetisation
    parts = ", induced"
    if found.remanence_A_m:
        parts = f" ({found.induced_A_m:.2g} induced, {found.remanence_A_m:.2g} remanent)"
    return (
        f"Magnetisation: {found.total_A_m:.2g} A/m{parts}, inclination "
        f"{found.inclination_deg:.0f} and declination {found.declination_deg:.0f} degrees"
    )


def _rock_text(rock: Any) -> str:
    """Return a susceptibility with its range and source."""
    low, typical, high = (
        f"{value:{'.0f' if abs(value) > 99 else '.2g'}}"
        for value in (rock.low, rock.typical, rock.high)
    )
    span = "" if rock.low == rock.high else f" ({low} to {high})"
    return f"{typical}{span} SI, {rock.source}"
