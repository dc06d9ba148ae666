"""What a profile says of the body under it: its kind, where that can be told, and its depth."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.inversion._told import told_at
from lodewalk.methods.inversion.by_width import ByWidth, by_width, refined
from lodewalk.methods.inversion.constraints import Constraint
from lodewalk.methods.inversion.mixture import EXTENTS, Posterior, joined, mixed
from lodewalk.methods.inversion.neighbours import Beside, Body, response, rows_of, taken_along
from lodewalk.methods.inversion.noise_choice import likely_noises
from lodewalk.methods.inversion.place_regional import at_least, over_regionals, with_slope
from lodewalk.methods.inversion.posterior import (
    THIN,
    Looks,
    Setting,
    best_extent,
    least_misfit,
    looks_of,
    made_ready,
    posterior,
    prior_volume,
)
from lodewalk.methods.inversion.results import BodyFit, Estimate, Noise, Profile, ProfileFit
from lodewalk.methods.inversion.rules import fit_problem, profile_problem
from lodewalk.validation import FloatArray

#: Each kind's family, and its extents over depth.
KINDS: Mapping[str, tuple[str, float, float]] = {
    "thin sheet": ("strip", EXTENTS["strip"][0], THIN),
    "dyke": ("strip", THIN, EXTENTS["strip"][1]),
    "contact": ("contact", 1.0, 1.0),
    "step": ("step", *EXTENTS["step"]),
    "cylinder": ("cylinder", 1.0, 1.0),
}
USUAL = ("thin sheet", "dyke", "contact")
#: Probability from which a kind is told, and under which it is left out of the depth.
TOLD, LEFT_OUT = 0.95, 1e-3
#: Logarithm of the odds against a level and a slope from which there is an anomaly: 1,000 to 1.
ANOMALY = 6.9
#: Estimates that the posterior tells of every body, and of each family besides.
ALWAYS = ("position_m", "depth_m", "index_angle_deg")
OWN = {
    "strip": ("half_width_m", "amplitude_nT", "strength_nT_m"),
    "step": ("amplitude_nT",),
    "contact": ("amplitude_nT",),
    "cylinder": ("strength_nT_m2",),
}
#: Free parameters of a dyke with level and slope.
FREE = 7


@dataclass(frozen=True)
class _Found:
    """The posterior of one kind, the logarithm of its evidence, and where it fits best.

    `fine` is the posterior at narrower nodes, `volume` that of its prior.
    """

    kind: str
    post: Posterior
    log_evidence: float
    fine: Posterior
    volume: float

    @property
    def shape(self) -> tuple[float, ...]:
        """Place, depth and extent [m] of the least misfit."""
        best = int(np.argmin(self.post.misfit))
        place, depth = self.post.best[best, 0], float(np.exp(self.post.best[best, 1]))
        return float(place), depth, float(depth * self.post.extent[best])


def fit_profile(
    profile: Profile,
    *,
    noise: Noise | None = None,
    kinds: Sequence[str] = USUAL,
    constraints: Sequence[Constraint] = (),
    neighbours: Sequence[float] | None = None,
    off: FloatArray | None = None,
) -> ProfileFit:
    """Return which kind of body lies under a profile, where that can be told, and how deep.

    Parameters
    ----------
    profile : Profile
        Readings across the strike.
    noise : Noise, optional
        Their error; when left out, several noises that the residuals leave likely, by weight.
    kinds : sequence of str
        Kinds to choose from: ``thin sheet`` (narrower than its top is deep), ``dyke`` (wider),
        ``contact``, ``step``, ``cylinder``.
    constraints : sequence of Constraint
        What is known from elsewhere, such as the depth in a borehole.
    neighbours : sequence of float, optional
        Places [m] of other bodies whose anomalies reach into the profile: thin sheets are
        fitted along there. By default the residuals are searched for one, which is fitted along
        when small and makes a problem when it is half as strong as the body.
    off : array, shape (m, n), optional
        Errors that all readings share, as of the field of bodies beyond the profile that was taken
        off: what one standard deviation of each makes of the readings [nT].

    Returns
    -------
    ProfileFit
        With `problem` and no number for a profile that is too short or flat, an anomaly cut by an
        end, two bodies that can't be kept apart, or a depth that stays open to a factor.

    Raises
    ------
    InputError
        For a kind that isn't one of them.

    Notes
    -----
    The evidence of a kind is the integral of its likelihood over the prior of `posterior`, by
    quadrature. Before the data every kind is as likely as another; the width of a thin sheet is
    even in its logarithm from 1/20 to 1 of the depth, that of a dyke from 1 to 10, with both
    edges on the profile. The depth is that of all kinds by their probability [1]_.

    References
    ----------
    .. [1] Hoeting, J. A., Madigan, D., Raftery, A. E. and Volinsky, C. T. (1999), Bayesian model
       averaging: a tutorial, Statistical Science, 14(4), 382-417, doi:10.1214/ss/1009212519.

    Examples
    --------
    >>> from lodewalk.methods.bodies.dyke import index_dyke_anomaly
    >>> x = np.arange(-60.0, 61.0, 2.0)
    >>> clean = index_dyke_anomaly(x, depth_m=10.0, half_width_m=1.0, amplitude_nT=100.0,
    ...     index_angle_deg=30.0)
    >>> noise = np.random.default_rng(1).normal(0.0, 0.2, x.size)
    >>> found = fit_profile(Profile(x, clean + noise, sd_nT=np.full(x.size, 0.2)), noise=Noise())
    >>> found.fits[0].kind, found.decidable, round(found.depth.value)
    ('thin sheet', True, 10)
    """
    for kind in kinds:
        if kind not in KINDS:
            raise InputError(
                "No such kind of body to choose from.",
                value=kind,
                remedy=f"There are {', '.join(KINDS)}.",
            )
    fault = profile_problem(profile, kinds[0], noise)
    if fault:
        return ProfileFit(problem=fault)
    plain = made_ready(profile, noise or Noise())
    looks = looks_of(plain, _families(kinds))
    first = noise or _white(profile, plain, looks)
    best = _best_body(made_ready(profile, first), looks)
    beside = taken_along(profile, first, best, neighbours, told=noise is not None)
    if beside.problem:
        return ProfileFit(problem=beside.problem)
    profile = with_slope(profile, first, beside)
    noises = (
        [(1.0, noise)]
        if noise
        else likely_noises(profile, np.vstack([beside.body_rows, beside.rows]))
    )
    ready = over_regionals(profile, noises, beside, constraints, off)
    if len(beside.rows) or off is not None or len(ready) > len(noises):
        looks = looks_of(ready[0][1], _families(kinds))
    found = _over_noises(ready, kinds, constraints, looks)
    if max(item.log_evidence for item in found) < ANOMALY:
        return ProfileFit(
            problem="No anomaly stands above the noise: a level and a slope explain the readings."
        )
    told = _answer(profile, noises[0][1], found, beside)
    if off is None or told.problem:
        return told
    own = max(found, key=lambda item: item.log_evidence)
    body = Body(own.post.family, *own.shape)
    return replace(told, response=response(profile, ready[0][1], body, off))


def noise_rows(profile: Profile) -> FloatArray:
    """Return the curves of the best body in a profile, for the noise beside them.

    Nothing else is searched for: tails of other bodies count as noise here.

    Parameters
    ----------
    profile : Profile
        Readings across the strike.

    Returns
    -------
    array, shape (m, n)
        Two curves of the body, its changes with place, depth and, where told, half width; no rows
        where the profile holds no body.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 81)
    >>> noise_rows(Profile(x, 500.0 * 5.0 / (x**2 + 25.0))).shape[1]
    81
    """
    if profile_problem(profile, USUAL[0]):
        return np.zeros((0, profile.distance_m.size))
    plain = made_ready(profile, Noise())
    looks = looks_of(plain, _families(USUAL))
    setting = made_ready(profile, _white(profile, plain, looks))
    return rows_of(profile, setting, _best_body(setting, looks))


def _white(profile: Profile, setting: Setting, looks: Looks) -> Noise:
    """Return independent noise as large as the residuals of the best body."""
    freedom = profile.distance_m.size - FREE
    body = _best_body(setting, looks)
    extent = body.extent / body.depth
    start = np.array([body.place, np.log(body.depth)])
    cost = setting.settled(body.family, start, extent)[0]
    return Noise(float(np.sqrt(max(cost, 1e-12) / freedom)), known=float(freedom))


def _families(kinds: Sequence[str]) -> list[str]:
    """Return the families of kinds, each once."""
    return list(dict.fromkeys(KINDS[kind][0] for kind in kinds))


def _best_body(setting: Setting, looks: Looks) -> Body:
    """Return the body that fits best at the first looks."""
    ends = [
        (*setting.settled(family, starts[0], extent), family, extent)
        for family, own in looks.items()
        for extent, starts in own.items()
    ]
    _, theta, family, extent = min(ends, key=lambda end: end[0])
    if family in EXTENTS:
        extent, theta = best_extent(setting, family, extent, theta)
    place, depth = theta[0], float(np.exp(theta[1]))
    return Body(family, float(place), depth, extent * depth)


def _over_noises(
    ready: Sequence[tuple[float, Setting]],
    kinds: Sequence[str],
    constraints: Sequence[Constraint],
    looks: Looks,
) -> list[_Found]:
    """Return each kind's posterior and evidence over noises of these weights."""
    each = [(weight, _posteriors(setting, kinds, constraints, looks)) for weight, setting in ready]
    if len(each) == 1:
        return each[0][1]
    # within a noise the kinds share its weight; their evidence is that beside level and slope
    logs = np.array([[item.log_evidence for item in some] for _, some in each])
    top = logs.max(axis=1, keepdims=True)
    chance = np.exp(logs - top)
    chance = chance / chance.sum(axis=1, keepdims=True) * np.array([[w] for w, _ in each])
    typical = float((top[:, 0] * np.array([w for w, _ in each])).sum())
    least = [min(item.post.misfit.min() for item in some) for _, some in each]
    found = []
    for k, kind in enumerate(kinds):
        posts = [(chance[j, k], each[j][1][k].post) for j in range(len(each))]
        whole = max(float(chance[:, k].sum()), 1e-300)
        log_evidence = typical + float(np.log(whole))
        fine = joined([(chance[j, k], each[j][1][k].fine) for j in range(len(each))], least)
        volume = each[0][1][k].volume
        found.append(_Found(kind, joined(posts, least), log_evidence, fine, volume))
    return found


