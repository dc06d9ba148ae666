"""Profiles over known bodies with noise and neighbours, for judging depths.

The fields are made with other formulas than those that are fitted: charged sides of polygons for
long bodies, dipoles for spheres. Bodies reach down a hundred depths, contacts as far to the side.
"""

from dataclasses import dataclass, replace

import numpy as np

from lodewalk.methods.bodies import dipole_field, polygon_field
from lodewalk.methods.depth import noise_covariance
from lodewalk.methods.inversion.models import shape_curves
from lodewalk.methods.inversion.results import Noise, Profile

KINDS = ("thin sheet", "dyke", "contact", "cylinder", "sphere", "finite dyke")


@dataclass(frozen=True)
class Ranges:
    """From what the bodies and the noise are drawn; lengths in depths, noise in peak to peak."""

    depth_m: tuple[float, float] = (8.0, 40.0)
    spacing: tuple[float, float] = (0.12, 0.3)
    half_window: tuple[float, float] = (6.0, 10.0)
    half_width: tuple[float, float] = (0.5, 2.5)
    noise: tuple[float, float] = (0.005, 0.03)
    correlated: tuple[float, float] = (0.2, 0.8)
    length: tuple[float, float] = (0.5, 1.5)
    neighbours: tuple[float, ...] = (0.35, 0.4, 0.25)


#: Apart from the ranges that judge: depths, widths and noise of their own.
CALIBRATION = Ranges(
    depth_m=(3.0, 7.5), spacing=(0.1, 0.25), half_window=(6.5, 9.0), half_width=(0.6, 2.0),
    noise=(0.003, 0.02), correlated=(0.3, 0.7), length=(0.4, 1.2), neighbours=(0.3, 0.5, 0.2),
)  # fmt: skip
JUDGING = Ranges()


@dataclass(frozen=True)
class Beside:
    """A dyke beside the body: its place, depth and anomaly."""

    place_m: float
    depth_m: float
    clean_nT: np.ndarray


@dataclass(frozen=True)
class Case:
    """A profile with its truth; the depth of a cylinder or sphere is that of its middle."""

    kind: str
    profile: Profile
    noise: Noise
    depth_m: float
    half_width_m: float
    bottom_m: float
    about_m: float
    beside: tuple["Beside", ...]
    clean_nT: np.ndarray

    @property
    def neighbours(self) -> int:
        """How many bodies lie beside it."""
        return len(self.beside)


def section(kind: str, depth: float, half: float, bottom: float, dip: float) -> np.ndarray:
    """Return the corners of a long body whose top's middle, or edge, is at distance zero."""
    shift = (bottom - depth) / np.tan(dip)
    if kind == "contact":
        far = 1e4 * depth
        top, low = (0.0, far), (shift, far)
    else:
        top, low = (-half, half), (shift - half, shift + half)
    return np.array([[top[0], depth], [top[1], depth], [low[1], bottom], [low[0], bottom]])


def field_of(rng, kind, distance, rise, depth, half, bottom):
    """Return the anomaly of a body of some dip in some field [nT], of no set size."""
    inclination, azimuth = rng.uniform(-90, 90), rng.uniform(0, 360)
    down = np.sin(np.radians(inclination))
    along = np.cos(np.radians(inclination)) * np.cos(np.radians(azimuth))
    turn = np.radians(rng.uniform(0, 360))
    if kind == "sphere":
        across = np.sqrt(max(1.0 - down**2 - along**2, 0.0))
        moment = rng.normal(size=3)
        north, east, low = dipole_field(
            distance * 0.0, distance, rise, centre=[0.0, 0.0, -depth], moment=moment
        )
        return north * along + east * across + low * down
    if kind == "cylinder":
        corners = half * np.exp(2j * np.pi * np.arange(48) / 48)
        corners = np.stack([corners.real, depth + corners.imag], axis=1)
    else:
        corners = section(kind, depth, half, bottom, np.radians(rng.uniform(45, 135)))
    if kind == "finite dyke":
        corners = section(kind, depth, half, bottom, np.radians(90.0))
    parts = polygon_field(
        distance, -rise, corners=corners, magnetisation_along=np.cos(turn),
        magnetisation_down=np.sin(turn),
    )  # fmt: skip
    size = np.hypot(along, down) + 1e-9
    return (parts[0] * along + parts[1] * down) / size


def size_of(rng, kind, depth, ranges):
    """Return half width and bottom of a body of a kind."""
    half = depth * rng.uniform(*ranges.half_width)
    bottom = 1000.0 * depth
    if kind == "thin sheet":
        half = depth * rng.uniform(0.01, 0.1)
    if kind == "cylinder":
        half = depth * rng.uniform(0.1, 0.6)
    if kind == "finite dyke":
        bottom = depth * rng.uniform(2.0, 5.0)
    return half, bottom


