"""The noise of a profile, told from what a fit leaves over."""

from collections.abc import Callable

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from lodewalk.methods.inversion._whitening import covariance_of
from lodewalk.methods.inversion.fit import best_minimum, problem_of
from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.validation import FloatArray

#: Gain of the restricted log likelihood from which neighbours share noise: two parameters more, by
#: Akaike's count.
GAIN = 2.0
#: Rounds of fit and noise.
ROUNDS = 2


def fit_noise(
    profile: Profile,
    kind: str = "dyke",
    *,
    correlated: bool = True,
) -> Noise:
    """Return the noise of a profile beside the body that fits it.

    Parameters
    ----------
    profile : Profile
        The readings; their `sd_nT` is taken as right but for one factor.
    kind : str
        Kind of body that is fitted meanwhile.
    correlated : bool
        Whether neighbours may share noise; by default they may, where the readings say so.

    Returns
    -------
    Noise
        Scale, shared part and its length; `known` is how many degrees of freedom the error of the
        depth rests on.

    Raises
    ------
    InputError
        As for `fit_body`.

    Notes
    -----
    Restricted maximum likelihood [1]_ of the residuals, the body's curve taken as linear around its
    fit; white noise has its closed form. `known` is Satterthwaite's ``2 V**2 / var(V)`` of the
    variance ``V`` of the depth, with the curvature of the likelihood as the information on the
    noise [2]_.

    References
    ----------
    .. [1] Patterson, H. D., and Thompson, R. (1971), Recovery of inter-block information when block
       sizes are unequal, Biometrika, 58(3), 545-554 (from memory).
    .. [2] Kenward, M. G., and Roger, J. H. (1997), Small sample inference for fixed effects from
       restricted maximum likelihood, Biometrics, 53(3), 983-997 (from memory).

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 81)
    >>> rng = np.random.default_rng(1)
    >>> readings = 500.0 * 5.0 / (x**2 + 25.0) + 2.0 * rng.normal(size=81)
    >>> noise = fit_noise(Profile(x, readings), "thin sheet", correlated=False)
    >>> 1.6 < noise.scale < 2.4, noise.known
    (True, 75.0)
    """
    noise = Noise()
    for _ in range(ROUNDS):
        problem = problem_of(profile, kind, noise=noise)
        point = best_minimum(problem).point
        rest, slopes = problem.unwhitened().joint(point.inner, point.weights)
        white = _white(profile, rest, slopes)
        if not correlated:
            return white
        noise = _shared(profile, rest, slopes, white)
        if noise.correlated_nT == 0.0:
            return noise
    return noise


def _white(profile: Profile, rest: FloatArray, slopes: FloatArray) -> Noise:
    """Return the scale of independent noise."""
    freedom = rest.size - len(slopes)
    direction = np.linalg.qr((slopes / profile.sd_nT).T)[0]
    scaled = rest / profile.sd_nT
    scaled = scaled - direction @ (direction.T @ scaled)
    return Noise(float(np.sqrt(scaled @ scaled / freedom)), known=float(freedom))


def _shared(profile: Profile, rest: FloatArray, slopes: FloatArray, white: Noise) -> Noise:
    """Return white and shared noise, the white alone where the shared gains too little."""
    length = float(np.ptp(profile.distance_m))
    step = length / (rest.size - 1)
    typical = float(np.sqrt(np.mean(profile.sd_nT**2)))
    size = np.sqrt((slopes**2).sum(axis=1))
    columns = (slopes / size[:, None]).T

    def noise_of(logs: FloatArray) -> Noise:
        scale, shared, reach = np.exp(logs)
        return Noise(scale, shared * typical, reach)

    def less(logs: FloatArray) -> float:
        return -_restricted(covariance_of(profile, noise_of(logs)), rest, columns)

    low = np.log([1e-3 * white.scale, 1e-3 * white.scale, 0.5 * step])
    high = np.log([3.0 * white.scale, 10.0 * white.scale, length])
    tries = [
        np.clip(
            np.log([share * white.scale, (1 - share**2) ** 0.5 * white.scale, reach]), low, high
        )
        for share in (0.9, 0.6, 0.3)
        for reach in np.geomspace(1.5 * step, 0.2 * length, 5)
    ]
    best = minimize(
        less,
        min(tries, key=less),
        method="L-BFGS-B",
        bounds=list(zip(low, high, strict=True)),
        options={"maxiter": 25, "ftol": 1e-6},
    )
    plain = less(np.array([np.log(white.scale), low[1] - 20.0, np.log(step)]))
    if plain - float(best.fun) < GAIN:
        return white
    found = noise_of(best.x)
    known = _known(less, best.x, lambda logs: _depth_variance(profile, noise_of(logs), columns))
    return Noise(float(found.scale), float(found.correlated_nT), float(found.length_m), known)


def _restricted(covariance: FloatArray, rest: FloatArray, columns: FloatArray) -> float:
    """Return the restricted log likelihood but for a constant."""
    factor = cho_factor(covariance, lower=True, check_finite=False)
    turned = cho_solve(factor, columns, check_finite=False)
    inner = columns.T @ turned
    pull = turned.T @ rest
    square = float(rest @ cho_solve(factor, rest, check_finite=False))
    square -= float(pull @ np.linalg.solve(inner, pull))
    logs = 2.0 * float(np.log(np.diag(factor[0])).sum()) + float(np.linalg.slogdet(inner)[1])
    return -0.5 * (square + logs)


def _depth_variance(profile: Profile, noise: Noise, columns: FloatArray) -> float:
    """Return the variance of the second parameter, the depth, but for its unit."""
    factor = cho_factor(covariance_of(profile, noise), lower=True, check_finite=False)
    inner = columns.T @ cho_solve(factor, columns, check_finite=False)
    return float(np.linalg.inv(inner)[1, 1])


def _known(
    less: Callable[[FloatArray], float],
    logs: FloatArray,
    variance: Callable[[FloatArray], float],
) -> float:
    """Return the degrees of freedom that a variance rests on."""
    step, count = 0.05, logs.size
    curve, slope = np.zeros((count, count)), np.zeros(count)
    moves = step * np.eye(count)
    middle = less(logs)
    for i in range(count):
        above, below = (np.log(variance(logs + sign * moves[i])) for sign in (1.0, -1.0))
        slope[i] = (above - below) / (2.0 * step)
        curve[i, i] = (less(logs + moves[i]) - 2.0 * middle + less(logs - moves[i])) / step**2
        for j in range(i):
            corners = (
                less(logs + a * moves[i] + b * moves[j]) * a * b
                for a in (1.0, -1.0)
                for b in (1.0, -1.0)
            )
            curve[i, j] = curve[j, i] = sum(corners) / (4.0 * step**2)
    # a weak prior of a factor of ten on each keeps directions that nothing tells from being free
    spread = np.linalg.inv(curve + np.eye(count) / np.log(10.0) ** 2)
    return float(np.clip(2.0 / max(float(slope @ spread @ slope), 1e-9), 3.0, 1e6))
