"""Settings of what the survey needs; see `settings_table`."""

from typing import Annotated

from pydantic import Field

from lodewalk.survey.settings_base import Section, setting


class Tolerances(Section):
    """What the survey needs; common practice unless a source is named."""

    chord_nT: float = setting(
        3.0, "Largest departure of the base from the chord (Canadian surveys).", "nT", gt=0, le=1000
    )
    diurnal_sd_nT: float = setting(
        1.0, "Largest standard deviation of the diurnal correction.", "nT", gt=0, le=1000
    )
    diurnal_nT: Annotated[float, Field(gt=0, le=1000)] | None = setting(
        None,
        "Largest error of the diurnal correction that the survey can bear; left out, the share "
        "below of the smallest anomaly, else twice the standard deviation above.",
        "nT",
    )
    smallest_anomaly_nT: Annotated[float, Field(gt=0, le=1e5)] | None = setting(
        None, "Smallest anomaly that is looked for.", "nT"
    )
    diurnal_share: float = setting(
        0.1, "Share of the smallest anomaly that the diurnal error may reach.", "", gt=0, le=1
    )
    reference_nT: float = setting(
        1000.0,
        "A rover whose usual reading lies farther from the reference field than this is doubted: "
        "about seven times the stated error of such models (WMM2025: 138 nT), most of it rocks.",
        "nT",
        gt=0,
        le=1e5,
    )
    noise_nT: float = setting(
        1.0, "Largest noise of a line, from its fourth difference.", "nT", gt=0, le=1000
    )
    kept_share: float = setting(
        0.95, "Smallest share of a line's readings that are kept.", "", ge=0, le=1
    )
    k9_nT: float = setting(
        500.0, "Lower limit of K = 9 at the site, for the activity.", "nT", ge=100, le=3000
    )
    covered_share: float = setting(
        0.95, "Smallest share of a planned line that must be covered.", "", ge=0, le=1
    )
    gap_m: float = setting(
        15.0, "Longest gap along a line that counts as covered.", "m", gt=0, le=1000
    )
    heading_nT: float = setting(
        2.0, "Turn-around test: largest spread over the headings.", "nT", gt=0, le=1000
    )
    item_nT: float = setting(
        1.0, "With-and-without test: largest change by an item.", "nT", gt=0, le=1000
    )
    check_station_nT: float = setting(
        2.0, "Check station: largest spread over the day, corrected.", "nT", gt=0, le=1000
    )
    repeat_nT: float = setting(
        2.0, "Repeat line: largest mean difference and noise.", "nT", gt=0, le=1000
    )
    static_nT: float = setting(
        0.5, "Static run: largest noise of a standing sensor.", "nT", gt=0, le=1000
    )