def _posteriors(
    setting: Setting, kinds: Sequence[str], constraints: Sequence[Constraint], looks: Looks
) -> list[_Found]:
    """Return the posterior and the evidence of every kind."""
    families = _families(kinds)
    least = min(least_misfit(setting, families, looks).values())
    whole = {family: posterior(setting, family, least=least, looks=looks) for family in families}
    gain = 0.5 * (setting.flat - least)
    if np.isfinite(setting.known):
        gain = 0.5 * (setting.known + 1.0) * np.log1p(2.0 * gain / setting.known)
    found = []
    for kind in kinds:
        family, low, high = KINDS[kind]
        post = whole[family].between(low, high) if family in EXTENTS else whole[family]
        fine = (refined(post) if family == "strip" else post).cut(constraints)
        post = post.cut(constraints)
        volume = prior_volume(setting, family, low=low, high=high)
        # two parts of the amplitude, under a prior as informative as one reading
        cost = np.log(setting.whitened.size) + np.log(volume)
        evidence = post.log_integral + gain - float(cost)
        found.append(_Found(kind, post, evidence, fine, volume))
    return found


def _answer(profile: Profile, noise: Noise, found: Sequence[_Found], beside: Beside) -> ProfileFit:
    """Return the kinds with their probability, and the depth over them."""
    found = sorted(found, key=lambda item: -item.log_evidence)
    logs = np.array([item.log_evidence for item in found])
    chance = np.exp(logs - logs.max())
    chance /= chance.sum()
    decided = bool(chance[0] >= TOLD)
    remain = [(float(p), item) for p, item in zip(chance, found, strict=True) if p > LEFT_OUT]
    undecided = () if decided else (_undecided(remain),)
    width = _width(remain)
    fits = []
    for p, item in zip(chance, found, strict=True):
        fit = told_at(item.kind, profile, noise, item.shape, beside.curve_nT)
        said = undecided if p > LEFT_OUT else ()
        alike = [one for one in remain if one[1].post.family == item.post.family]
        parts = alike if p > LEFT_OUT else [(1.0, item)]
        told = _with_posterior(fit, item, parts, width, said)
        fits.append(_placed(told, remain if p > LEFT_OUT else parts, profile.place_sd_m))
    problem = fit_problem(profile, fits[0])
    if problem:
        return ProfileFit(problem=problem)
    depth = mixed([(p, item.post) for p, item in remain], "depth_m")
    named = {item.kind: float(p) for p, item in zip(chance, found, strict=True)}
    return ProfileFit(
        tuple(fits), named, decided, depth, noise=noise, widths=_widths(chance, found)
    )


