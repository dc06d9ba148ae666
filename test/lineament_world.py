"""Dyke swarms with faults: bodies, readings along lines, their grid and its total gradient."""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from scipy.ndimage import distance_transform_edt, map_coordinates

from lodewalk.methods.bodies.anomaly import (
    ambient_vector,
    induced_magnetisation,
    projected_anomaly,
)
from lodewalk.methods.bodies.prism import block_field, dipping_block
from lodewalk.methods.gridding.interface import grid_readings, region_for, suggest_spacing


@dataclass(frozen=True)
class Piece:
    """A piece of a dyke: middle of its top's line, strike, length, and the dyke it belongs to."""

    east: float
    north: float
    strike: float
    length: float
    depth: float
    width: float
    dip: float
    dyke: int

    @property
    def ends(self):
        turn = np.radians(self.strike)
        half = self.length / 2 * np.array([np.sin(turn), np.cos(turn)])
        middle = np.array([self.east, self.north])
        return middle - half, middle + half


@dataclass(frozen=True)
class World:
    """A square of ground with pieces of dykes, and the offsets where they are broken.

    `offsets` are (dyke, offset, easting, northing): positive to the right of the strike.
    """

    side: float
    pieces: tuple
    offsets: tuple = ()
    inclination: float = -35.0
    declination: float = -20.0
    strength: float = 23000.0
    susceptibility: float = 0.03


def swarm(seed, *, spacing, side=800.0, dykes=5, faults=2, inclination=-35.0, offset=(2.0, 5.0)):
    """Return a swarm of roughly parallel dykes, some broken by an offset, lines running north.

    Dykes lie at least three line spacings apart, tops half to one and a half spacings below the
    sensor; `offset` bounds the offsets in line spacings.
    """
    rng = np.random.default_rng(seed)
    main = rng.uniform(50.0, 130.0)
    turn = np.radians(main)
    right = np.array([np.cos(turn), -np.sin(turn)])
    along = np.array([np.sin(turn), np.cos(turn)])
    room = max((side - 6 * spacing) / dykes, 3.5 * spacing)
    pieces, offsets = [], []
    broken = set(rng.choice(dykes, size=min(faults, dykes), replace=False).tolist())
    for number in range(dykes):
        off = (number - (dykes - 1) / 2) * room + rng.uniform(-0.12, 0.12) * room
        strike = main + rng.uniform(-5, 5)
        kind = {
            "strike": strike,
            "depth": rng.uniform(0.5, 1.5) * spacing,
            "width": rng.uniform(0.15, 0.6) * spacing,
            "dip": rng.uniform(60, 120),
            "dyke": number,
        }
        middle = np.array([side / 2, side / 2]) + off * right
        own = np.radians(strike)
        ahead, aside = (np.array([np.sin(own), np.cos(own)]), np.array([np.cos(own), -np.sin(own)]))
        if number in broken:
            at, gap = rng.uniform(-0.15, 0.15) * side, rng.uniform(0.0, 1.0) * spacing
            size = rng.uniform(*offset) * spacing * rng.choice([-1, 1])
            size = float(np.sign(size) * min(abs(size), max(0.45 * room, offset[0] * spacing)))
            for sign in (-1, 1):
                length = side * 1.6 / 2
                where = middle + (at + sign * (gap + length) / 2) * ahead + sign * size / 2 * aside
                pieces.append(Piece(*where, length=length, **kind))
            offsets.append((number, size, *(middle + at * ahead)))
        else:
            length = rng.uniform(0.4, 1.4) * side
            where = middle + rng.uniform(-0.2, 0.2) * side * along
            pieces.append(Piece(*where, length=length, **kind))
    return World(side, tuple(pieces), tuple(offsets), inclination=inclination)


def anomaly(world, east, north):
    """Return the projected anomaly of all pieces and boulders at points at height zero."""
    ambient = ambient_vector(
        strength_nT=world.strength, inclination_deg=world.inclination,
        declination_deg=world.declination,
    )  # fmt: skip
    induced = induced_magnetisation(ambient, susceptibility=world.susceptibility)
    total = np.zeros(np.shape(east))
    for piece in world.pieces:
        corners = dipping_block(
            centre=[piece.east, piece.north, -piece.depth], length_m=piece.length,
            width_m=piece.width, strike_deg=piece.strike, dip_deg=piece.dip, depth_extent_m=400.0,
        )  # fmt: skip
        field_ = block_field(
            east, north, np.zeros(np.shape(east)), corners=corners, magnetisation=induced
        )
        total = total + projected_anomaly(field_, ambient_nT=ambient)
    return total


