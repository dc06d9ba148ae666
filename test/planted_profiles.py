"""Profiles over planted dykes and contacts, by the closed forms of `methods.bodies`."""

from dataclasses import dataclass

import numpy as np

from lodewalk.methods.bodies.dyke import index_dyke_anomaly
from lodewalk.methods.inversion.results import Noise, Profile

#: A contact is a dyke whose other edge lies this many depths away.
FAR = 1e6


@dataclass(frozen=True)
class Planted:
    """A profile with its truth: kind, depth, width (infinite for a contact), noise."""

    profile: Profile
    noise: Noise
    kind: str
    depth_m: float
    width_m: float
    position_m: float
    angle_deg: float
    share: float


def body_curve(x, rise, *, kind, depth, width, angle):
    """Return the anomaly of a body of amplitude 1 at x = 0, at the sensor's own height."""
    turn = np.radians(angle)
    if kind == "contact":
        # the edge of a half space: an arctangent and a logarithm
        y = depth + rise
        return -np.arctan2(y, x) * np.cos(turn) + 0.5 * np.log(x**2 + y**2) * np.sin(turn)
    return np.array([
        float(index_dyke_anomaly(at, depth_m=depth + up, half_width_m=width / 2.0,
                                 amplitude_nT=1.0, index_angle_deg=angle))
        for at, up in zip(x, rise, strict=True)
    ])  # fmt: skip


def correlated(rng, x, sd, length):
    """Return an error of sd that falls off as exp(-distance / length)."""
    apart = np.abs(x[:, None] - x)
    root = np.linalg.cholesky(sd**2 * np.exp(-apart / length) + 1e-12 * sd**2 * np.eye(x.size))
    return root @ rng.normal(size=x.size)


def planted(seed, *, kind=None, share=None, white=None, relief=True):
    """Return a profile over a body drawn by chance.

    Kinds are drawn alike, widths even in their logarithm from 0.05 to 1 of the depth for a
    thin sheet and from 1 to 5 for a dyke, noise from 0.3 to 10 % of the anomaly's range, half the
    profiles with a shared error.
    """
    rng = np.random.default_rng(seed)
    kind = kind or str(rng.choice(["thin sheet", "dyke", "contact"]))
    depth = float(np.exp(rng.uniform(np.log(3.0), np.log(60.0))))
    low, high = {"thin sheet": (0.05, 1.0), "dyke": (1.0, 5.0), "contact": (1.0, 1.0)}[kind]
    width = depth * float(np.exp(rng.uniform(np.log(low), np.log(high))))
    half = depth * rng.uniform(4.0, 9.0) + (width / 2.0 if kind == "dyke" else 0.0)
    spacing = depth * rng.uniform(0.1, 0.4)
    x = np.arange(-half, half, spacing)
    x = x + rng.uniform(-0.2, 0.2, x.size) * spacing
    place = depth * rng.uniform(-1.0, 1.0)
    rise = depth * 0.05 * np.sin(x / (2.0 * depth) + rng.uniform(0, 6.28)) * relief
    angle = float(rng.uniform(-180.0, 180.0))
    curve = body_curve(x - place, rise, kind=kind, depth=depth, width=width, angle=angle)
    curve = curve * 200.0 / np.ptp(curve)
    share = share or float(np.exp(rng.uniform(np.log(0.003), np.log(0.1))))
    white = rng.random() < 0.5 if white is None else white
    sd = 200.0 * share
    noise, length = Noise(), depth * rng.uniform(0.3, 2.0)
    errors = rng.normal(0.0, sd, x.size)
    own = sd
    if not white:
        own = 0.6 * sd
        noise = Noise(1.0, 0.8 * sd, length)
        errors = rng.normal(0.0, own, x.size) + correlated(rng, x, 0.8 * sd, length)
    level = rng.normal(0.0, 100.0) + rng.normal(0.0, 0.3) * x
    profile = Profile(x, curve + errors + level, rise, np.full(x.size, own))
    width = np.inf if kind == "contact" else width
    return Planted(profile, noise, kind, depth, width, place, angle, share)


JOINT_X = np.arange(-60.0, 60.0, 2.5)


def across(rng, *, depth=10.0, width=12.0, angle=-40.0, share=0.03):
    """Return a profile over a dyke, of any amplitude, place and level: white noise."""
    curve = index_dyke_anomaly(JOINT_X - rng.uniform(-8.0, 8.0), depth_m=depth,
                               half_width_m=width / 2.0, amplitude_nT=rng.uniform(50.0, 150.0),
                               index_angle_deg=angle)  # fmt: skip
    sd = share * np.ptp(curve)
    values = curve + rng.normal(0.0, sd, JOINT_X.size) + rng.normal(0.0, 30.0) + 0.2 * JOINT_X
    return Profile(JOINT_X, values, sd_nT=np.full(JOINT_X.size, sd))
