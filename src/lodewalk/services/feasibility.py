"""Whether a survey that is planned will find what it seeks."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lodewalk.errors import InputError
from lodewalk.validation import check_within

if TYPE_CHECKING:
    from lodewalk.records import Grid
    from lodewalk.steps.context import Reporter
    from lodewalk.survey.folder import Folder

DPI = 160.0
#: Sections of the settings that a feasibility without a survey folder may be given.
SECTIONS = ("body", "host", "survey_noise", "plan")


@dataclass(frozen=True)
class GoingSite:
    """Where the survey will be, and the reference field there."""

    latitude_deg: float
    longitude_deg: float
    total_field_nT: float
    inclination_deg: float
    declination_deg: float
    convergence_deg: float
    epoch: float
    model: str
    area_m2: float | None


@dataclass(frozen=True)
class Sought:
    """The body that is sought, as set; sizes that its kind doesn't have count for nothing."""

    kind: str
    rock: str
    depth_m: float
    depth_factor: float
    width_m: float
    length_m: float
    depth_extent_m: float
    radius_m: float
    strike_deg: float
    strike_sd_deg: float
    dip_deg: float
    opening_deg: float
    koenigsberger: float
    remanence_inclination_deg: float | None
    remanence_declination_deg: float | None


@dataclass(frozen=True)
class SusceptibilityRange:
    """A susceptibility [SI] with the range that holds it in nine cases of ten.

    `places` is the number of hand-meter places it rests on, 0 for a setting or a table.
    """

    low: float
    typical: float
    high: float
    places: int
    source: str


@dataclass(frozen=True)
class Susceptibilities:
    """Susceptibility of body and host, and their difference."""

    target: SusceptibilityRange
    host: SusceptibilityRange
    contrast: SusceptibilityRange


@dataclass(frozen=True)
class Magnetisation:
    """Magnetisation before demagnetisation; the direction of the total, from true north."""

    induced_A_m: float
    remanence_A_m: float
    total_A_m: float
    inclination_deg: float
    declination_deg: float


@dataclass(frozen=True)
class PlannedAs:
    """The lines that the odds are for."""

    line_spacing_m: float
    line_azimuth_deg: float
    tie_spacing_m: float | None
    reading_interval_m: float
    sensor_height_m: float
    extent_east_m: float
    extent_north_m: float


@dataclass(frozen=True)
class ExpectedAnomaly:
    """Figures of the expected anomaly: across the strike, and high and low of the map.

    Places are metres east and north of the body's middle. With the contrast at the ends of its
    range the anomaly is `size_low` and `size_high` times as large.
    """

    peak_to_trough_nT: float
    width_m: float
    high_nT: float
    low_nT: float
    high_east_m: float
    high_north_m: float
    low_east_m: float
    low_north_m: float
    size_low: float
    size_high: float
    text: str


@dataclass(frozen=True)
class ReadingNoise:
    """Noise of one reading, one standard deviation, and how many times it the anomaly is."""

    instrument_nT: float
    walking_nT: float
    diurnal_nT: float
    geology_nT: float
    soil_nT: float
    reading_nT: float
    largest: str
    ratio: float


@dataclass(frozen=True)
class Profile:
    """The expected anomaly along a profile through the body's middle."""

    name: str
    azimuth_deg: float
    distance_m: list[float]
    anomaly_nT: list[float]


@dataclass(frozen=True)
class OddsAt:
    """Probability with susceptibility [SI] or depth [m] at an end of what it may be."""

    what: str
    end: str
    value: float
    probability: float


@dataclass(frozen=True)
class OddsWith:
    """Probability with one thing done otherwise; those of the survey and one to learn before."""

    name: str
    text: str
    of_survey: bool
    probability: float
    gain: float


@dataclass(frozen=True)
class ExpectedResult:
    """The expected anomaly beside the noise, without odds."""

    site: GoingSite
    body: Sought
    susceptibility: Susceptibilities
    magnetisation: Magnetisation
    plan: PlannedAs
    anomaly: ExpectedAnomaly
    noise: ReadingNoise
    profiles: list[Profile]
    strike_share: float
    wanted: float
    warnings: list[str]
    assumed: list[str]


@dataclass(frozen=True)
class FeasibilityResult(ExpectedResult):
    """Verdict, odds and what they rest on; `changes` stand with the largest gain first."""

    verdict: str
    summary: str
    probability: float
    reasons: list[str]
    cases: list[OddsAt]
    changes: list[OddsWith]
    figure: str | None


def feasibility(folder: "Folder", *, reporter: "Reporter | None" = None) -> FeasibilityResult:
    """Return the feasibility of a survey and draw what to expect, `products/plan/expected.png`.

    Raises
    ------
    InputError
        When neither area nor place is given, or nothing tells how magnetic the body is.
    """
    import json

    from lodewalk.survey.run import run as run_steps
    from lodewalk.survey.store import product_path, read_product

    run_steps(folder, to="feasibility", reporter=reporter)
    path = product_path(folder, "feasibility")
    found = json.loads(path.read_text(encoding="utf-8"))
    grids: Any = read_product(folder, "expected_grids")
    figure = path.with_name("expected.png")
    if not figure.exists() or figure.stat().st_mtime_ns < path.stat().st_mtime_ns:
        settings = folder.settings.survey
        draw_expected(found, grids.grids[0], figure, name=settings.name)
    return feasibility_result(found, figure.relative_to(folder.path).as_posix())


