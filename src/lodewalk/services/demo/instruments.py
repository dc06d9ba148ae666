"""What the instruments write down: rovers, handheld tracks and base, before any planted fault."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_geographic
from lodewalk.services.demo.field import FieldAt, World
from lodewalk.services.demo.noise import stream, wandering
from lodewalk.services.demo.scenario import FieldDay, Rover, Walk
from lodewalk.services.demo.walk import ITEM, Walked, walk
from lodewalk.validation import FloatArray

HEIGHT_JITTER = 2.0


@dataclass(frozen=True)
class Position:
    """Positions as a receiver gives them: in the survey's grid and on WGS84."""

    easting_m: FloatArray
    northing_m: FloatArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    height_m: FloatArray

    def at(self, rows: NDArray[np.int64]) -> "Position":
        """Return some of the positions."""
        return Position(**{name: part[rows] for name, part in vars(self).items()})


@dataclass(frozen=True)
class RoverRecord:
    """One rover's readings on one day: what it writes down, and the truth of each reading."""

    rover: Rover
    day: FieldDay
    walked: Walked
    easting_m: FloatArray
    northing_m: FloatArray
    height_m: FloatArray
    height_above_ground_m: FloatArray
    steady: FieldAt
    external_nT: FloatArray
    noise_nT: FloatArray
    field_nT: FloatArray
    quality: FloatArray
    received: Position
    satellites: FloatArray
    hdop: FloatArray


@dataclass(frozen=True)
class TrackRecord:
    """A handheld receiver's track of one day."""

    rover: Rover
    day: FieldDay
    time_s: FloatArray
    received: Position


@dataclass(frozen=True)
class BaseRecord:
    """The base's readings of one day, with the true change of the field."""

    day: FieldDay
    time_s: FloatArray
    external_nT: FloatArray
    field_nT: FloatArray


def record_walk(
    world: World, day: FieldDay, plan: Walk, *, change_nT: FloatArray
) -> tuple[RoverRecord, TrackRecord | None]:
    """Walk the lines and return the rover's readings and its handheld's track, if it has one.

    `change_nT` is the change of the field for each second of the UTC day.
    """
    rover = world.scenario.rover(plan.rover)
    walked = walk(world.scenario, day, plan, seed=world.seed)
    received = _received(world, rover, day, walked)
    readings = _readings(world, rover, day, walked, received, change_nT)
    if rover.own_positions:
        return readings, None
    rng = stream(world.seed, "track", day.date, rover.name)
    low, high = world.scenario.track_interval_s
    at = np.cumsum(rng.integers(low, high + 1, len(walked.time_s) // low))
    at = at[at < len(walked.time_s)]
    return readings, TrackRecord(rover, day, walked.time_s[at], received.at(at))


def _readings(
    world: World,
    rover: Rover,
    day: FieldDay,
    walked: Walked,
    received: Position,
    change_nT: FloatArray,
) -> RoverRecord:
    """Read the field wherever the rover records."""
    rng, rule = stream(world.seed, "sensor", day.date, rover.name), world.scenario
    rows = np.flatnonzero(walked.recorded)
    walked, count = walked.at(rows), len(rows)
    east, north = world.place.to_grid(walked.along_m, walked.across_m)
    above = rule.sensor_height_m + wandering(rng, count, sd=rule.sensor_height_sd_m, time_s=3.0)
    height = world.place.ground(walked.along_m, walked.across_m) + above
    steady = world.field_at(east, north, height)
    external = change_nT[(walked.time_s - day.midnight_s).astype(int)]
    noise = _sensor_noise(rover, walked, rng)
    noise += np.where(walked.line == ITEM, rule.item_nT, 0.0)
    total = steady.reference_nT + steady.anomaly_nT + external + noise
    sky = wandering(rng, count, sd=1.0, time_s=300.0)
    return RoverRecord(
        rover=rover,
        day=day,
        walked=walked,
        easting_m=east,
        northing_m=north,
        height_m=height,
        height_above_ground_m=above,
        steady=steady,
        external_nT=external,
        noise_nT=noise,
        field_nT=np.round(total, rover.decimals),
        quality=np.clip(0.97 + rng.normal(0.0, 0.008, count), 0.9, 1.0),
        received=received.at(rows),
        satellites=np.clip(np.round(12.5 - 1.6 * sky), 7, 18),
        hdop=np.clip(0.85 + 0.12 * sky, 0.6, 1.6),
    )


def _sensor_noise(rover: Rover, walked: Walked, rng: np.random.Generator) -> FloatArray:
    """Return sensor noise, the walker's motion, heading error and offset."""
    count = len(walked.time_s)
    steps = 0.7 * rng.normal(size=count) + wandering(rng, count, sd=0.7, time_s=2.0)
    turn = np.radians(walked.azimuth_deg - rover.heading_azimuth_deg)
    return np.asarray(
        rover.sensor_noise_nT * rng.normal(size=count)
        + rover.walking_noise_nT * np.where(walked.moving, steps, 0.0)
        + rover.heading_nT * np.cos(turn)
        + rover.offset_nT
    )


def _received(world: World, rover: Rover, day: FieldDay, walked: Walked) -> Position:
    """Return the position that the rover's receiver gives for each second."""
    rng, rule = stream(world.seed, "receiver", day.date, rover.name), world.scenario
    east, north = world.place.to_grid(walked.along_m, walked.across_m)
    height = world.place.ground(walked.along_m, walked.across_m) + rule.sensor_height_m

    def blurred(values: FloatArray, sd: float, jitter: float) -> FloatArray:
        slow = wandering(rng, len(values), sd=sd, time_s=rule.position_time_s)
        return values + slow + jitter * rng.normal(size=len(values))

    east = blurred(east, rover.position_sd_m, rule.position_jitter_m)
    north = blurred(north, rover.position_sd_m, rule.position_jitter_m)
    height = blurred(height, rover.height_sd_m, HEIGHT_JITTER * rule.position_jitter_m)
    longitude, latitude = to_geographic(east, north, crs=rule.crs)
    return Position(east, north, latitude, longitude, height)


def record_base(world: World, day: FieldDay, *, change_nT: FloatArray) -> BaseRecord:
    """Write down the base of one day."""
    rule = world.scenario
    rng = stream(world.seed, "base", day.date)
    second = np.arange(day.base_start_s, day.base_end_s, rule.base_interval_s)
    external = change_nT[second.astype(int)]
    total = world.base_total_field + external + rng.normal(0.0, rule.base_noise_nT, len(second))
    return BaseRecord(day, day.midnight_s + second, external, np.round(total, 2))


def on_track(world: World, track: TrackRecord, time_s: FloatArray) -> Position:
    """Return the straight-line position on a track at some times, NaN before and after it."""
    east, north, height = (
        np.interp(time_s, track.time_s, part, left=np.nan, right=np.nan)
        for part in (
            track.received.easting_m,
            track.received.northing_m,
            track.received.height_m,
        )
    )
    longitude, latitude = to_geographic(east, north, crs=world.scenario.crs)
    return Position(east, north, latitude, longitude, height)


def without(track: TrackRecord, *, start_s: float, end_s: float) -> TrackRecord:
    """Return a track without its points in a span of Unix time."""
    rows = np.flatnonzero((track.time_s < start_s) | (track.time_s > end_s))
    return replace(track, time_s=track.time_s[rows], received=track.received.at(rows))