def draw(seed: int, kind: str, ranges: Ranges = JUDGING) -> Case:
    """Return a case of a kind, as its seed draws it."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    depth = rng.uniform(*ranges.depth_m)
    half, bottom = size_of(rng, kind, depth, ranges)
    reach = depth * rng.uniform(*ranges.half_window) + (half if "dyke" in kind else 0.0)
    step = depth * rng.uniform(*ranges.spacing)
    distance = np.sort(np.arange(-reach, reach, step) + 0.2 * step * rng.uniform(-1, 1))
    count = np.arange(-reach, reach, step).size
    distance = np.arange(-reach, reach, step) + 0.2 * step * rng.uniform(-1, 1, count)
    rise = 0.02 * depth * np.cumsum(rng.normal(size=count)) / np.sqrt(count)
    rise -= np.median(rise)
    clean = field_of(rng, kind, distance, rise, depth, half, bottom)
    clean = 200.0 * clean / np.ptp(clean)
    neighbours = int(rng.choice(3, p=ranges.neighbours))
    beside = []
    for _ in range(neighbours):
        away = rng.choice([-1, 1]) * rng.uniform(0.6, 1.05) * reach
        deep = depth * rng.uniform(0.6, 1.5)
        other = field_of(
            rng, "dyke", distance - away, rise, deep, deep * rng.uniform(0.05, 0.6), 1e3 * deep
        )
        size = 200.0 * rng.uniform(0.1, 0.5) / np.ptp(other)
        beside.append(Beside(away, deep, size * other))
    level = 200.0 * rng.uniform(*ranges.noise)
    share = rng.uniform(*ranges.correlated)
    noise = Noise(1.0, level * np.sqrt(share), depth * rng.uniform(*ranges.length))
    sd = level * np.sqrt(1 - share) * np.ones(count)
    bare = Profile(distance, clean, rise, sd)
    error = np.linalg.cholesky(noise_covariance(bare, noise)) @ rng.normal(size=count)
    slope = 200.0 * rng.uniform(-0.1, 0.1) * distance / reach
    total = clean + sum(other.clean_nT for other in beside)
    profile = Profile(distance, total + slope + error, rise, sd)
    about = 0.3 * depth * rng.uniform(-1, 1)
    return Case(kind, profile, noise, depth, half, bottom, about, tuple(beside), clean)


def floor(case: Case, *, beside: bool = False) -> float:
    """Return the Cramer-Rao floor of the depth, level and slope free [m].

    From the formulas of the kind by central differences of the curves, best strength and index;
    with the bodies `beside` free too, as the thin sheets that they nearly are, or without them.
    """
    shape = {
        "thin sheet": [0.0, case.depth_m],
        "dyke": [0.0, case.depth_m, case.half_width_m**2],
        "finite dyke": [0.0, case.depth_m, case.half_width_m**2, case.bottom_m, 90.0],
    }.get(case.kind, [0.0, case.depth_m])
    distance = case.profile.distance_m
    trend = np.stack([np.ones(distance.size), distance / np.ptp(distance)])
    rows, columns = sensitivities(case, case.kind, shape, case.clean_nT)
    parts = [rows, columns, trend]
    for other in case.beside if beside else ():
        sheet = [other.place_m, other.depth_m]
        parts += sensitivities(case, "thin sheet", sheet, other.clean_nT)
    jacobian = np.concatenate(parts).T
    factor = np.linalg.cholesky(noise_covariance(case.profile, case.noise))
    white = np.linalg.solve(factor, jacobian)
    size = np.sqrt((white**2).sum(axis=0))
    inverse = np.linalg.inv((white / size).T @ (white / size)) / np.outer(size, size)
    return float(np.sqrt(inverse[1, 1]))


def sensitivities(case, kind, shape, clean):
    """Return the change of a body's curve with its shape but a dip, and with its weights."""
    distance, rise = case.profile.distance_m, case.profile.rise_m
    shape = np.array(shape)
    columns, _ = shape_curves(kind, distance, rise, shape, slopes=False)
    trend = np.stack([np.ones(distance.size), distance / np.ptp(distance)])
    weights = np.linalg.lstsq(np.concatenate([columns, trend]).T, clean)[0][: len(columns)]
    rows = []
    for number in range(min(shape.size, 4)):
        step = 1e-4 * max(abs(shape[number]), 1e-2 * case.depth_m)
        ends = []
        for side in (-1, 1):
            moved = shape.copy()
            moved[number] += side * step
            curves, _ = shape_curves(kind, distance, rise, moved, slopes=False)
            ends.append(weights @ curves)
        rows.append((ends[1] - ends[0]) / (2 * step))
    return np.array(rows), columns


def survey(seed: int, ranges: Ranges = JUDGING, profiles: int = 6) -> list[Case]:
    """Return profiles over long bodies of one survey: like depths, and one noise for all."""
    rng = np.random.default_rng([seed, len(KINDS)])
    parts = (ranges.depth_m, ranges.noise, ranges.correlated, ranges.length)
    depth, noise, share, length = (rng.uniform(*ends) for ends in parts)
    own = replace(
        ranges, depth_m=(0.8 * depth, 1.2 * depth), noise=(noise, noise),
        correlated=(share, share), length=(length, length),
    )  # fmt: skip
    return [draw(10 * seed + k, KINDS[k % 3], own) for k in range(profiles)]


def end_member(seed: int, kind: str) -> Case:
    """Return an isolated end member with white noise of at most one per cent."""
    bare = Ranges(noise=(0.001, 0.01), correlated=(0.0, 0.0), neighbours=(1.0, 0.0, 0.0))
    if kind == "wide dyke":
        return draw(seed, "dyke", _with_width(bare, (2.5, 4.0)))
    if kind == "dyke as wide as deep":
        return draw(seed, "dyke", _with_width(bare, (0.4, 0.9)))
    return draw(seed, kind, bare)


def _with_width(ranges: Ranges, half_width: tuple[float, float]) -> Ranges:
    return replace(ranges, half_width=half_width)
