"""The settings: one table with default, unit, range and help, which checks `survey.toml`.

The same table writes the commented settings file and the reference page of the settings.
"""

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import Field, Strict, field_validator, model_validator

from lodewalk.survey.settings_base import Section, setting
from lodewalk.survey.settings_before_going import (
    Body,
    EffortSettings,
    Handheld,
    Host,
    PlanSettings,
    SurveyNoise,
)
from lodewalk.survey.settings_rocks import FitSettings, TraceSettings, TransformSettings
from lodewalk.survey.settings_tolerances import Tolerances
from lodewalk.zones import checked_zone

#: Years that the reference field spans; the model itself says so too when it is asked.
FIRST_YEAR, LAST_YEAR = 1900, 2030

#: Error of a sensor's height that was measured, and of one that nobody did (common practice) [m].
MEASURED_SD_M, UNMEASURED_SD_M = 0.1, 0.3


class Survey(Section):
    """The survey as a whole."""

    name: str = setting(..., "Name of the survey, printed on maps and report.", pattern=r"\S")
    crs: str = setting(
        ..., "Projected reference system in metres, such as EPSG:31982.", pattern=r"^EPSG:\d{4,6}$"
    )
    purpose: str = setting("", "What the survey is for, in one sentence.")
    time_zone: str = setting(
        "", "Zone of times in files that don't say one: UTC, GPS, +hh:mm or an IANA name."
    )

    @field_validator("time_zone")
    @classmethod
    def _check_zone(cls, zone: str) -> str:
        return checked_zone(zone, key="time_zone") if zone else zone


class Instrument(Section):
    """One instrument, by the name that was given with its files."""

    text: str = setting("", "Make-free description: kind of sensor, serial mark, who carried it.")
    sensor_height_m: float = setting(2.0, "Height of the sensor above ground.", "m", ge=0, le=20)
    sensor_height_sd_m: Annotated[float, Field(ge=0, le=5)] | None = setting(
        None,
        "Error of that height, one sd; left out, 0.1 m where the height is set, and 0.3 m where "
        "nobody measured it (common practice).",
        "m",
    )
    geoid_m: float = setting(
        0.0,
        "Height of the geoid, where this instrument's heights are above sea level.",
        "m",
        ge=-150,
        le=150,
    )
    ahead_m: Annotated[float, Field(ge=-20, le=20)] | None = setting(
        None,
        "Rover only: sensor ahead of the GPS antenna, behind it below 0, as measured with a tape.",
        "m",
    )
    right_m: Annotated[float, Field(ge=-20, le=20)] | None = setting(
        None,
        "Rover only: sensor to the right of the GPS antenna, to the left below 0, as measured.",
        "m",
    )
    easting_m: Annotated[float, Field(ge=-1e7, le=1e7)] | None = setting(
        None, "Base only: easting in the survey's reference system, where known.", "m"
    )
    northing_m: Annotated[float, Field(ge=-2e7, le=2e7)] | None = setting(
        None, "Base only: northing in the survey's reference system, where known.", "m"
    )
    position_sd_m: Annotated[float, Field(ge=0.001, le=1000)] | None = setting(
        None,
        "Rover only: error of a position, one sd on each axis; left out, by the kind of fix.",
        "m",
    )
    site_tie_nT: Annotated[float, Field(ge=-5000, le=5000)] | None = setting(
        None,
        "Base only: added to this base's record, at its first place, so that bases at different "
        "sites agree; left out, found from the ties between the bases.",
        "nT",
    )

    def plain(self) -> dict[str, Any]:
        """Return the values, with the error of the sensor's height where none is set."""
        values = self.model_dump(mode="json")
        if self.sensor_height_sd_m is None:
            measured = "sensor_height_m" in self.model_fields_set
            values["sensor_height_sd_m"] = MEASURED_SD_M if measured else UNMEASURED_SD_M
        return values


