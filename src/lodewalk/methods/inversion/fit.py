"""One kind of body fitted to a profile."""

from collections.abc import Mapping

import numpy as np
from scipy.stats import chi2

from lodewalk.errors import InputError
from lodewalk.methods.inversion._descent import Minimum, descend, joint_descent
from lodewalk.methods.inversion._errors import Errors, linear_errors
from lodewalk.methods.inversion._estimates import estimates_of
from lodewalk.methods.inversion._problem import Problem
from lodewalk.methods.inversion._starts import starts_of
from lodewalk.methods.inversion._width import Width, log_evidence, profiled_width
from lodewalk.methods.inversion.models import Ambient, kind_of
from lodewalk.methods.inversion.quick import quick_dykes
from lodewalk.methods.inversion.results import NINETY, BodyFit, Noise, Profile
from lodewalk.methods.inversion.rules import profile_problem
from lodewalk.validation import FloatArray

#: Dips are held upright unless they are asked for: one profile hardly tells them.
UPRIGHT = {"dip_deg": 90.0}
#: Chance below which a cost is too high for noise alone, so that other starts are tried.
UNLIKELY = 1e-3


def fit_body(
    profile: Profile,
    kind: str,
    *,
    noise: Noise | None = None,
    start: Mapping[str, float] | None = None,
    fixed: Mapping[str, float] | None = None,
    prior: Mapping[str, tuple[float, float]] | None = None,
    ambient: Ambient | None = None,
) -> BodyFit:
    """Return the body of one kind that fits a profile best, with level and slope free.

    Parameters
    ----------
    profile : Profile
        The readings.
    kind : str
        ``thin sheet``, ``dyke``, ``finite dyke``, ``contact``, ``step``, ``cylinder`` or
        ``sphere``.
    noise : Noise, optional
        Noise of the readings; by default their own `sd_nT`, independent.
    start : mapping, optional
        Shape from which to begin besides the starts from the data, by name.
    fixed : mapping, optional
        Parameters of the shape, or ``index_angle_deg``, that are held. By default the dip of a step
        and of a finite dyke is held upright; an empty mapping frees it.
    prior : mapping, optional
        Parameters of the shape that are known from elsewhere: mean and standard deviation by name.
    ambient : Ambient, optional
        The ambient field, where the anomaly is strong and the exact difference of magnitudes is
        to be fitted; by default the projection on the field is.

    Returns
    -------
    BodyFit
        Estimates with 90 % intervals; `converged` is False, with the reason first among
        `not_resolved`, where the search met an edge.

    Raises
    ------
    InputError
        For a profile with too few readings or no anomaly, an unknown kind or parameter.

    Notes
    -----
    Places, depths and widths are scanned over the profile; from the best few, damped Gauss-Newton
    steps with derivatives in closed form lead down. Correlated noise is whitened by the Cholesky
    factor of its covariance.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 41)
    >>> fit = fit_body(Profile(x, 500.0 * 5.0 / (x**2 + 25.0)), "thin sheet")
    >>> round(fit.estimates["depth_m"].value, 6)
    5.0
    """
    problem = problem_of(profile, kind, noise=noise, fixed=fixed, prior=prior, ambient=ambient)
    fault = profile_problem(profile, kind)
    if fault:
        raise InputError(fault, remedy="Take a longer profile, or one over an anomaly.")
    best = best_minimum(problem, start)
    weights = best.point.weights
    inner, rested = best.point.inner, best.rested
    if ambient is not None:
        inner, weights, rested = joint_descent(problem, best.point)
    return _told(problem, inner, weights, rested, best.bound)


def problem_of(
    profile: Profile,
    kind: str,
    *,
    noise: Noise | None = None,
    fixed: Mapping[str, float] | None = None,
    prior: Mapping[str, tuple[float, float]] | None = None,
    ambient: Ambient | None = None,
) -> Problem:
    """Return the problem that `fit_body` solves, its dip held unless `fixed` says otherwise."""
    shape = kind_of(kind).shape
    held = {n: v for n, v in UPRIGHT.items() if n in shape} if fixed is None else dict(fixed)
    return Problem(profile, kind, noise or Noise(), held, dict(prior or {}), ambient)


