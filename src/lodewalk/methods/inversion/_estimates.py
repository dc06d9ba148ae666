"""Estimates and their intervals from a minimum."""

import numpy as np
from scipy.stats import t as student

from lodewalk.methods.inversion._errors import Errors
from lodewalk.methods.inversion._problem import Problem
from lodewalk.methods.inversion._width import Width
from lodewalk.methods.inversion.models import RADIAL, kind_of
from lodewalk.methods.inversion.results import Estimate
from lodewalk.validation import FloatArray


def estimates_of(
    problem: Problem,
    inner: FloatArray,
    weights: FloatArray,
    errors: Errors,
    width: Width | None = None,
) -> tuple[dict[str, Estimate], tuple[str, ...], FloatArray, tuple[str, ...]]:
    """Return estimates, names of the free parameters, their covariance, and what stays open."""
    values, change = _natural(problem, inner, weights)
    covariance = change @ errors.inner @ change.T
    sd = dict(zip(values, np.sqrt(np.diag(covariance)), strict=True))
    wide = float(student.ppf(0.95, problem.noise.known))
    found = {n: _interval(n, v, float(sd[n]), wide, problem.lowest) for n, v in values.items()}
    found.update(_widths(problem, inner, weights, errors, wide, width))
    held = {n: v for n, v in problem.fixed.items() if n != "index_angle_deg"}
    found.update({name: Estimate(value, 0.0, value, value) for name, value in held.items()})
    free = tuple(name for name in values if name not in problem.fixed)
    rows = [list(values).index(name) for name in free]
    open_ = []
    if "half_width_m" in found and not found["half_width_m"].resolved:
        open_.append(
            "The width is not resolved: the readings tell strength times width only, "
            f"and a half width below {found['half_width_m'].high:.3g} m."
        )
    return found, free, covariance[np.ix_(rows, rows)], tuple(open_)


def _natural(
    problem: Problem, inner: FloatArray, weights: FloatArray
) -> tuple[dict[str, float], FloatArray]:
    """Return the parameters in their own units and their slopes with inner coordinates."""
    own = kind_of(problem.kind)
    shape, change = problem.shape(inner)
    count = inner.size + weights.size
    values: dict[str, float] = {}
    rows = []
    for i, name in enumerate(own.shape):
        if name in problem.fixed:
            continue
        row = np.zeros(count)
        value, row[: inner.size] = float(shape[i]), change[i]
        if name == "half_width_m":
            value = float(np.sqrt(max(value, 0.0)))
            row /= 2.0 * max(value, 1e-3 * shape[1])
        values[name] = value
        rows.append(row)
    turn = problem.turned(own.parts)
    parts = weights[: len(turn)] @ turn
    mixed = np.zeros((own.parts, count))
    mixed[:, inner.size : inner.size + len(turn)] = turn.T
    size = float(np.hypot(*parts[:2]))
    sign = 1.0
    angle = float(np.degrees(np.arctan2(parts[1], parts[0])))
    if "index_angle_deg" in problem.fixed:
        angle = problem.fixed["index_angle_deg"]
        sign = float(np.sign(weights[0]))
    values[own.size] = sign * size
    rows.append(sign * (parts[0] * mixed[0] + parts[1] * mixed[1]) / size)
    values["index_angle_deg"] = angle
    rows.append(np.degrees((parts[0] * mixed[1] - parts[1] * mixed[0]) / size**2))
    if own.parts == 3:
        values[RADIAL] = float(parts[2])
        rows.append(mixed[2])
    level, slope = weights[-2:]
    # the base's slope stands for the whole length, its level for the middle
    values["level_nT"] = float(level)
    rows.append(np.eye(count)[-2])
    values["slope_nT_m"] = float(slope / problem.length)
    rows.append(np.eye(count)[-1] / problem.length)
    return values, np.asarray(rows)


def _interval(name: str, value: float, sd: float, wide: float, lowest: float) -> Estimate:
    """Return an estimate with its 90 % interval, that of a depth by its logarithm."""
    if name in ("depth_m", "bottom_depth_m"):
        below = value + lowest
        factor = np.exp(min(wide * sd / below, 50.0))
        return Estimate(value, sd, below / factor - lowest, below * factor - lowest, factor < 10.0)
    if name == "index_angle_deg":
        half = min(wide * sd, 180.0)
        return Estimate(value, sd, value - half, value + half, half < 180.0)
    return Estimate(value, sd, value - wide * sd, value + wide * sd)


def _widths(
    problem: Problem,
    inner: FloatArray,
    weights: FloatArray,
    errors: Errors,
    wide: float,
    width: Width | None,
) -> dict[str, Estimate]:
    """Return half width and amplitude of a dyke."""
    if "half_width_m" not in kind_of(problem.kind).shape:
        return {}
    shape, change = problem.shape(inner)
    row = np.zeros(inner.size + weights.size)
    row[: inner.size] = change[2]
    half = _half_width(problem, float(shape[2]), row, errors, wide, width)
    strength = weights[: weights.size - 2]
    size = float(np.hypot(*strength)) if strength.size > 1 else abs(float(strength[0]))
    found = {} if "half_width_m" in problem.fixed else {"half_width_m": half}
    if not half.resolved:
        least = size / (2.0 * max(half.high, 1e-9))
        found["amplitude_nT"] = Estimate(
            size / (2.0 * max(half.value, 1e-9)), np.inf, least, np.inf, False
        )
        return found
    by_size = row * 0.0
    by_size[inner.size : inner.size + strength.size] = strength / size**2
    by_size = by_size - row / (2.0 * half.value**2)
    sd = float(np.sqrt(by_size @ errors.inner @ by_size))
    amplitude, factor = size / (2.0 * half.value), float(np.exp(min(wide * sd, 50.0)))
    found["amplitude_nT"] = Estimate(
        amplitude, amplitude * sd, amplitude / factor, amplitude * factor
    )
    return found


def _half_width(
    problem: Problem,
    square: float,
    row: FloatArray,
    errors: Errors,
    wide: float,
    width: Width | None,
) -> Estimate:
    """Return the half width: by its likelihood, or by the linear error of its square."""
    if "half_width_m" in problem.fixed:
        held = problem.fixed["half_width_m"]
        return Estimate(held, 0.0, held, held)
    sd = float(np.sqrt(row @ errors.inner @ row))
    if width is None:
        value = float(np.sqrt(max(square, 0.0)))
        low, high = (float(np.sqrt(max(square + s * wide * sd, 0.0))) for s in (-1.0, 1.0))
    else:
        value, (low, high) = width.median, width.interval(wide)
    spread = sd / (2.0 * max(value, 0.5 * float(np.sqrt(sd))))
    return Estimate(value, spread, low, high, bool(low > 0.0 and high < 10.0 * value))