def _widths(chance: FloatArray, found: Sequence[_Found]) -> Mapping[str, ByWidth]:
    """Return what the profile says of each family at each width."""
    parts: dict[str, list[tuple[float, Posterior]]] = {}
    for share, item in zip(chance, found, strict=True):
        if item.post.family in ("strip", "contact"):
            whole = float(share) * item.volume
            parts.setdefault(item.post.family, []).append((whole, item.fine))
    return {family: by_width(own) for family, own in parts.items()}


def _undecided(remain: Sequence[tuple[float, _Found]]) -> str:
    """Say between which kinds the evidence does not choose."""
    said = ", ".join(f"{item.kind} {100.0 * p:.0f} %" for p, item in remain if p > 0.01)
    return f"The kind is not decided: {said}."


def _width(remain: Sequence[tuple[float, _Found]]) -> tuple[bool, str]:
    """Return whether the width of a strip is told at both ends, and what to say if not."""
    strips = [(p, item.post) for p, item in remain if item.post.family == "strip"]
    if not strips:
        return True, ""
    if sum(p for p, _ in strips) < TOLD:
        return False, "The width is not resolved: there may be a single edge only."
    extent = np.concatenate([post.extent for _, post in strips])
    misfit = np.concatenate([post.misfit for _, post in strips])
    weight = np.concatenate([p * post.weight * post.extent for p, post in strips])
    thinnest = misfit[np.argmin(extent)] - misfit.min()
    # a normal width that is told from none in nine of ten, both ways
    if extent.min() > 1.01 * EXTENTS["strip"][0] or thinnest > 2.71:
        return True, ""
    pieces = [post.pieces("half_width_m") for _, post in strips]
    order_mean = np.concatenate([piece[0] for piece in pieces])
    order = np.argsort(order_mean)
    share = np.cumsum(weight[order]) / weight.sum()
    limit = 2.0 * float(np.exp(np.interp(0.9, share, order_mean[order])))
    return False, (
        f"The width is not resolved: below {limit:.2g} m in nine of ten; strength (amplitude "
        "times width) is."
    )


