"""Compact bodies, alone and disturbed, under a window of a grid or of lines, with known truth.

All lengths are in depths of the main body's centre, which is 10 m below the sensor. Bodies are
blocks, upright and turned, or ellipsoids of any attitude made of small dipoles: neither is what
the fit assumes. Invented.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import special_ortho_group

from lodewalk.methods.bodies import ambient_vector, dipole_field, exact_anomaly, polyhedron_field
from lodewalk.methods.bodies.prism import BLOCK_FACES
from lodewalk.methods.inversion import Noise

DEPTH_M = 10.0
#: Kinds of disturbance.
DISTURBED = ("neighbour", "long", "edge")


@dataclass(frozen=True)
class World:
    """A window's nodes with their anomaly, and the truth."""

    east: np.ndarray
    north: np.ndarray
    values: np.ndarray
    spacing: float
    ambient: np.ndarray
    sd: float
    noise: Noise
    direction: np.ndarray
    centre: np.ndarray


def direction(rng):
    """Return a direction drawn evenly from all."""
    vector = rng.normal(size=3)
    return vector / np.linalg.norm(vector)


def block(rng, places, centre, half, own):
    """Return the field of an upright block, turned by any azimuth."""
    turn = rng.uniform(0.0, np.pi)
    turned = np.array(
        [[np.cos(turn), np.sin(turn), 0.0], [-np.sin(turn), np.cos(turn), 0.0], [0.0, 0.0, 1.0]]
    )
    signs = [(*side, up) for up in (1, -1) for side in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    corners = np.array(signs) * half @ turned + centre
    return np.array(
        polyhedron_field(*places, corners=corners, faces=BLOCK_FACES, magnetisation=own)
    )


def ellipsoid(rng, places, centre, half, own, *, long=False):
    """Return the field of an ellipsoid of 120 dipoles; a long one dips 30 degrees or less."""
    inner = rng.normal(size=(60, 3))
    inner *= rng.uniform(size=(60, 1)) ** (1 / 3) / np.linalg.norm(inner, axis=1)[:, None]
    attitude = special_ortho_group.rvs(3, random_state=rng)
    while long and abs(attitude[0, 2]) > 0.5:
        attitude = special_ortho_group.rvs(3, random_state=rng)
    dipoles = np.vstack([inner, -inner]) * half @ attitude + centre
    dipoles[:, 2] = np.minimum(dipoles[:, 2], -0.2 * DEPTH_M)
    parts = [dipole_field(*places, centre=place, moment=own) for place in dipoles]
    return np.sum(parts, axis=0) * 4.0 / 3.0 * np.pi * half.prod() / 120.0


def body(rng, places, centre, own, *, long=False):
    """Return the field of one body, a block or an ellipsoid."""
    aspect = rng.uniform(0.7, 1.4, 3)
    half = rng.uniform(0.2, 0.5) * -centre[2] * aspect / aspect.max()
    if long:
        half = rng.uniform(0.2, 0.35) * -centre[2] * np.array([rng.uniform(3.0, 8.0), 1.0, 1.0])
    if rng.random() < 0.5:
        return block(rng, places, centre, half, own)
    return ellipsoid(rng, places, centre, half, own, long=long)


def beside(rng, places, centre, own, unit):
    """Return a body with another beside it, 0.3 to 1 times as strong, 1 to 3 depths away."""
    main = body(rng, places, centre, own)
    turn, away = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(1.0, 3.0) * DEPTH_M
    place = [
        centre[0] + away * np.cos(turn),
        centre[1] + away * np.sin(turn),
        -rng.uniform(0.6, 1.6) * DEPTH_M,
    ]
    other = body(rng, places, np.array(place), direction(rng))
    size = [np.abs(np.tensordot(unit, field, 1)).max() for field in (main, other)]
    return main + other * rng.uniform(0.3, 1.0) * size[0] / size[1]


def compact_world(seed, kind="alone", *, signal=(20.0, 200.0), dip=(0.0, 90.0), half=None):
    """Return a window over a body that is alone or disturbed in one way.

    `signal` is the range of the largest anomaly over the sd of a node's noise, `dip` that of the
    ambient field's inclination, either way.
    """
    rng = np.random.default_rng(seed)
    ambient = ambient_vector(
        strength_nT=rng.uniform(25e3, 65e3),
        inclination_deg=float(rng.uniform(*dip) * rng.choice([-1, 1])),
        declination_deg=float(rng.uniform(-180.0, 180.0)),
    )
    unit = ambient / np.linalg.norm(ambient)
    width = (half or rng.uniform(2.2, 4.0)) * DEPTH_M
    axis = np.linspace(-width, width, int(rng.integers(25, 42)))
    east, north = np.meshgrid(axis, axis)
    places = (east, north, np.zeros(east.shape))
    centre = np.array([*rng.uniform(-0.5, 0.5, 2) * DEPTH_M, -DEPTH_M])
    if kind == "edge":
        off = rng.uniform(width - 0.8 * DEPTH_M, width + 0.3 * DEPTH_M) * rng.choice([-1, 1])
        centre[:2] = rng.permutation([off, rng.uniform(-0.7, 0.7) * width])
    own = direction(rng)
    if kind == "neighbour":
        field = beside(rng, places, centre, own, unit)
    else:
        field = body(rng, places, centre, own, long=kind == "long")
    size = rng.uniform(100.0, 800.0)
    field *= size / np.abs(np.tensordot(unit, field, 1)).max()
    sd = size / np.exp(rng.uniform(*np.log(signal)))
    shared = float(rng.choice([0.0, 0.6]))
    noise = Noise(1.0, shared * sd, float(rng.uniform(0.2, 1.0)) * DEPTH_M)
    white = float(np.sqrt(1.0 - shared**2)) * sd
    values = exact_anomaly(tuple(field), ambient_nT=ambient) + rng.normal(0.0, white, east.shape)
    if shared:
        apart = np.hypot(*(part.ravel()[:, None] - part.ravel() for part in (east, north)))
        root = np.linalg.cholesky(np.exp(-apart / noise.length_m) + 1e-9 * np.eye(east.size))
        values += shared * sd * (root @ rng.normal(size=east.size)).reshape(east.shape)
    values += rng.normal(0.0, 0.5) * size + rng.normal(0.0, 0.05) * size * east / width
    return World(east, north, values, float(axis[1] - axis[0]), ambient, white, noise, own, centre)
