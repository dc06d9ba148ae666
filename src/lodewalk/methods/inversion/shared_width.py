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
    shared : mapping of str to (float, float)
        Errors that this profile has in common with others, by name: what one standard deviation
        makes of log depth and of the index angle [deg].
    ground_sd_m : float
        Error of the ground's height against that at the other profiles [m].
    """

    widths: Mapping[str, ByWidth]
    sensor_m: float
    ground_m: float
    shared: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    ground_sd_m: float = 0.0


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
    ground_m : float
        Mean height of the ground at the profiles [m].
    best : mapping of str to (float, float, float)
        ``depth_m``, ``index_angle_deg``, ``log_strength`` and ``half_width_m`` at the most likely
        width of a strip, which go together: mean, its sd, and sd between profiles. Empty for a
        contact.
    """

    kind: str
    probability: Mapping[str, float]
    level: float
    estimates: Mapping[str, Estimate]
    spread: Mapping[str, float]
    ground_m: float = float("nan")
    best: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)

    def at_profile(self, own: Said) -> dict[str, tuple[float, float, float]]:
        """Return depth, angle and log strength under one profile: value, sd, and that of the mean.

        They lie between the mean and what the profile itself says at the shared width, by the sd
        between profiles and that of the profile (the normal mean of a random effect). The last is
        the part of the sd that all profiles of the body have in common. The depth is that below
        the sensor's reference; a profile without a `strip` says nothing of itself.
        """
        said: dict[str, tuple[float, float]] = {}
        if "strip" in own.widths:
            said = own.widths["strip"].at(self.best["half_width_m"][0])
            depth = float(np.exp(said["log_depth"][0]))
            said["depth_m"] = depth, depth * said["log_depth"][1]
        above = self.level * (own.ground_m - self.ground_m)
        above = own.sensor_m + (above if np.isfinite(above) else 0.0)
        found = {}
        for name in ("depth_m", "index_angle_deg", "log_strength"):
            mean, error, between = self.best[name]
            mean += above if name == "depth_m" else 0.0
            value, share, rest = mean, 0.0, between
            if name in said:
                value, sd = said[name]
                value -= 360.0 * round((value - mean) / 360.0) * (name == "index_angle_deg")
                share = between**2 / (between**2 + sd**2)
                rest = np.sqrt(share) * sd
            common = (1.0 - share) * error
            found[name] = mean + share * (value - mean), float(np.hypot(common, rest)), common
        return found


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
    the width, with a mean and a spread between profiles (random effects, `over_profiles`). Errors
    in common add the mean of what they make of the profiles, each an independent one. Then
    width, kind and way of the top are averaged over by their probability [1]_. Before the data
    kinds and ways of the top are as likely as one another, and the half width over the mean depth
    is even in its logarithm within a kind, between the ends of `fit_profile`.

    References
    ----------
    .. [1] Gelman, A. et al. (2013), Bayesian Data Analysis, 3rd ed., CRC Press, sections 5.3 to
       5.6 and 7.4 (from memory).

    Examples
    --------
    >>> from lodewalk.methods.inversion.choice import fit_profile
    >>> from lodewalk.methods.inversion.results import Noise, Profile
    >>> x, rng = np.linspace(-50.0, 50.0, 41), np.random.default_rng(1)
    >>> some = [Profile(x, 500.0 * 5.0 / (x**2 + 25.0) + rng.normal(0.0, 1.0, 41)) for _ in "ab"]
    >>> found = [fit_profile(one, noise=Noise()).widths for one in some]
    >>> body = shared_body([Said(widths, 2.0, np.nan) for widths in found])
    >>> body.kind, round(body.estimates["depth_m"].value)
    ('thin sheet', 3)
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
    # a level top is as deep below each profile's ground as the heights there say
    unsure = np.array([one.ground_sd_m for one in told]) if level else 0.0
    value = np.exp(log_depth) - sensor - above
    mean = np.median(value, axis=1)
    for _ in range(ROUNDS):
        below = np.maximum(mean[:, None] + above + sensor, np.maximum(sensor, LEAST_M))
        depth = means_over(value, np.hypot(part * below, unsure))
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
    in_depth, in_angle = _in_common(told, depth.value)
    depth, angle = _wider(depth, in_depth), _wider(angle, in_angle)
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
        float(np.mean([one.ground_m for one in told])),
        {} if kind == "contact" else _best_of(told, [o for o in found if o.name == "strip"]),
    )  # fmt: skip


def _in_common(told: Sequence[Said], depth_m: float) -> tuple[float, float]:
    """Return the sd of the mean depth [m] and angle [deg] from what profiles have in common.

    All profiles count alike, which is near enough to their weights for an error.
    """
    total = np.zeros(2)
    for name in {name for one in told for name in one.shared}:
        each = np.array([one.shared.get(name, (0.0, 0.0)) for one in told])
        each[:, 0] *= depth_m + np.array([one.sensor_m for one in told])
        total += each.mean(axis=0) ** 2
    return float(np.sqrt(total[0])), float(np.sqrt(total[1]))


def _wider(told: Estimate, common: float) -> Estimate:
    """Return an estimate with one more independent error of this standard deviation."""
    low, high = (
        float(np.hypot(end - told.value, NINETY * common)) for end in (told.low, told.high)
    )
    return Estimate(
        told.value, float(np.hypot(told.sd, common)), told.value - low, told.value + high
    )


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


def _best_of(
    told: Sequence[Said], strips: Sequence[_Family]
) -> dict[str, tuple[float, float, float]]:
    """Return what is likeliest of a strip together: mean, its sd, and that between profiles."""
    best = max(strips, key=lambda one: float(one.log.max()))
    at = int(np.argmax(best.log))
    row = best.rows[at : at + 1]
    parts = {"depth_m": [part[at : at + 1] for part in best.depth]}
    for name in ("index_angle_deg", "log_strength"):
        mean, sd = _of(told, "strip", name, row)
        own = means_over(_near_angle(mean, sd) if name == "index_angle_deg" else mean, sd)
        parts[name] = list(own)
    found = {name: (float(p[0][0]), float(p[1][0]), float(p[3][0])) for name, p in parts.items()}
    return {**found, "half_width_m": (float(HALF_WIDTHS_M[row[0]]), 0.0, 0.0)}


def _near_angle(value: FloatArray, sd: FloatArray) -> FloatArray:
    """Return angles within half a turn of the surest of the first row [deg]."""
    turn = float(value[0, int(np.argmin(sd[0]))])
    return np.asarray(value - 360.0 * np.round((value - turn) / 360.0))