def best_minimum(problem: Problem, start: Mapping[str, float] | None = None) -> Minimum:
    """Return the lowest of the minima that the starts lead to.

    A dyke in independent noise is found by the quick kernel; where its cost is no more than the
    noise lets expect there is nothing to look for elsewhere.
    """
    inner: list[FloatArray] = []
    quick = quick_start(problem)
    if quick is not None:
        found = descend(problem, quick)
        if found.point.cost < chi2.isf(UNLIKELY, problem.data.size - found.point.slopes.shape[0]):
            return found
        inner = [found.point.inner]
    inner += starts_of(problem)
    if start is not None:
        inner.insert(0, _inner_of(problem, start))
    rough = [descend(problem, one, steps=8) for one in inner]
    rough.sort(key=lambda found: found.point.cost)
    ends: list[Minimum] = []
    for found in rough[:3]:
        if not ends or found.point.cost < 2.0 * ends[0].point.cost:
            ends.append(descend(problem, found.point.inner))
    return min(ends, key=lambda found: found.point.cost)


def quick_start(problem: Problem) -> FloatArray | None:
    """Return where the kernel for dykes ends, None where the problem isn't one for it."""
    plain = not (problem.fixed or problem.prior or problem.noise.correlated_nT)
    if problem.kind != "dyke" or not plain:
        return None
    return np.asarray(
        quick_dykes(problem.profile, problem.profile.anomaly_nT[None], problem.noise)[0][0]
    )


def _inner_of(problem: Problem, start: Mapping[str, float]) -> FloatArray:
    """Return the inner coordinates of a start that was given."""
    names = kind_of(problem.kind).shape
    missing = [name for name in names if name not in start and name not in problem.fixed]
    if missing:
        raise InputError("A start needs every parameter of the shape.", value=missing)
    both = {**start, **problem.fixed}
    shape = [both[name] ** (2 if name == "half_width_m" else 1) for name in names]
    return problem.inner(np.array(shape, dtype=float))


def _told(
    problem: Problem,
    inner: FloatArray,
    weights: FloatArray,
    rested: bool,
    bound: tuple[str, ...],
    *,
    linear: bool = False,
) -> BodyFit:
    """Return a fit with its estimates, band and evidence; a width by `linear` error alone."""
    errors = linear_errors(problem, inner, weights)
    width = None if linear else _width_of(problem, inner, errors)
    estimates, names, covariance, open_ = estimates_of(problem, inner, weights, errors, width)
    reasons = [] if rested else ["The search did not come to rest."]
    ends = [name for name in bound if name != "half_width_m"]
    if ends:
        reasons.append(f"The search ended at an edge: {', '.join(ends)}.")
    spread = NINETY * np.sqrt(np.einsum("pn,pq,qn->n", errors.plain, errors.inner, errors.plain))
    cost = float(errors.rest @ errors.rest)
    return BodyFit(
        kind=problem.kind,
        estimates=estimates,
        names=names,
        covariance=covariance,
        model_nT=errors.model,
        low_nT=errors.model - spread,
        high_nT=errors.model + spread,
        cost=cost,
        freedom=problem.data.size - errors.inner.shape[0],
        log_evidence=log_evidence(problem, inner, errors, width),
        converged=not reasons,
        not_resolved=(*reasons, *open_),
    )


def _width_of(problem: Problem, inner: FloatArray, errors: Errors) -> Width | None:
    """Return the likelihood of a dyke's half width, where it is free and can be followed."""
    if "half_width_m" not in problem.names or problem.ambient is not None:
        return None
    row = problem.shape(inner)[1][2]
    count = inner.size
    sd = float(np.sqrt(row @ errors.inner[:count, :count] @ row))
    most = (0.5 * problem.length) ** 2
    return profiled_width(problem, problem.at(inner), min(sd, most)) if sd > 0.0 else None
