"""One body under several profiles, which share its width: kind, depth, width and index angle."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.inversion.by_width import HALF_WIDTHS_M, ByWidth
from lodewalk.methods.inversion.mixture import EXTENTS, quantiles
from lodewalk.methods.inversion.over_profiles import Means, means_over
from lodewalk.methods.inversion.posterior import THIN
from lodewalk.methods.inversion.results import NINETY, Estimate
from lodewalk.validation import FloatArray

#: A likelihood counts as this part of the profile's largest at least, so that one profile alone
#: rules no width and no kind out.
LEAST = 1e-6
#: Fewest profiles from which a body is told together.
LEAST_PROFILES = 2
#: Log likelihood of the widths under the best from which none is looked at.
FAR = 40.0
#: No quantity of a profile is surer than this, in its own unit.
LEAST_SD = 1e-6
#: Rounds in which the mean depth and the errors settle, and the least depth of an error [m].
ROUNDS, LEAST_M = 3, 0.5
#: Fall of the log likelihood towards no width from which the width is told at both ends: a normal
#: one that is told from none in nine of ten, both ways.
RESOLVED = 1.353
#: Probability of a strip from which a width is told.
TOLD = 0.95
SIZES = {"thin sheet": "strength_nT_m", "dyke": "strength_nT_m", "contact": "amplitude_nT"}
FAMILIES = {"thin sheet": "strip", "dyke": "strip", "contact": "contact"}


@dataclass(frozen=True)
class Said:
    """What one profile says, by family, and its heights there.

    Parameters
    ----------
    widths : mapping of str to ByWidth
        Of a ``strip`` and of a ``contact``; a profile without both says nothing.
    sensor_m : float
        Height of the sensor's reference above the ground at the body [m].
    ground_m : float
        Height of the ground there [m], NaN where it isn't known.
    """

    widths: Mapping[str, ByWidth]
    sensor_m: float
    ground_m: float


@dataclass(frozen=True)
class SharedBody:
    """The body that profiles share.

    Parameters
    ----------
    kind : str
        The most probable kind.
    probability : mapping of str to float
        Probability of ``thin sheet``, ``dyke`` and ``contact``, given that it is one of them.
    level : float
        Probability of a level top against one that follows the ground; NaN where the ground isn't
        known.
    estimates : mapping of str to Estimate
        ``depth_m`` below the mean ground, over the kinds; of the kind's family ``index_angle_deg``,
        the strength (``strength_nT_m``, of a contact ``amplitude_nT``) and ``half_width_m``.
    spread : mapping of str to float
        Standard deviations of depth [m] and index angle [deg] between profiles.
    best : mapping of str to (float, float)
        ``depth_m``, ``index_angle_deg``, ``log_strength`` and ``half_width_m`` at the most likely
        width of a strip, which go together, each with the sd of one profile; empty for a contact.
    """

    kind: str
    probability: Mapping[str, float]
    level: float
    estimates: Mapping[str, Estimate]
    spread: Mapping[str, float]
    best: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class _Family:
    """What profiles say together of one family under one top, at each width that is looked at.

    `log` is the logarithm of the likelihood with the depth integrated out, times the prior.
    """

    name: str
    level: bool
    rows: np.ndarray
    log: FloatArray
    depth: Means


def shared_body(profiles: Sequence[Said]) -> SharedBody:
    """Return the body under several profiles that share its width.

    Parameters
    ----------
    profiles : sequence of Said
        What each of two or more says.

    Returns
    -------
    SharedBody

    Raises
    ------
    InputError
        For fewer than two profiles that say anything.

    Notes
    -----
    Given the width profiles are independent, so their likelihoods multiply width by width, and
    the depth below the ground (or that of a level top below its mean) is each profile's own given
    the width, with a mean and a spread between profiles (random effects, `over_profiles`). Then
    width, kind and way of the top are averaged over by their probability [1]_. Before the data
    kinds and ways of the top are as likely as one another, and the half width over the mean depth
    is even in its logarithm within a kind, between the ends of `fit_profile`.

    References
    ----------
    .. [1] Gelman, A. et al. (2013), Bayesian Data Analysis, 3rd ed., CRC Press, sections 5.3 to
       5.6 and 7.4 (from memory).
    """
    told = [one for one in profiles if set(FAMILIES.values()) <= set(one.widths)]
    if len(told) < LEAST_PROFILES:
        raise InputError("Too few profiles say anything of a body.", value=len(told))
    ground = np.array([one.ground_m for one in told])
    ways = [(False, np.zeros(len(told)))]
    if np.isfinite(ground).all():
        ways.append((True, ground - ground.mean()))
    logs = _likelihoods(told)
    found = [
        _of_family(told, name, level, above, logs[name])
        for name in ("strip", "contact")
        for level, above in ways
    ]
    return _answer(told, found, known=len(ways) > 1)


def _likelihoods(told: Sequence[Said]) -> dict[str, FloatArray]:
    """Return the log likelihood of each profile (rows) at each width, by family."""
    found = {name: np.array([one.widths[name].log_likelihood for one in told])
             for name in ("strip", "contact")}  # fmt: skip
    top = np.maximum(found["strip"].max(axis=1), found["contact"].max(axis=1))[:, None]
    return {name: np.maximum(logs - top, np.log(LEAST)) for name, logs in found.items()}


def _of_family(
    told: Sequence[Said], name: str, level: bool, above: FloatArray, logs: FloatArray
) -> _Family:
    """Return what the profiles say together of one family under one top."""
    total = logs.sum(axis=0)
    rows = np.flatnonzero(total > total.max() - FAR)
    log_depth, part = _of(told, name, "log_depth", rows)
    sensor = np.array([one.sensor_m for one in told])
    value = np.exp(log_depth) - sensor - above
    mean = np.median(value, axis=1)
    for _ in range(ROUNDS):
        below = np.maximum(mean[:, None] + above + sensor, np.maximum(sensor, LEAST_M))
        depth = means_over(value, part * below)
        mean = depth.value
    # of a normal error in metres from one of the logarithm
    own = total[rows] + depth.log_likelihood + np.log(below).sum(axis=1)
    if name == "strip":
        own = own + _log_prior(rows, mean + float(np.mean(above + sensor)))
    return _Family(name, level, rows, own, depth)


def _of(
    told: Sequence[Said], family: str, name: str, rows: np.ndarray
) -> tuple[FloatArray, FloatArray]:
    """Return means and sd of a quantity, shape (widths, profiles)."""
    own = [one.widths[family] for one in told]
    sd = np.array([one.sd[name][rows] for one in own]).T
    return np.array([one.mean[name][rows] for one in own]).T, np.maximum(sd, LEAST_SD)


def _log_prior(rows: np.ndarray, depth_m: FloatArray) -> FloatArray:
    """Return the logarithm of the prior of each width: the kinds alike, each even within."""
    low, high = EXTENTS["strip"]
    extent = HALF_WIDTHS_M[rows] / np.maximum(depth_m, LEAST_M)
    kind = np.where(extent < THIN, np.log(THIN / low), np.log(high / THIN))
    step = np.log(HALF_WIDTHS_M[1] / HALF_WIDTHS_M[0])
    return np.where((extent < low) | (extent > high), -np.inf, np.log(step) - np.log(kind))


def _answer(told: Sequence[Said], found: Sequence[_Family], *, known: bool) -> SharedBody:
    """Return the body over widths, kinds and ways of the top."""
    top = max(one.log.max() for one in found)
    weights = [np.exp(one.log - top) for one in found]
    total = sum(weight.sum() for weight in weights)
    weights = [weight / total for weight in weights]
    level = sum(w.sum() for one, w in zip(found, weights, strict=True) if one.level)
    depth, between = _mixed(
        np.concatenate(weights), *(np.concatenate([getattr(one.depth, name) for one in found])
        for name in ("value", "error", "half", "between")),
    )  # fmt: skip
    parts = list(zip(found, weights, strict=True))
    chance, width = _strip_of(told, [part for part in parts if part[0].name == "strip"])
    chance["contact"] = sum(float(w.sum()) for one, w in parts if one.name == "contact")
    kind = max(chance, key=lambda name: chance[name])
    own = [part for part in parts if part[0].name == FAMILIES[kind]]
    angle, turned = _over(told, own, "index_angle_deg")
    size, _ = _over(told, own, "log_strength")
    low, middle, high = (float(np.exp(end)) for end in (size.low, size.value, size.high))
    estimates = {
        "depth_m": depth,
        "index_angle_deg": angle,
        SIZES[kind]: Estimate(middle, middle * size.sd, low, high),
    }
    if kind == "dyke" or (kind != "contact" and width.resolved):
        estimates["half_width_m"] = width
    return SharedBody(
        kind, chance, float(level) if known else float("nan"), estimates,
        {"depth_m": between, "index_angle_deg": turned},
        {} if kind == "contact" else _best_of(told, [o for o in found if o.name == "strip"]),
    )  # fmt: skip


def _mixed(
    weight: FloatArray,
    value: FloatArray,
    error: FloatArray,
    half: FloatArray,
    between: FloatArray,
) -> tuple[Estimate, float]:
    """Return an estimate over cases by their weight, and the spread between profiles."""
    weight = weight / weight.sum()
    low, middle, high = quantiles(weight, value, half / NINETY, (0.05, 0.5, 0.95))
    mean = weight @ value
    sd = float(np.sqrt(weight @ (error**2 + (value - mean) ** 2)))
    return Estimate(float(middle), sd, float(low), float(high)), float(weight @ between)


def _over(
    told: Sequence[Said], own: Sequence[tuple[_Family, FloatArray]], name: str
) -> tuple[Estimate, float]:
    """Return a number over the widths of one family."""
    value, sd = (
        np.concatenate([_of(told, one.name, name, one.rows)[k] for one, _ in own]) for k in (0, 1)
    )
    # the likeliest width first: its angles tell from where the others count
    weight = np.concatenate([w for _, w in own])
    order = np.argsort(-weight, kind="stable")
    value, sd, weight = value[order], sd[order], weight[order]
    turned = name == "index_angle_deg"
    means = means_over(_near_angle(value, sd) if turned else value, sd)
    estimate, between = _mixed(weight, means.value, means.error, means.half, means.between)
    back = 360.0 * round(estimate.value / 360.0) if turned else 0.0
    ends = (estimate.value - back, estimate.sd, estimate.low - back, estimate.high - back)
    return Estimate(*ends), between


def _strip_of(
    told: Sequence[Said], own: Sequence[tuple[_Family, FloatArray]]
) -> tuple[dict[str, float], Estimate]:
    """Return the probability of a thin and of a thick strip, and the half width."""
    sensor = float(np.mean([one.sensor_m for one in told]))
    half = np.concatenate([HALF_WIDTHS_M[one.rows] for one, _ in own])
    below = np.concatenate([one.depth.value + sensor for one, _ in own])
    weight = np.concatenate([w for _, w in own])
    thin = float(weight[half < THIN * np.maximum(below, LEAST_M)].sum())
    step = float(np.log(HALF_WIDTHS_M[1] / HALF_WIDTHS_M[0]))
    logs = quantiles(weight, np.log(half), np.full(half.size, 0.5 * step), (0.05, 0.5, 0.95))
    low, middle, high = (float(end) for end in np.exp(logs))
    share = weight / max(float(weight.sum()), 1e-300)
    sd = float(np.sqrt(share @ (half - share @ half) ** 2))
    best = max((one for one, _ in own), key=lambda one: float(one.log.max()))
    thinnest = best.log[np.isfinite(best.log)][0]
    resolved = bool(thinnest < best.log.max() - RESOLVED and weight.sum() >= TOLD)
    width = Estimate(middle, sd, low if resolved else 0.0, high, resolved)
    return {"thin sheet": thin, "dyke": float(weight.sum()) - thin}, width


def _best_of(told: Sequence[Said], strips: Sequence[_Family]) -> dict[str, tuple[float, float]]:
    """Return what is likeliest of a strip together, each with the sd of one profile."""
    best = max(strips, key=lambda one: float(one.log.max()))
    at = int(np.argmax(best.log))
    row = best.rows[at : at + 1]
    depth = float(best.depth.value[at])
    found = {
        "depth_m": (depth, float(best.depth.between[at])),
        "half_width_m": (float(HALF_WIDTHS_M[row[0]]), 0.0),
    }
    for name in ("index_angle_deg", "log_strength"):
        mean, sd = _of(told, "strip", name, row)
        own = means_over(_near_angle(mean, sd) if name == "index_angle_deg" else mean, sd)
        found[name] = float(own.value[0]), float(np.hypot(own.between[0], np.median(sd)))
    return found


def _near_angle(value: FloatArray, sd: FloatArray) -> FloatArray:
    """Return angles within half a turn of the surest of the first row [deg]."""
    turn = float(value[0, int(np.argmin(sd[0]))])
    return np.asarray(value - 360.0 * np.round((value - turn) / 360.0))
