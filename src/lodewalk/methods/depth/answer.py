"""One depth from a profile: the fit with its neighbours, the rules as a check beside it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.special import ndtr
from scipy.stats import t as student

from lodewalk.errors import InputError
from lodewalk.methods.depth.curves import noise_covariance, profile_problem, read_curves
from lodewalk.methods.depth.results import DepthAnswer, DepthRule
from lodewalk.methods.depth.rules import (
    RULE_ERROR,
    euler_profile,
    half_slope,
    local_wavenumber,
    log_estimate,
    tilt_depth,
    total_gradient_width,
)
from lodewalk.methods.depth.structural_index import INDEX, told_index
from lodewalk.methods.depth.window_fit import (
    Window,
    WindowFit,
    depth_interval,
    scaled,
    window_fits,
)
from lodewalk.methods.inversion.results import NINETY, Estimate, Noise, Profile, ProfileFit

#: Kinds of long bodies that an answer is averaged over where none is assumed.
KINDS = ("thin sheet", "dyke", "contact")
#: Factor of the fit's errors for what it doesn't know of: neighbours too weak to be found, other
#: shapes. Calibrated on profiles drawn from other ranges than those that judge it.
CALIBRATED = 1.12
#: Disagreement of the rules, in their own errors, from which the interval is wider by as much: 95
#: in 100 of the calibration's true fits stay under it.
DISAGREE = 1.5
#: Kinds of bodies that each rule is for.
RULES_FOR = {
    "half slope": ("thin sheet", "dyke"),
    "total gradient width": ("thin sheet", "contact", "step", "cylinder"),
    "tilt depth": ("contact", "step"),
    "local wavenumber": ("thin sheet", "cylinder"),
    "Euler": ("thin sheet", "contact", "step", "cylinder"),
}
#: Ratio of the ends of an interval above which there is no answer.
WIDEST = 2.5
#: The same where several kinds remain: what they leave open is told, to twice either way.
WIDEST_OF_KINDS = 4.0
#: Kinds with less probability than this leave the answer alone.
LEAST_PROBABILITY = 0.02


def answer_depth(
    profile: Profile,
    *,
    noise: Noise | None = None,
    fit: ProfileFit | None = None,
    kind: str | None = None,
    kinds: Sequence[str] = KINDS,
    about_m: float = 0.0,
) -> DepthAnswer:
    """Return one depth of a body's top below the sensor, with what each method says.

    Parameters
    ----------
    profile : Profile
        Readings across the strike.
    noise : Noise, optional
        Their errors; by default each reading's own, scaled by the misfit of the fit.
    fit : ProfileFit, optional
        A fit of the same profile made elsewhere, shown beside the rules.
    kind : str, optional
        The kind of body, where it is known; by default the answer is over `kinds`, by evidence.
    kinds : sequence of str
        Kinds of `KINDS` in `lodewalk.methods.inversion.models`, thin sheet, dyke and contact by
        default. Of a cylinder or sphere the depth is that of the middle.
    about_m : float
        Where on the profile the body is looked for [m].

    Returns
    -------
    DepthAnswer
        No depth where the profile doesn't hold one: `problem` says why.

    Notes
    -----
    The body is fitted together with such neighbours, as thin sheets, as the data ask for; kinds
    are weighed by Schwarz's approximation of the evidence. Intervals are those of the profile
    likelihood, wider by a factor that trials gave, by the misfit, and by the disagreement of the
    rules where that is more than their own errors allow. Where no fit comes to rest the rules
    alone answer, with their error.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 41)
    >>> sheet = Profile(x, 500.0 * 5.0 / (x**2 + 25.0), sd_nT=np.full(41, 1.0))
    >>> answer = answer_depth(sheet, noise=Noise(), kind="thin sheet")
    >>> round(answer.depth.value, 2)
    5.0
    """
    errors = noise or Noise()
    covariance = noise_covariance(profile, errors)
    problem = profile_problem(profile, covariance)
    if not problem and not profile.distance_m[0] < about_m < profile.distance_m[-1]:
        problem = f"The place at {about_m:g} m lies outside the profile."
    if problem:
        return DepthAnswer(None, problem=problem)
    window = Window(profile, covariance, about_m=about_m)
    minima = _minima(window, (kind,) if kind else tuple(kinds))
    fits = [own[0] for own in minima]
    weights = probabilities(fits)
    usual = max(weights, key=lambda name: weights[name]) if weights else "thin sheet"
    rules = depth_rules(profile, noise=errors, kind=usual)
    if fit is not None and fit.depth is not None:
        rules = (DepthRule("fit", fit.depth, about_m, reason="Over the kinds that remain."), *rules)
    if not fits:
        return _by_rules(rules)
    found = {
        own[0].kind: _over_minima(window, own, errors, known=noise is not None)
        for own in minima
        if weights[own[0].kind] >= LEAST_PROBABILITY
    }
    depth = mixed({name: weights[name] for name in found}, found)
    depth = scaled(depth, max(disagreement(rules, depth.value) / DISAGREE, 1.0))
    cut = _cut(window, fits[0], depth, widest=WIDEST if len(found) == 1 else WIDEST_OF_KINDS)
    if cut:
        return DepthAnswer(None, rules, problem=cut)
    index = told_index(fits, weights)
    return DepthAnswer(
        depth, rules, index, _spread(rules, depth), found, distance_m=float(fits[0].shape[0])
    )


def _minima(window: Window, kinds: Sequence[str]) -> list[list[WindowFit]]:
    """Return the minima of each kind whose best came to rest, the best kind first."""
    fits = [window_fits(window, kind) for kind in kinds]
    rested = [own for own in fits if own[0].converged and np.isfinite(own[0].depth_sd_m)]
    if len(kinds) > 1:
        # a width below none is the thin sheet's own
        rested = [own for own in rested if own[0].kind != "dyke" or own[0].shape[2] > 0.0]
    return sorted(rested, key=lambda own: -own[0].log_evidence)


def _over_minima(
    window: Window, minima: Sequence[WindowFit], noise: Noise, *, known: bool
) -> Estimate:
    """Return the depth of a kind over its minima, each by how well it fits."""
    size = max(minima[0].cost / minima[0].freedom, 1.0)
    logs = np.array([fit.log_evidence for fit in minima]) / size
    shares = np.exp(logs - logs.max())
    names = [str(number) for number in range(len(minima))]
    found = [_widened(window, fit, noise, known=known) for fit in minima]
    return mixed(
        dict(zip(names, shares.tolist(), strict=True)), dict(zip(names, found, strict=True))
    )


def probabilities(fits: Sequence[WindowFit]) -> dict[str, float]:
    """Return the probability of each kind, given that it is one of them.

    Examples
    --------
    >>> probabilities([])
    {}
    """
    if not fits:
        return {}
    # the misfit of the best stands for errors that the noise leaves out
    size = max(min(fit.cost / fit.freedom for fit in fits), 1.0)
    logs = np.array([fit.log_evidence for fit in fits]) / size
    shares = np.exp(logs - logs.max())
    return {fit.kind: float(share) for fit, share in zip(fits, shares / shares.sum(), strict=True)}


def depth_rules(
    profile: Profile, *, noise: Noise, kind: str = "thin sheet"
) -> tuple[DepthRule, ...]:
    """Return what every rule says of a profile.

    Parameters
    ----------
    profile : Profile
        Readings across the strike.
    noise : Noise
        Their errors.
    kind : str
        Kind of the body: rules that are for another one are not valid.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 41)
    >>> [rule.valid for rule in depth_rules(Profile(x, 5e3 / (x**2 + 25.0)), noise=Noise())]
    [True, True, False, True, True]
    """
    try:
        curves = read_curves(profile, noise=noise)
    except InputError:
        return ()
    rules = (
        half_slope(curves),
        total_gradient_width(curves, index=min(INDEX.get(kind, 1.0), 2.0)),
        tilt_depth(curves),
        local_wavenumber(curves),
        euler_profile(curves),
    )
    return tuple(
        replace(rule, valid=False, reason=f"The rule isn't for a body like this: {kind}.")
        if rule.valid and kind not in RULES_FOR[rule.method]
        else rule
        for rule in rules
    )


def _widened(window: Window, fit: WindowFit, noise: Noise, *, known: bool) -> Estimate:
    """Return the depth of a fit with its calibrated interval."""
    misfit = fit.cost / fit.freedom
    freedom = noise.known if known else float(fit.freedom)
    factor = CALIBRATED
    if not known or misfit > 1.0 + 2.0 * np.sqrt(2.0 / fit.freedom):
        factor *= float(np.sqrt(misfit))
    if np.isfinite(freedom):
        factor *= float(student.ppf(0.95, max(freedom, 1.0))) / NINETY
    return depth_interval(window, fit, scale=factor)


def mixed(weights: Mapping[str, float], found: Mapping[str, Estimate]) -> Estimate:
    """Return the estimate over kinds, or minima, of some probability.

    Parameters
    ----------
    weights, found : mapping by kind
        Probability and estimate of each.

    Returns
    -------
    Estimate
        Median, standard deviation and 90 % interval of the mixture, each kind's share normal in
        the logarithm on either side.

    Examples
    --------
    >>> one = Estimate(10.0, 1.0, 8.5, 12.0)
    >>> mixed({"dyke": 1.0}, {"dyke": one}) == one
    True
    """
    if len(found) == 1:
        return next(iter(found.values()))
    shares = np.array([weights[name] for name in found])
    shares = shares / shares.sum()
    parts = list(found.values())
    values = np.array([part.value for part in parts])
    mean = float(shares @ values)
    sds = np.array([part.sd for part in parts])
    sd = float(np.sqrt(shares @ (sds**2 + (values - mean) ** 2)))
    lows = np.array([_log_sd(part.value, part.low) for part in parts])
    highs = np.array([_log_sd(part.value, part.high) for part in parts])
    grid = np.linspace(np.log(values.min()) - 3.0, np.log(values.max()) + 3.0, 2401)
    away = grid[:, None] - np.log(values)
    below = ndtr(away / np.where(away < 0.0, lows, highs)) @ shares
    low, middle, high = np.exp(np.interp([0.05, 0.5, 0.95], below, grid))
    # of kinds apart the mean fits none
    return Estimate(float(middle), sd, float(low), float(high), bool(high < 20.0 * mean))


def _log_sd(value: float, end: float) -> float:
    """Return the standard deviation of the logarithm that an end of an interval stands for."""
    if not (np.isfinite(end) and end > 0.0):
        return 3.0
    return max(abs(float(np.log(end / value))) / NINETY, 1e-6)


def disagreement(rules: Sequence[DepthRule], value: float) -> float:
    """Return how far the valid rules lie from a depth, root mean square in their own errors.

    Examples
    --------
    >>> disagreement([], 10.0)
    0.0
    """
    away = [
        np.log(rule.depth.value / value) / max(rule.depth.sd / rule.depth.value, RULE_ERROR)
        for rule in rules
        if rule.valid and rule.depth is not None and rule.method != "fit"
    ]
    return float(np.sqrt(np.mean(np.square(away)))) if away else 0.0


def _spread(rules: Sequence[DepthRule], depth: Estimate) -> float:
    """Return the standard deviation of the valid methods in units of the answer's."""
    values = [rule.depth.value for rule in rules if rule.valid and rule.depth is not None]
    return float(np.std(values) / depth.sd) if len(values) > 1 else float("nan")