def feasibility_of(
    latitude_deg: float,
    longitude_deg: float,
    *,
    settings: Mapping[str, Mapping[str, Any]] | None = None,
    figure: Path | None = None,
) -> FeasibilityResult:
    """Return the feasibility of a survey at a place, without a survey folder.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Place, WGS84 [deg].
    settings : mapping, optional
        Settings other than the defaults, by section: body, host, survey_noise, plan.
    figure : Path, optional
        File to draw what to expect to.

    Raises
    ------
    InputError
        For a place or a setting out of range, or where UTM doesn't serve.
    """
    from threadpoolctl import threadpool_limits

    from lodewalk.adapters.projection import utm_crs_for
    from lodewalk.records.recorded import HandMeter, Shapes
    from lodewalk.steps.context import Context
    from lodewalk.steps.declarations import step_named
    from lodewalk.steps.feasibility import run
    from lodewalk.survey.settings import check_settings, picked

    crs = utm_crs_for(*_checked_place(longitude_deg, latitude_deg))
    if figure is not None and not figure.parent.is_dir():
        raise InputError("There is no such folder for the figure.", value=str(figure.parent))
    values = {name: dict(part) for name, part in (settings or {}).items() if name in SECTIONS}
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    values["plan"] = {**values.get("plan", {}), **place}
    checked = check_settings({"survey": {"name": "feasibility", "crs": crs}, **values})
    with threadpool_limits(limits=1, user_api="blas"):
        made = run(
            {"area_recorded": Shapes.empty(), "hand_meter_recorded": HandMeter.empty()},
            picked(checked, step_named("feasibility").settings),
            Context(step="feasibility"),
        )
    found: Any = made["feasibility"]
    grids: Any = made["expected_grids"]
    if figure is not None:
        draw_expected(found.values, grids.grids[0], figure, name="")
    return feasibility_result(found.values, None if figure is None else str(figure))


def _checked_place(longitude_deg: float, latitude_deg: float) -> tuple[float, float]:
    """Return a place for which there is a UTM zone, or raise."""
    from lodewalk.adapters.projection import UTM_NORTH_LIMIT_DEG, UTM_SOUTH_LIMIT_DEG

    for name, value, end in (("Latitude", latitude_deg, 90), ("Longitude", longitude_deg, 360)):
        if math.isnan(value):
            raise InputError(f"{name} must be a number.", value=value)
        check_within(value, name=name, low=-min(end, 180), high=end, unit="degrees")
    if not UTM_SOUTH_LIMIT_DEG <= latitude_deg <= UTM_NORTH_LIMIT_DEG:
        raise InputError(
            "Without a survey folder a place must lie from 80° S to 84° N.",
            value=latitude_deg,
            remedy="Make a survey with a reference system that serves there.",
        )
    return longitude_deg, latitude_deg


def draw_expected(found: Mapping[str, Any], grid: "Grid", path: Path, *, name: str) -> None:
    """Draw what to expect to a file."""
    from lodewalk.adapters.projection import crs_title
    from lodewalk.figures import draw_expected_anomaly, png_bytes
    from lodewalk.survey.files import write_bytes

    if path.suffix.lower() != ".png":
        raise InputError("The figure is a PNG file.", value=path.name)
    title = f"Expected anomaly of the {found['body']['kind']}" + (f", {name}" if name else "")
    figure = draw_expected_anomaly(
        grid,
        found,
        title=title,
        crs_title=crs_title(grid.crs),
        convergence_deg=found["site"]["convergence_deg"],
    )
    write_bytes(path, png_bytes(figure, dpi=DPI))


def feasibility_result(found: Mapping[str, Any], figure: str | None) -> FeasibilityResult:
    """Return the document of the step as a result."""
    return FeasibilityResult(
        **expected_parts(found),
        verdict=found["verdict"],
        summary=found["summary"],
        probability=found["probability"],
        reasons=found["reasons"],
        cases=[OddsAt(**row) for row in found["cases"]],
        changes=[OddsWith(**row) for row in found["changes"]],
        figure=figure,
    )


def expected_parts(found: Mapping[str, Any]) -> dict[str, Any]:
    """Return the parts of `ExpectedResult` that the document of the step holds."""
    rocks = {name: SusceptibilityRange(**row) for name, row in found["susceptibility"].items()}
    plain = ("strike_share", "wanted", "warnings", "assumed")
    return {
        "site": GoingSite(**found["site"]),
        "body": Sought(**found["body"]),
        "susceptibility": Susceptibilities(**rocks),
        "magnetisation": Magnetisation(**found["magnetisation"]),
        "plan": PlannedAs(**found["plan"]),
        "anomaly": ExpectedAnomaly(**found["anomaly"]),
        "noise": ReadingNoise(**found["noise"]),
        "profiles": [Profile(**row) for row in found["profiles"]],
        **{name: found[name] for name in plain},
    }