def walked(world, *, spacing, noise, level=0.0, step=1.5, seed=0, extra=None):
    """Return easting, northing, anomaly and passage of readings on lines that run north."""
    rng = np.random.default_rng([seed, 77])
    lines = np.arange(0.0, world.side + 0.1, spacing)
    north = np.arange(0.0, world.side + 0.1, step)
    east_all = np.repeat(lines, north.size) + rng.normal(0, 0.3, lines.size * north.size)
    north_all = np.tile(north, lines.size)
    passage = np.repeat(np.arange(lines.size), north.size)
    value = anomaly(world, east_all, north_all) if world.pieces else np.zeros(east_all.size)
    if extra is not None:
        value = value + extra(east_all, north_all)
    value = value + rng.normal(0, noise, value.size) + rng.normal(0, level, lines.size)[passage]
    return east_all, north_all, value, passage


def gridded(readings, *, spacing, method="minimum curvature"):
    """Return the grid of readings: values, west, south and node spacing."""
    east, north, value, _ = readings
    node = suggest_spacing(spacing)
    region = region_for(east, north, spacing_m=node, reach_m=spacing)
    chosen = {"damping_m2": 1e-4 * spacing**2} if method == "minimum curvature" else {}
    values = grid_readings(
        east, north, value, west_m=region.west_m, south_m=region.south_m, shape=region.shape,
        spacing_m=node, reach_m=spacing, method=method, **chosen,
    )  # fmt: skip
    return values, region.west_m, region.south_m, node


def total_gradient(values, node):
    """Return the size of the gradient of a grid, its vertical part by Fourier transform."""
    known = np.isfinite(values)
    index = distance_transform_edt(~known, return_distances=False, return_indices=True)
    filled = values[tuple(index)] - np.median(values[known])
    pad = 40
    padded = np.pad(filled, pad, mode="reflect", reflect_type="even")
    north = 2 * np.pi * scipy.fft.fftfreq(padded.shape[0], node)[:, None]
    east = 2 * np.pi * scipy.fft.fftfreq(padded.shape[1], node)[None, :]
    spectrum = scipy.fft.fft2(padded)
    parts = [
        scipy.fft.ifft2(spectrum * gain).real
        for gain in (1j * north, 1j * east, np.hypot(north, east))
    ]
    size = np.sqrt(sum(part**2 for part in parts))[pad:-pad, pad:-pad]
    return np.where(known, size, np.nan)


def soil(seed, *, depth, side, size=5.0):
    """Return a rough field as a function of place: a white layer at a depth, of sd `size`."""
    rng = np.random.default_rng([seed, 5])
    count = 512
    cell = side * 1.2 / count
    north = 2 * np.pi * np.fft.fftfreq(count, cell)[:, None]
    east = 2 * np.pi * np.fft.rfftfreq(count, cell)[None]
    wave = np.hypot(north, east)
    made = np.fft.irfft2(
        np.fft.rfft2(rng.normal(size=(count, count))) * wave * np.exp(-wave * depth)
    )
    made *= size / made.std()
    margin = side * 0.06
    return lambda e, n: map_coordinates(
        made, [(n + margin) / cell, (e + margin) / cell], order=1, mode="wrap"
    )


def boulders(seed, *, side, count=200):
    """Return the field of boulders: small spheres 2 to 5 m below the sensor, along the field."""
    rng = np.random.default_rng([seed, 6])
    east, north = rng.uniform(0, side, (2, count))
    depth, size = rng.uniform(2.5, 5.0, count), rng.uniform(5.0, 60.0, count)
    dip = np.radians(-35.0)

    def field_(e, n):
        total = np.zeros(np.shape(e))
        for x, y, d, a in zip(east, north, depth, size, strict=True):
            square = (e - x) ** 2 + (n - y) ** 2 + d**2
            along = ((n - y) * np.cos(dip) - d * np.sin(dip)) / np.sqrt(square)
            total += a * d**3 * (3 * along**2 - 1) / (2 * square**1.5)
        return total

    return field_
