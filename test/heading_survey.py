"""A walked survey with a planted heading error, as files; made without lodewalk's own formulas.

Lines to and fro and tie lines over point sources, a reading a second, noise, positions that wander
by 0.3 m, a change of the field with time that the base reads, and a turn-around test beside the
lines. The level of the total field is 23 000 nT everywhere: what lodewalk takes off as reference
field is added again before anything is compared. Invented place and numbers.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import polars as pl
import ppigrf
from pyproj import Proj, Transformer
from scipy.signal import lfilter

from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from lodewalk.survey.store import read_product
from small_survey import CRS, SOUTH, START, WEST, diurnal, stamp

LEVEL_NT = 23_000.0
PACE_M_S = 1.1
FACINGS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


@dataclass(frozen=True)
class Gear:
    """Heading error of one operator: amplitudes [nT] and phases [deg from grid north]."""

    first_nT: float = 4.0
    second_nT: float = 1.0
    phases_deg: tuple[float, float] = (70.0, 20.0)

    def __call__(self, heading_deg):
        first, second = (np.radians(heading_deg - phase) for phase in self.phases_deg)
        return self.first_nT * np.cos(first) + self.second_nT * np.cos(2 * second)


NONE = Gear(0.0, 0.0)


@dataclass(frozen=True)
class Plan:
    """What is walked. `turn` is how the turn-around test tells its facings, empty for no test."""

    lines: int = 12
    ties: int = 3
    length_m: float = 300.0
    spacing_m: float = 25.0
    azimuth_deg: float = 30.0
    one_way: bool = False
    turn: str = "marks"
    gear: dict[str, Gear] = field(default_factory=lambda: {"R1": Gear()})
    noise_nT: float = 0.4
    residue_nT: float = 0.2
    geology_nT: float = 100.0
    crs: str = CRS
    corner: tuple[float, float] = (WEST, SOUTH)


@dataclass(frozen=True)
class Outcome:
    """What came out for the readings of the lines of one rover."""

    true_nT: np.ndarray
    geology_nT: np.ndarray
    found_nT: np.ndarray
    sd_nT: np.ndarray
    anomaly_nT: np.ndarray

    @property
    def left_nT(self):
        """Heading error left, against its mean over the readings [nT]."""
        error = self.found_nT - self.true_nT
        return error - error.mean()


def wandering(rng, count, *, sd, time_s):
    """Return noise that forgets itself within `time_s`, at 1 s."""
    keep = np.exp(-1.0 / time_s)
    steps = rng.normal(size=count) * np.sqrt(1 - keep**2)
    return sd * lfilter([1.0], [1.0, -keep], steps, zi=[keep * rng.normal()])[0]


def ways_of(plan):
    """Return name, start and end of each line in the order walked, along and across [m]."""
    width = (plan.lines - 1) * plan.spacing_m
    ways = []
    for n in range(plan.lines):
        ends = [(0.0, n * plan.spacing_m), (plan.length_m, n * plan.spacing_m)]
        ways.append((f"L{n}", *(ends if n % 2 == 0 or plan.one_way else ends[::-1])))
    for n in range(plan.ties):
        along = plan.length_m * (n + 1) / (plan.ties + 1)
        ends = [(along, -12.0), (along, width + 12.0)]
        ways.append((f"T{n}", *(ends if n % 2 == 0 or plan.one_way else ends[::-1])))
    return ways


def sources(rng, plan):
    """Return place, depth, tilt and sign of 50 point sources."""
    depth = np.exp(rng.uniform(*np.log([8.0, 60.0]), 50))
    along = rng.uniform(-50, plan.length_m + 50, 50)
    across = rng.uniform(-50, plan.lines * plan.spacing_m + 50, 50)
    return np.column_stack([along, across, depth, rng.uniform(-1, 1, 50), rng.normal(size=50)])


def ground(found, along, across):
    """Return the anomaly of point sources, not yet scaled."""
    value = np.zeros(np.shape(along))
    for x0, y0, depth, tilt, size in found:
        x, y = along - x0, across - y0
        value += size * depth**2 * (depth + tilt * x) / (x**2 + y**2 + depth**2) ** 1.5
    return value


def walked(rng, plan):
    """Return the readings of the lines: name, place along and across [m], heading [deg], time."""
    parts, time = [], 0.0
    for name, start, end in ways_of(plan):
        way = np.subtract(end, start)
        length = float(np.hypot(*way))
        share = np.arange(0.0, length, PACE_M_S) / length
        side = wandering(rng, share.size, sd=0.5, time_s=30.0)
        place = np.add(start, share[:, None] * way) + side[:, None] * [-way[1], way[0]] / length
        azimuth = plan.azimuth_deg + np.degrees(np.arctan2(way[1], way[0]))
        parts.append(
            pl.DataFrame(
                {
                    "line": [name] * share.size,
                    "along": place[:, 0],
                    "across": place[:, 1],
                    "heading": np.full(share.size, azimuth),
                    "time": time + np.arange(share.size, dtype=float),
                }
            )
        )
        time += share.size + 60.0
    return pl.concat(parts)


def magnetic_north(plan):
    """Return the direction of magnetic north, clockwise from grid north, by other libraries."""
    place = Transformer.from_crs(plan.crs, "EPSG:4326", always_xy=True).transform(*plan.corner)
    east, north, _ = ppigrf.igrf(*place, 0.0, START.replace(tzinfo=None))
    declination = float(np.degrees(np.arctan2(east, north)).ravel()[0])
    return declination - Proj(plan.crs).get_factors(*place).meridian_convergence


def turn_around(plan, begin, *, stand_s=12):
    """Return a turn-around test beside the lines: marks, places, headings, times."""
    if plan.turn in ("marks", "list", "bare"):
        number = np.repeat(np.arange(8), stand_s)
        names = {
            "marks": [f"turn-around {FACINGS[n]}" for n in number],
            "list": [f"turn-around {' '.join(FACINGS)}"] * number.size,
            "bare": ["turn-around"] * number.size,
        }[plan.turn]
        heading = 45.0 * number + magnetic_north(plan)
        place = np.tile([-80.0, -80.0], (number.size, 1))
    else:
        legs = []
        for turn in np.radians([0.0, 180.0, 90.0, 270.0, 45.0, 225.0, 135.0, 315.0]):
            along = np.arange(-15.0, 15.1, PACE_M_S)
            legs.append(np.outer(along, [np.cos(turn), np.sin(turn)]) - 80.0)
        place = np.concatenate(legs)
        degrees = np.repeat([0.0, 180.0, 90.0, 270.0, 45.0, 225.0, 135.0, 315.0], len(legs[0]))
        heading, names = degrees + plan.azimuth_deg, ["turn-around"] * len(place)
    return pl.DataFrame(
        {
            "line": names,
            "along": place[:, 0],
            "across": place[:, 1],
            "heading": heading,
            "time": begin + np.arange(len(place), dtype=float),
        }
    )


def made(seed, plan):
    """Return for each rover its readings with what is true of them."""
    rng = np.random.default_rng(seed)
    found = sources(rng, plan)
    scale, rovers = None, {}
    for number, (name, gear) in enumerate(plan.gear.items()):
        frame = walked(rng, plan)
        if number:  # each rover has its own ground, further along
            frame = frame.with_columns(pl.col("line") + name)
        if plan.turn:
            frame = pl.concat([frame, turn_around(plan, float(frame["time"].max()) + 90.0)])
        along, across = frame["along"].to_numpy(), frame["across"].to_numpy()
        value = ground(found, along, across)
        test = frame["line"].str.starts_with("turn").to_numpy()
        scale = scale or plan.geology_nT / value[~test].std()
        value = np.where(test, 0.0, scale * value)
        swing = frame["heading"].to_numpy() + wandering(rng, along.size, sd=2.0, time_s=5.0)
        truth = gear(swing)
        reading = LEVEL_NT + value + truth + diurnal(frame["time"].to_numpy())
        reading += wandering(rng, along.size, sd=plan.residue_nT, time_s=600.0)
        reading += plan.noise_nT * rng.normal(size=along.size)
        seen = [part + wandering(rng, along.size, sd=0.3, time_s=90.0) for part in (along, across)]
        turn = np.radians(plan.azimuth_deg)
        rovers[name] = frame.with_columns(
            easting=plan.corner[0] + seen[0] * np.sin(turn) + seen[1] * np.cos(turn) + 900 * number,
            northing=plan.corner[1] + seen[0] * np.cos(turn) - seen[1] * np.sin(turn),
            reading=reading,
            geology=value,
            true=truth,
        )
    return rovers


def write(folder: Path, seed: int, plan: Plan, settings: str = ""):
    """Make the survey folder; return it and what is true."""
    rovers = made(seed, plan)
    new_survey(folder / "survey", name="Heading", crs=plan.crs)
    path = folder / "survey"
    text = (path / "survey.toml").read_text()
    (path / "survey.toml").write_text(text.replace("\n[heading]\n", f"\n[heading]\n{settings}\n"))
    for name, frame in rovers.items():
        rows = [
            f"{stamp(t)},{e:.2f},{n:.2f},{line},{value:.3f}"
            for t, e, n, line, value in frame.select(
                "time", "easting", "northing", "line", "reading"
            ).iter_rows()
        ]
        source = folder / f"{name}.csv"
        source.write_text(
            "\n".join(["time_utc,easting,northing,line,total_field_nT", *rows]) + "\n"
        )
        add_files(open_folder(path), [source], role="rover", instrument=name)
    last = max(float(frame["time"].max()) for frame in rovers.values())
    times = np.arange(-900.0, last + 900.0, 10.0)
    base = [f"{stamp(t)},{22_950 + diurnal(t):.3f}" for t in times]
    (folder / "base.csv").write_text("\n".join(["time_utc,total_field_nT", *base]) + "\n")
    add_files(open_folder(path), [folder / "base.csv"], role="base", instrument="B1")
    return open_folder(path), rovers


def outcomes(folder: Path, seed: int, plan: Plan | None = None, settings: str = ""):
    """Return the survey folder after the run, and the outcome for each rover."""
    plan = plan or Plan()
    folder.mkdir(exist_ok=True)
    survey, rovers = write(folder, seed, plan, settings)
    run(survey, to="readings")
    readings = read_product(survey, "readings").frame
    found = {}
    for name, frame in rovers.items():
        own = readings.filter(pl.col("instrument") == name)
        line = own["line"].is_not_null().to_numpy() & own["kept"].to_numpy()
        anomaly = (own["anomaly_nT"] + own["reference_nT"]).to_numpy()
        found[name] = Outcome(
            plan.gear[name](frame["heading"].to_numpy())[line],
            frame["geology"].to_numpy()[line],
            own["heading_nT"].to_numpy()[line],
            own["sd_heading_nT"].to_numpy()[line],
            anomaly[line],
        )
    return survey, found