def _with_posterior(
    fit: BodyFit,
    item: _Found,
    alike: Sequence[tuple[float, _Found]],
    width: tuple[bool, str],
    more: tuple[str, ...],
) -> BodyFit:
    """Return a fit with the estimates of its posterior in place of the linear ones.

    The depth is that of its own kind; all else is that of the kinds of its family which remain,
    as thin sheet and dyke are one body told apart by its width alone.
    """
    posts = [(p, one.post) for p, one in alike]
    estimates = dict(fit.estimates)
    for name in (*ALWAYS, *OWN[item.post.family]):
        estimates[name] = mixed([(1.0, item.post)] if name == "depth_m" else posts, name)
    said = list(more)
    if item.post.family == "strip" and not width[0]:
        for name in ("half_width_m", "amplitude_nT"):
            estimates[name] = _one_sided(estimates[name], name)
        said.insert(0, width[1])
    return replace(
        fit,
        kind=item.kind,
        estimates=estimates,
        log_evidence=item.log_evidence,
        not_resolved=(*(() if fit.converged else fit.not_resolved[:1]), *said),
    )


def _placed(fit: BodyFit, remain: Sequence[tuple[float, _Found]], place_sd_m: float) -> BodyFit:
    """Return a fit with its place over the kinds that remain, no surer than its readings'."""
    place = mixed([(p, item.post) for p, item in remain], "position_m")
    return replace(fit, estimates={**fit.estimates, "position_m": at_least(place, place_sd_m)})


def _one_sided(estimate: Estimate, name: str) -> Estimate:
    """Return an estimate of which the data hold one side only."""
    if name == "half_width_m":
        return replace(estimate, low=0.0, resolved=False)
    return replace(estimate, high=np.inf, resolved=False)
