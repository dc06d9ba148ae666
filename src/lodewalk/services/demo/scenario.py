"""The invented survey in numbers: place, rocks, steel, days, crew, instruments and faults.

The place, its people and its field days are made up. Only the setting is borrowed from southern
Brazil: a weak field of low inclination, and diabase dykes that strike north-west under soil.
Positions are given along the lines and across them, from the south-west corner of line L01.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any


@dataclass(frozen=True)
class Rock:
    """A magnetised block of rock; `dip_deg` is measured to the right of the strike."""

    name: str
    kind: str
    along_m: float
    across_m: float
    depth_m: float
    strike_deg: float
    dip_deg: float
    width_m: float
    length_m: float
    depth_extent_m: float
    susceptibility: float


@dataclass(frozen=True)
class Boulders:
    """Boulders in the soil: small spheres strewn at random."""

    count: int = 160
    radius_m: tuple[float, float] = (0.4, 1.1)
    depth_m: tuple[float, float] = (1.6, 4.5)
    susceptibility: float = 0.04
    margin_m: float = 20.0


@dataclass(frozen=True)
class Fence:
    """A wire fence on steel posts that crosses all lines near their far end."""

    along_m: float = 566.0
    skew: float = -0.012
    across_m: tuple[float, float] = (-60.0, 930.0)
    spacing_m: float = 7.5
    post_height_m: float = 0.7
    moment_A_m2: float = 1.6
    moment_sd_A_m2: float = 0.7


@dataclass(frozen=True)
class Drum:
    """A buried steel drum."""

    along_m: float = 118.0
    across_m: float = 266.0
    depth_m: float = 1.3
    moment_north_east_down_A_m2: tuple[float, float, float] = (28.0, -12.0, -34.0)


@dataclass(frozen=True)
class Bay:
    """A bay of the storm: it dips (or swells) and comes back."""

    centre_s: float
    width_s: float
    size_nT: float


@dataclass(frozen=True)
class Pulsations:
    """A packet of pulsations of one period."""

    centre_s: float
    width_s: float
    period_s: float
    size_nT: float


@dataclass(frozen=True)
class Variation:
    """How the field changes with time on one day; times are seconds of the UTC day."""

    daily_nT: float
    daily_peak_s: float
    red_noise_nT: float
    onset_s: float | None = None
    onset_nT: float = 0.0
    main_phase_nT: float = 0.0
    bays: tuple[Bay, ...] = ()
    pulsations: tuple[Pulsations, ...] = ()


@dataclass(frozen=True)
class Rover:
    """A rover: sensor, what positions it, and the person who carries it."""

    name: str
    carried_by: str
    own_positions: bool
    position_sd_m: float
    height_sd_m: float
    decimals: int
    sensor_noise_nT: float = 0.12
    walking_noise_nT: float = 0.2
    clock_offset_s: float = 0.0
    offset_nT: float = 0.0
    heading_nT: float = 0.0
    heading_azimuth_deg: float = 0.0


@dataclass(frozen=True)
class Walk:
    """What one rover walks on a day; at the end it may stand with an item switched on."""

    rover: str
    start_s: float
    lines: tuple[str, ...]
    item: str = ""


@dataclass(frozen=True)
class FieldDay:
    """One day in the field."""

    date: str
    variation: Variation
    walks: tuple[Walk, ...]
    base_start_s: float
    base_end_s: float

    @property
    def midnight_s(self) -> float:
        """Unix time of 00 UTC [s]."""
        return datetime.fromisoformat(self.date).replace(tzinfo=UTC).timestamp()


@dataclass(frozen=True)
class Outage:
    """A planted stretch without good data; times are seconds of the UTC day."""

    kind: str
    instrument: str
    date: str
    start_s: float
    end_s: float
    note: str = ""


def _names(first: int, last: int) -> tuple[str, ...]:
    """Return the names of the lines from `first` to `last`, up or down."""
    step = 1 if last >= first else -1
    return tuple(f"L{number:02d}" for number in range(first, last + step, step))


ROCKS = (
    Rock("D1", "dyke", 172.0, 440.0, 14.0, 128.0, 76.0, 17.0, 3400.0, 500.0, 0.034),
    Rock("D2a", "dyke", 372.0, 60.0, 7.0, 134.0, 97.0, 5.0, 780.0, 300.0, 0.028),
    Rock("D2b", "dyke", 414.0, 850.0, 8.0, 134.0, 97.0, 5.0, 760.0, 300.0, 0.028),
    Rock("D3", "dyke", 486.0, 430.0, 42.0, 122.0, 60.0, 38.0, 2600.0, 400.0, 0.016),
    Rock("P1", "plug", 268.0, 655.0, 24.0, 105.0, 90.0, 34.0, 52.0, 260.0, 0.022),
    Rock("G1", "deep block", 2400.0, -900.0, 900.0, 100.0, 90.0, 2600.0, 4200.0, 3000.0, 0.012),
)

QUIET = Variation(daily_nT=36.0, daily_peak_s=14.2 * 3600.0, red_noise_nT=0.7)

STORMY = Variation(
    daily_nT=30.0,
    daily_peak_s=14.5 * 3600.0,
    red_noise_nT=4.0,
    onset_s=12.75 * 3600.0,
    onset_nT=17.0,
    main_phase_nT=-85.0,
    bays=(
        Bay(13.35 * 3600.0, 420.0, -38.0),
        Bay(13.95 * 3600.0, 600.0, -26.0),
        Bay(14.9 * 3600.0, 900.0, -34.0),
        Bay(16.4 * 3600.0, 1500.0, 22.0),
    ),
    pulsations=(
        Pulsations(13.1 * 3600.0, 500.0, 240.0, 9.0),
        Pulsations(13.6 * 3600.0, 420.0, 95.0, 5.0),
        Pulsations(13.75 * 3600.0, 1500.0, 38.0, 1.2),
        Pulsations(14.3 * 3600.0, 700.0, 310.0, 8.0),
        Pulsations(15.6 * 3600.0, 1200.0, 150.0, 4.0),
    ),
)

FIRST_DAY, SECOND_DAY = "2026-03-10", "2026-03-11"

DAYS = (
    FieldDay(
        FIRST_DAY,
        QUIET,
        (
            Walk("R1", 12.0 * 3600.0, (*_names(1, 13), "T1")),
            Walk("R2", 12.1 * 3600.0, (*_names(40, 28), "T3")),
        ),
        base_start_s=11.4 * 3600.0,
        base_end_s=19.5 * 3600.0,
    ),
    FieldDay(
        SECOND_DAY,
        STORMY,
        (
            Walk("R1", 12.0 * 3600.0, (*_names(14, 21), "T2"), item="radio"),
            Walk("R2", 12.1 * 3600.0, (*_names(27, 22), "L28")),
        ),
        base_start_s=11.4 * 3600.0,
        base_end_s=19.5 * 3600.0,
    ),
)

OUTAGES = (
    Outage("base gap", "B1", FIRST_DAY, 47880.0, 49080.0, "base battery changed"),
    Outage("position gap", "R1", FIRST_DAY, 46410.0, 46505.0, "antenna cable loose"),
    Outage("track gap", "R2", FIRST_DAY, 50220.0, 50330.0, "handheld lost its fix under trees"),
    Outage("dropout", "R2", SECOND_DAY, 45510.0, 45551.0, "sensor lost its signal"),
)


@dataclass(frozen=True)
class Scenario:
    """Everything that shapes the demo survey; change a field to make another trial."""

    name: str = "Arvelim dykes"
    purpose: str = (
        "An invented village looks for places to drill for water beside diabase dykes under soil."
    )
    crs: str = "EPSG:31982"
    latitude_deg: float = -24.9
    longitude_deg: float = -50.4
    epoch_year: float = 2026.19
    local_zone: str = "-03:00"
    local_offset_s: float = -10800.0

    line_count: int = 40
    line_spacing_m: float = 22.0
    line_length_m: float = 600.0
    line_azimuth_deg: float = 40.0
    ties_along_m: tuple[float, ...] = (60.0, 305.0, 530.0)
    tie_overrun_m: float = 8.0

    ground_m: float = 884.0
    ground_slope: float = 0.012
    hill_m: float = 13.0
    hill_along_m: float = 360.0
    hill_across_m: float = 520.0
    hill_width_m: float = 270.0
    geoid_m: float = 1.4

    rocks: tuple[Rock, ...] = ROCKS
    sought_rock: str = "diabase"
    boulders: Boulders = Boulders()
    fence: Fence = Fence()
    drum: Drum = Drum()

    rovers: tuple[Rover, ...] = (
        Rover("R1", "A. K.", own_positions=True, position_sd_m=1.0, height_sd_m=2.5, decimals=2),
        Rover(
            "R2",
            "J. M.",
            own_positions=False,
            position_sd_m=1.7,
            height_sd_m=4.0,
            decimals=1,
            clock_offset_s=18.0,
        ),
    )
    position_time_s: float = 90.0
    position_jitter_m: float = 0.12
    sensor_height_m: float = 1.8
    sensor_height_sd_m: float = 0.04

    base: str = "B1"
    base_along_m: float = -85.0
    base_across_m: float = 405.0
    base_height_m: float = 2.0
    base_noise_nT: float = 0.07
    base_interval_s: float = 60.0

    speed_m_s: float = 1.12
    speed_share_sd: float = 0.09
    speed_time_s: float = 25.0
    stops_per_line: float = 0.6
    stop_s: tuple[float, float] = (5.0, 32.0)
    wander_m: float = 0.9
    wander_time_s: float = 30.0
    overshoot_m: float = 4.0
    check_station_s: float = 90.0
    item_s: float = 90.0
    item_nT: float = 2.4
    check_station_offset_m: float = 14.0
    longest_recorded_walk_m: float = 60.0

    track_interval_s: tuple[int, int] = (2, 5)
    days: tuple[FieldDay, ...] = DAYS
    outages: tuple[Outage, ...] = OUTAGES
    spikes_each: int = 7
    spike_nT: tuple[float, float] = (18.0, 500.0)
    duplicates_each: int = 3

    def rover(self, name: str) -> Rover:
        """Return the rover of that name."""
        return next(rover for rover in self.rovers if rover.name == name)

    def line_ends(self, name: str) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return the two ends of a planned line, each along and across [m]."""
        number = int(name[1:]) - 1
        if name.startswith("T"):
            along = self.ties_along_m[number]
            far = (self.line_count - 1) * self.line_spacing_m + self.tie_overrun_m
            return (along, -self.tie_overrun_m), (along, far)
        across = number * self.line_spacing_m
        return (0.0, across), (self.line_length_m, across)

    def line_names(self) -> tuple[str, ...]:
        """Return the names of all planned lines, tie lines last."""
        return _names(1, self.line_count) + tuple(
            f"T{number + 1}" for number in range(len(self.ties_along_m))
        )

    def settings(self) -> dict[str, dict[str, Any]]:
        """Return the settings of the survey that differ from the defaults, by section."""
        instruments = {
            rover.name: {
                "text": f"Rover carried by {rover.carried_by}",
                "sensor_height_m": self.sensor_height_m,
            }
            for rover in self.rovers
        }
        instruments[self.base] = {
            "text": "Base, a reading a minute",
            "sensor_height_m": self.base_height_m,
        }
        return {
            "survey": {"name": self.name, "crs": self.crs, "purpose": self.purpose},
            "instruments": instruments,
            "body": self.target(),
            "plan": {"first_day": self.days[0].date, "sensor_height_m": self.sensor_height_m},
            "effort": {"rovers": len(self.rovers)},
        }

    def target(self) -> dict[str, Any]:
        """Return the first rock as what the survey seeks, in settings of a body."""
        rock = self.rocks[0]
        sizes = ("depth_m", "width_m", "length_m", "depth_extent_m", "strike_deg", "dip_deg")
        return {
            "kind": rock.kind,
            "rock": self.sought_rock,
            **{name: getattr(rock, name) for name in sizes},
        }