def _cut(window: Window, fit: WindowFit, depth: Estimate, *, widest: float) -> str:
    """Return why the anomaly isn't whole, empty where it is."""
    edge = min(
        fit.shape[0] - window.profile.distance_m[0], window.profile.distance_m[-1] - fit.shape[0]
    )
    if edge < depth.value:
        return (
            f"The anomaly is cut by the edge of the profile: {max(edge, 0.0):.1f} m from the body, "
            "less than its depth."
        )
    if not depth.resolved or depth.high > window.length or depth.high > widest * depth.low:
        return (
            f"The data don't hold the depth: its 90 % interval runs from {depth.low:.1f} to "
            f"{depth.high:.1f} m below the sensor."
        )
    return ""


def _by_rules(rules: tuple[DepthRule, ...]) -> DepthAnswer:
    """Return the answer of the rules alone."""
    told = [rule for rule in rules if rule.valid and rule.depth is not None]
    if not told:
        problem = "No fit of a body comes to rest, and no rule can be read."
        return DepthAnswer(None, rules, problem=problem)
    logs = np.log([rule.depth.value for rule in told if rule.depth is not None])
    value = float(np.exp(np.median(logs)))
    depth = log_estimate(value, float(np.hypot(RULE_ERROR, np.std(logs))))
    return DepthAnswer(depth, rules, spread=_spread(rules, depth))