class OlderSurvey(Section):
    """One older survey or airborne grid, by the name that was given with its files."""

    epoch: Annotated[date, Strict(False)] | None = setting(
        None, "Date that it was measured, YYYY-MM-DD; left out, the middle of its own times."
    )
    height_m: Annotated[float, Field(ge=0, le=20000)] | None = setting(
        None, "Height of its sensor above ground; left out, that of this survey.", "m"
    )
    values: Literal["total field", "anomaly"] = setting(
        "total field", "What its values are; an anomaly is taken as it is."
    )
    sd_nT: Annotated[float, Field(gt=0, le=1e4)] | None = setting(
        None, "Error of one of its values; left out, the misfit to this survey.", "nT"
    )

    @field_validator("epoch")
    @classmethod
    def _check_epoch(cls, epoch: date | None) -> date | None:
        if epoch is not None and not FIRST_YEAR <= epoch.year < LAST_YEAR:
            raise ValueError(
                f"the reference field IGRF-14 reaches from {FIRST_YEAR} to {LAST_YEAR}"
            )
        return epoch


class Position(Section):
    """Where the readings were taken."""

    max_speed_m_s: float = setting(
        5.0,
        "Fixes that a walker can't have reached at this speed are left out.",
        "m/s",
        gt=0,
        le=100,
    )
    track_gap_s: float = setting(
        30.0, "Longest gap of a track that is bridged by a straight line.", "s", gt=0, le=3600
    )
    height_window_s: float = setting(
        120.0, "Window over which recorded heights are smoothed.", "s", gt=0, le=3600
    )
    height_m: float = setting(
        0.0, "Height above the ellipsoid where the files have none.", "m", ge=-500, le=9000
    )


class Checks(Section):
    """First checks of rover and base."""

    spikes: bool = setting(True, "Whether isolated spikes are dropped.")
    dropouts: bool = setting(True, "Whether dropouts (impossible or stuck values) are dropped.")
    duplicates: bool = setting(True, "Whether repeated readings are dropped.")
    base_events: bool = setting(
        True, "Whether base readings are dropped while something magnetic passed the base."
    )
    low_quality: bool = setting(
        True, "Whether rover readings are dropped whose signal is far poorer than usual."
    )
    spike_factor: float = setting(
        3.6, "Spike threshold in standard deviations of the noise.", "", ge=3, le=100
    )
    spike_floor_nT: float = setting(
        0.3, "Smallest departure that may count as a spike.", "nT", gt=0, le=1000
    )
    gap_factor: float = setting(
        5.0, "A gap is longer than this many sampling intervals.", "", ge=1.5, le=1000
    )
    chord_s: float = setting(
        60.0, "Length of the chord for the base; at least four base intervals.", "s", gt=0, le=3600
    )


class Lines(Section):
    """How survey lines are told apart."""

    source: Literal["auto", "marks", "plan", "track"] = setting(
        "auto", "Marks in the file, planned lines or the track; auto takes the first there is."
    )
    min_length_m: float = setting(
        60.0, "Shortest line in a track; well above the line spacing.", "m", gt=0, le=1e5
    )
    max_turn_deg: float = setting(40.0, "Turn of the track that ends a line.", "deg", gt=0, lt=180)
    smoothing_m: float = setting(
        15.0, "Length over which a track's direction is taken; less for RTK.", "m", gt=0, le=1000
    )
    off_line_m: float = setting(
        10.0, "Farthest that a reading may lie off its planned line.", "m", gt=0, le=1000
    )


class Diurnal(Section):
    """Correction for the change of the field with time."""

    interpolation: Literal["linear", "akima", "monotone"] = setting(
        "linear", "How the base is interpolated between its readings."
    )
    max_gap_s: float = setting(
        300.0, "Longest gap of the base that is bridged by interpolation.", "s", gt=0, le=86400
    )

    scale_km: float = setting(
        150.0,
        "Distance over which the short variations of the field become another (from memory).",
        "km",
        gt=0,
        le=10000,
    )


