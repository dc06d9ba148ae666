"""A fit's inner coordinates, in which it is searched, and the sums of squares there.

Depth is searched by its logarithm below the lowest sensor, the square of the half width by a
smooth scale that goes a little below zero, so that the thin sheet is no edge of the search.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.inversion._whitening import whitener
from lodewalk.methods.inversion.models import Ambient, kind_of, shape_curves
from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.validation import FloatArray

#: Least square of the half width in squares of the depth, with the sign turned.
BELOW_THIN = 0.5


@dataclass(frozen=True)
class Point:
    """A place in the search: coordinates, weights of the curves, whitened residuals and slopes."""

    inner: FloatArray
    weights: FloatArray
    cost: float
    rest: FloatArray
    slopes: FloatArray
    columns: FloatArray


@dataclass(frozen=True)
class Problem:
    """A profile, a kind of body and its noise, with what is fixed or known beforehand."""

    profile: Profile
    kind: str
    noise: Noise
    fixed: Mapping[str, float] = field(default_factory=dict)
    prior: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    ambient: Ambient | None = None
    white: Callable[[FloatArray], FloatArray] = field(init=False, repr=False)
    log_determinant: float = field(init=False, repr=False)
    lowest: float = field(init=False, repr=False)
    middle: float = field(init=False, repr=False)
    length: float = field(init=False, repr=False)
    base: FloatArray = field(init=False, repr=False)
    data: FloatArray = field(init=False, repr=False)
    names: tuple[str, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        own = kind_of(self.kind)
        known = {*own.shape, "index_angle_deg"}
        odd = [name for name in (*self.fixed, *self.prior) if name not in known]
        if odd or "index_angle_deg" in self.prior:
            raise InputError(
                f"A {self.kind} can be held by {', '.join(sorted(known))}.",
                value=odd or "index_angle_deg",
            )
        if self.ambient is not None and own.parts == 3:
            raise InputError("The exact difference is fitted for long bodies only.")
        white, log_determinant = whitener(self.profile, self.noise)
        lowest = float(self.profile.rise_m.min())
        distance = self.profile.distance_m
        middle, length = 0.5 * (distance[0] + distance[-1]), float(np.ptp(distance))
        base = np.stack([np.ones(distance.size), (distance - middle) / length])
        made = {
            "white": white, "log_determinant": log_determinant, "lowest": lowest,
            "middle": middle, "length": length, "base": white(base),
            "data": white(self.profile.anomaly_nT[None])[0],
            "names": tuple(name for name in own.shape if name not in self.fixed),
        }  # fmt: skip
        for name, value in made.items():
            object.__setattr__(self, name, value)

    @property
    def bounds(self) -> tuple[FloatArray, FloatArray]:
        """Ends of the search in inner coordinates."""
        distance, length = self.profile.distance_m, self.length
        step = length / (distance.size - 1)
        usual = {
            "position_m": (distance[0] - 0.25 * length, distance[-1] + 0.25 * length),
            "depth_m": (np.log(0.1 * step), np.log(2.0 * length)),
            "half_width_m": (-5.0, 14.0),
            "bottom_depth_m": (np.log(0.1 * step), np.log(50.0 * length)),
            "dip_deg": (5.0, 175.0),
        }
        ends = np.array([usual[name] for name in self.names]).reshape(-1, 2)
        return ends[:, 0], ends[:, 1]

    def shape(self, inner: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the shape of inner coordinates and its derivatives, shape (q, free)."""
        own = kind_of(self.kind).shape
        at = {name: i for i, name in enumerate(self.names)}
        value, change = np.zeros(len(own)), np.zeros((len(own), len(at)))
        for i, name in enumerate(own):
            if name not in at:
                value[i] = self.fixed[name] ** (2 if name == "half_width_m" else 1)
                continue
            j, coordinate = at[name], inner[at[name]]
            if name in ("position_m", "dip_deg"):
                value[i], change[i, j] = coordinate, 1.0
            elif name == "depth_m":
                below = np.exp(coordinate)
                value[i], change[i, j] = below - self.lowest, below
            elif name == "half_width_m":
                square = (value[1] + self.lowest) ** 2
                value[i] = BELOW_THIN * square * np.expm1(coordinate)
                change[i] = 2.0 * value[i] / (value[1] + self.lowest) * change[1]
                change[i, j] += BELOW_THIN * square * np.exp(coordinate)
            else:
                thickness = np.exp(coordinate)
                value[i], change[i] = value[1] + thickness, change[1]
                change[i, j] += thickness
        return value, change

    def inner(self, shape: FloatArray) -> FloatArray:
        """Return the inner coordinates of a shape (half width squared)."""
        found = []
        for name, value in zip(kind_of(self.kind).shape, shape, strict=True):
            below = shape[1] + self.lowest
            if name == "depth_m":
                value = np.log(below)
            elif name == "half_width_m":
                value = np.log1p(max(value / below**2 / BELOW_THIN, -0.99))
            elif name == "bottom_depth_m":
                value = np.log(max(value - shape[1], 1e-6 * below))
            if name in self.names:
                found.append(value)
        return np.asarray(found)

    def curves(self, inner: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the curves to mix and their slopes with the inner coordinates."""
        shape, change = self.shape(inner)
        distance, rise = self.profile.distance_m, self.profile.rise_m
        columns, slopes = shape_curves(self.kind, distance, rise, shape)
        slopes = np.tensordot(change.T, slopes, axes=1)
        if "index_angle_deg" in self.fixed:
            turn = self.turned(columns.shape[0])
            return turn @ columns, np.einsum("ak,qkn->qan", turn, slopes)
        return columns, slopes

    def turned(self, parts: int) -> FloatArray:
        """Return how curves are mixed beforehand: by the index angle where it is fixed."""
        if "index_angle_deg" not in self.fixed:
            return np.eye(parts)
        angle = np.radians(self.fixed["index_angle_deg"])
        turn = np.eye(parts)[1:]
        turn[0, :2] = np.cos(angle), np.sin(angle)
        return turn

    def at(self, inner: FloatArray) -> Point:
        """Return the best weights at inner coordinates, with residuals and projected slopes."""
        columns, slopes = self.curves(inner)
        every = np.concatenate([self.white(columns), self.base])
        direction, triangle = np.linalg.qr(every.T)
        weights = np.linalg.solve(triangle, direction.T @ self.data)
        rest = self.data - weights @ every
        slopes = self.white(np.tensordot(weights[: len(columns)], slopes, axes=(0, 1)))
        slopes = slopes - (slopes @ direction) @ direction.T
        if self.prior:
            known, pull = self.known(inner)
            rest, slopes = np.append(rest, known), np.hstack([slopes, pull])
        return Point(inner, weights, float(rest @ rest), rest, slopes, every)

    def joint(self, inner: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return whitened residuals and slopes with inner coordinates and weights together."""
        columns, slopes = self.curves(inner)
        parts = weights[: len(columns)]
        model = parts @ columns
        change = np.concatenate([np.tensordot(parts, slopes, axes=(0, 1)), columns])
        if self.ambient is not None:
            model, change = self._exact(model, change, columns, slopes, parts)
        rest = self.data - self.white(model[None])[0] - weights[len(columns) :] @ self.base
        every = np.concatenate([self.white(change), self.base])
        if self.prior:
            known, pull = self.known(inner)
            more = np.zeros((len(every), known.size))
            more[: inner.size] = pull
            rest, every = np.append(rest, known), np.hstack([every, more])
        return rest, every

    def _exact(
        self,
        model: FloatArray,
        change: FloatArray,
        columns: FloatArray,
        slopes: FloatArray,
        parts: FloatArray,
    ) -> tuple[FloatArray, FloatArray]:
        """Return the exact difference of magnitudes in place of the projection, and its slopes."""
        assert self.ambient is not None
        if "index_angle_deg" in self.fixed:
            raise InputError("An exact difference is fitted with the index angle free.")
        strength, share = self.ambient.strength_nT, self.ambient.share
        size, length = parts @ parts, (columns**2).sum(axis=0)
        square = size * length / share
        by_shape = 2.0 * size * np.einsum("kn,qkn->qn", columns, slopes)
        by_part = 2.0 * parts[:, None] * length
        whole = np.sqrt(strength**2 + 2.0 * strength * model + square)
        bent = np.concatenate([by_shape, by_part]) / share
        exact = (2.0 * strength * model + square) / (whole + strength)
        return exact, (strength * change + 0.5 * bent) / whole

    def known(self, inner: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return residuals of what is known beforehand, and their slopes."""
        shape, change = self.shape(inner)
        own = kind_of(self.kind).shape
        rest, slopes = [], []
        for name, (mean, sd) in self.prior.items():
            i = own.index(name)
            value, slope = shape[i], change[i]
            if name == "half_width_m":
                value = np.sqrt(max(value, 1e-12))
                slope = slope / (2.0 * value)
            rest.append((mean - value) / sd)
            slopes.append(slope / sd)
        return np.asarray(rest), np.asarray(slopes).T

    def held(self, **values: float) -> "Problem":
        """Return the same problem with more parameters fixed."""
        other = object.__new__(Problem)
        other.__dict__.update(self.__dict__)
        object.__setattr__(other, "fixed", {**self.fixed, **values})
        names = tuple(name for name in self.names if name not in values)
        object.__setattr__(other, "names", names)
        return other

    def unwhitened(self) -> "Problem":
        """Return the same problem with residuals and slopes in nT."""
        plain = Profile(self.profile.distance_m, self.profile.anomaly_nT, self.profile.rise_m)
        return replace(self, profile=plain, noise=Noise(), prior={})