class Clocks(Section):
    """How well clocks are known where nothing tells; both one standard deviation."""

    by_hand_s: float = setting(
        1.0, "Error of a clock that was set by hand (common practice).", "s", gt=0, le=3600
    )
    by_satellite_s: float = setting(
        0.1, "Error of a clock that stamps its own fixes (common practice).", "s", gt=0, le=3600
    )


class Datum(Section):
    """The one value that the diurnal correction is measured from."""

    value_nT: Annotated[float, Field(ge=15000, le=80000)] | None = setting(
        None, "Datum; left out, the median of the base in its quietest hours.", "nT"
    )
    epoch: Annotated[date, Strict(False)] | None = setting(
        None, "Date of the datum, YYYY-MM-DD; left out, the middle of the quietest hours."
    )

    @field_validator("epoch")
    @classmethod
    def _check_epoch(cls, epoch: date | None) -> date | None:
        if epoch is not None and not FIRST_YEAR <= epoch.year < LAST_YEAR:
            raise ValueError(
                f"the reference field IGRF-14 reaches from {FIRST_YEAR} to {LAST_YEAR}"
            )
        return epoch

    quiet_hours: float = setting(1.0, "Length of each quietest span.", "h", gt=0, le=24)


class HeadingSettings(Section):
    """Correction for the way in which the operator faces."""

    apply: bool = setting(True, "Whether the heading error that the evidence tells is taken off.")
    expected_nT: float = setting(
        1.0,
        "Expected heading error where nothing tells it, one sd: half of the largest spread over "
        "eight headings that good practice allows, 2 nT (from memory).",
        "nT",
        gt=0,
        le=1000,
    )
    facings_from: Literal["magnetic", "true", "grid"] = setting(
        "magnetic", "North from which the facings of a standing turn-around test are counted."
    )


class Rovers(Section):
    """Offsets between rovers."""

    apply: bool = setting(
        True,
        "Whether what a rover reads above the most-read one, by tests and crossings, is taken off.",
    )


class LevelSettings(Section):
    """Levelling of lines by their crossings."""

    apply: bool = setting(True, "Whether lines are levelled where they cross.")
    constant_nT: float = setting(
        5.0,
        "Largest plausible error of a line, one sd (common practice).",
        "nT",
        gt=0,
        le=1e4,
    )
    drift_nT_h: float = setting(
        2.0, "Largest plausible drift of a line, one sd (common practice).", "nT/h", ge=0, le=1e4
    )


class MicroLevelSettings(Section):
    """Micro-levelling: small stripes along lines that levelling left."""

    apply: bool = setting(
        False, "Whether stripes are taken off; narrow bodies along the lines lose as much."
    )
    limit_nT: float = setting(
        1.0,
        "Largest correction of a reading; three times the error that levelling leaves is common "
        "practice.",
        "nT",
        gt=0,
        le=100,
    )
    min_wavelength_m: Annotated[float, Field(gt=0, le=1e5)] | None = setting(
        None,
        "Wavelength along the line that is taken off by half, a longer one more; left out, five "
        "line spacings (common practice).",
        "m",
    )
    width_lines: float = setting(
        2.0,
        "Width of a stripe that is taken off by half, a narrower one more (common practice).",
        "line spacings",
        ge=1,
        le=20,
    )


class GridSettings(Section):
    """The grid of the anomaly."""

    spacing_m: Annotated[float, Field(gt=0, le=10000)] | None = setting(
        None, "Distance between nodes; left out, a fifth of the line spacing.", "m"
    )
    reach_m: Annotated[float, Field(gt=0, le=1e5)] | None = setting(
        None, "How far from a reading the grid goes; left out, the line spacing.", "m"
    )
    method: Literal[
        "minimum curvature",
        "minimum curvature along strike",
        "equivalent sources",
        "cubic",
        "linear",
    ] = setting(
        "minimum curvature",
        "Gridding engine; along strike joins slanted dykes from line to line where left-out lines "
        "are better predicted so, cubic and linear work on triangles.",
    )
    height_m: float = setting(
        0.0, "Height above the sensor of the grid; for equivalent sources only.", "m", ge=0, le=1e4
    )
    tension: Annotated[float, Field(ge=0, le=1)] | None = setting(
        None, "Tension of minimum curvature; left out, chosen by left-out lines."
    )
    damping_m2: Annotated[float, Field(gt=0, le=1e12)] | None = setting(
        None, "Damping of minimum curvature; left out, chosen by left-out pieces of lines.", "m2"
    )

    @model_validator(mode="after")
    def _check_method(self) -> "GridSettings":
        if self.height_m > 0 and self.method != "equivalent sources":
            raise ValueError('height_m has an effect with method = "equivalent sources" only')
        for name in ("tension", "damping_m2"):
            if getattr(self, name) is not None and "curvature" not in self.method:
                raise ValueError(f'{name} has an effect with method = "minimum curvature" only')
        return self


class Targets(Section):
    """The compact target that the map of what could still hide asks for."""

    depth_m: float = setting(5.0, "Depth of the target's centre below ground.", "m", gt=0, le=1000)
    susceptibility: float = setting(
        0.05, "Contrast of its susceptibility with the rock around it.", "SI", gt=0, le=20
    )
    radius_m: float = setting(2.0, "Radius of the target sought.", "m", gt=0, le=1000)
    background_nT: float = setting(
        1.0,
        "Standard deviation of geology that isn't sought, within the target's width.",
        "nT",
        ge=0,
        le=10000,
    )
    detection: float = setting(
        0.9, "Probability with which the smallest target is to be found.", "", ge=0.5, lt=1
    )


class Settings(Section):
    """The whole of `survey.toml`."""

    format: Literal[1] = setting(1, "Number of the folder's format.")
    survey: Survey
    instruments: dict[str, Instrument] = Field(
        default_factory=dict, description="One section an instrument, named as in `add`."
    )
    older: dict[str, OlderSurvey] = Field(
        default_factory=dict, description="One section an older survey, named as in `add`."
    )
    position: Position = Position()
    checks: Checks = Checks()
    lines: Lines = Lines()
    diurnal: Diurnal = Diurnal()
    clocks: Clocks = Clocks()
    datum: Datum = Datum()
    heading: HeadingSettings = HeadingSettings()
    rovers: Rovers = Rovers()
    level: LevelSettings = LevelSettings()
    micro_level: MicroLevelSettings = MicroLevelSettings()
    grid: GridSettings = GridSettings()
    targets: Targets = Targets()
    transforms: TransformSettings = TransformSettings()
    trace: TraceSettings = TraceSettings()
    fits: FitSettings = FitSettings()
    body: Body = Body()
    host: Host = Host()
    survey_noise: SurveyNoise = SurveyNoise()
    plan: PlanSettings = PlanSettings()
    effort: EffortSettings = EffortSettings()
    handheld: Handheld = Handheld()
    tolerances: Tolerances = Tolerances()

    def instrument(self, name: str) -> Instrument:
        """Return the settings of an instrument, or the defaults."""
        return self.instruments.get(name, Instrument())


SECTIONS: dict[str, type[Section]] = {
    "survey": Survey,
    "instruments.NAME": Instrument,
    "older.NAME": OlderSurvey,
    "position": Position,
    "checks": Checks,
    "lines": Lines,
    "diurnal": Diurnal,
    "clocks": Clocks,
    "datum": Datum,
    "heading": HeadingSettings,
    "rovers": Rovers,
    "level": LevelSettings,
    "micro_level": MicroLevelSettings,
    "grid": GridSettings,
    "targets": Targets,
    "transforms": TransformSettings,
    "trace": TraceSettings,
    "fits": FitSettings,
    "body": Body,
    "host": Host,
    "survey_noise": SurveyNoise,
    "plan": PlanSettings,
    "effort": EffortSettings,
    "handheld": Handheld,
    "tolerances": Tolerances,
}
