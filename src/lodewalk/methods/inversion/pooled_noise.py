"""The noise of the profiles of one survey, told from all of them together.

Soil, boulders and sensor are much the same from profile to profile. What one profile hardly tells,
how much of its noise neighbouring readings share and over what length, many tell well.
"""

from collections.abc import Sequence

import numpy as np
from numba import njit
from scipy.interpolate import CubicSpline

from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.methods.inversion.whitening import SCALE, STEP, fill_filter, whiten
from lodewalk.validation import FloatArray

#: The grid of noises: scale over that of independent noise in the typical profile, shared over
#: independent noise, and the length of the shared one in spacings of the readings.
SCALES = np.geomspace(1.0 / 8.0, 4.0, 14)
RATIOS = np.geomspace(0.1, 10.0, 8)
LENGTHS = np.array([2.0, 4.0, 8.0, 16.0, 32.0, 64.0])
#: Scales are made so many times finer once the likelihood is known.
FINER = 4
#: Rounds in which what profiles have in common settles, and its least spread between profiles in
#: the logarithms of scale, ratio and length: as fine as the grid tells.
ROUNDS, LEAST_SPREAD = 60, np.array([0.06, 0.3, 0.3])
#: Share of profiles that may have a noise of any kind, unlike the others' (common practice): the
#: tail of a body far off looks like one.
UNLIKE = 0.2
#: Profiles from which there is something in common to tell.
ENOUGH = 3
#: Degrees of freedom at least and at most.
LEAST_KNOWN, MOST_KNOWN = 3.0, 1e6
#: Place in the rows of a body of what it changes by with its depth.
DEPTH_ROW = 3


def pooled_noises(profiles: Sequence[Profile], rows: Sequence[FloatArray]) -> list[Noise]:
    """Return the noise of each of a survey's profiles, those of the others in mind.

    Parameters
    ----------
    profiles : sequence of Profile
        The readings; their `sd_nT` is taken as right but for one factor.
    rows : sequence of array, shape (m, n)
        For each profile the curves of its bodies and their changes with the bodies' shapes, as from
        `noise_rows`; level and slope are added. Without rows a profile tells nothing, and gets
        what the others have in common.

    Returns
    -------
    list of Noise
        `known` is how many degrees of freedom the error of the depth rests on.

    Notes
    -----
    Restricted likelihoods [1]_ of every profile on a grid of scale, shared part and length. Over
    the profiles the logarithms of the three are normal, their means and spreads told from all
    profiles (empirical Bayes [2]_, by expectation and maximisation), but for one profile in five
    that may be unlike them; each profile's noise is its mean with that as prior, so that one over
    rougher ground keeps a noise of its own. `known` is
    Satterthwaite's ``2 / var(log V)`` of the variance ``V`` of the depth.

    References
    ----------
    .. [1] Patterson, H. D. and Thompson, R. (1971), Recovery of inter-block information when block
       sizes are unequal, Biometrika, 58(3), 545-554, doi:10.1093/biomet/58.3.545.
    .. [2] Morris, C. N. (1983), Parametric empirical Bayes inference: theory and applications,
       Journal of the American Statistical Association, 78(381), 47-55,
       doi:10.1080/01621459.1983.10477920.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 81)
    >>> rng = np.random.default_rng(1)
    >>> some = [Profile(x, rng.normal(0.0, 2.0, 81)) for _ in range(6)]
    >>> curve = 1.0 / (x**2 + 25.0)
    >>> found = pooled_noises(some, [np.array([curve, x * curve, x * curve**2, curve**2])] * 6)
    >>> all(1.7 < np.hypot(one.scale, one.correlated_nT) < 2.3 for one in found)
    True
    """
    told = [k for k, own in enumerate(rows) if len(own) > DEPTH_ROW]
    if not told:
        return [Noise() for _ in profiles]
    every = [_ordered(profiles[k], rows[k]) for k in told]
    centre = float(np.median([_white_scale(values) for values in every]))
    spacing = float(np.median([np.ptp(p.distance_m) / (p.distance_m.size - 1) for p in profiles]))
    axes = np.log(centre * SCALES), np.log(RATIOS), np.log(LENGTHS * spacing)
    tables = [
        _fine(axes[0], _table(profiles[k], values, axes))
        for k, values in zip(told, every, strict=True)
    ]
    fine = _finer(axes[0]), axes[1], axes[2]
    logs = np.array([table[0] for table in tables])
    prior = _common(fine, logs)
    variance = dict(zip(told, (table[1] for table in tables), strict=True))
    weights = dict(zip(told, (_weights(one + prior) for one in logs), strict=True))
    usual = _weights(prior)
    return [
        _noise(profile, fine, weights.get(k, usual), variance.get(k))
        for k, profile in enumerate(profiles)
    ]


def _ordered(profile: Profile, rows: FloatArray) -> FloatArray:
    """Return level, slope and rows, that of the depth last, and the readings, over their sd."""
    distance = profile.distance_m
    base = np.stack([np.ones(distance.size), (distance - distance.mean()) / np.ptp(distance)])
    every = np.vstack([base, np.delete(rows, DEPTH_ROW, axis=0), rows[DEPTH_ROW]])
    every = every / (np.sqrt((every**2).sum(axis=1, keepdims=True)) + 1e-300)
    return np.vstack([every, profile.anomaly_nT - profile.anomaly_nT.mean()]) / profile.sd_nT


def _white_scale(every: FloatArray) -> float:
    """Return the scale of independent noise that the rows leave of the readings."""
    triangle = np.asarray(np.linalg.qr(every.T, mode="r"))
    freedom = every.shape[1] - len(every) + 1
    return max(float(abs(triangle[-1, -1]) / np.sqrt(freedom)), 1e-9)


def _table(
    profile: Profile, every: FloatArray, axes: tuple[FloatArray, FloatArray, FloatArray]
) -> FloatArray:
    """Return the log likelihood and the log variance of the depth, shape (2, scales, ...)."""
    found = np.empty((2, *(axis.size for axis in axes)))
    typical = float(np.sqrt(np.mean(profile.sd_nT**2)))
    gap = np.append(np.diff(profile.distance_m), 0.0)
    _restricted(
        every * profile.sd_nT, gap, profile.sd_nT, profile.place_nT,
        np.exp(-gap / profile.reach_m), np.exp(axes[0]), np.exp(axes[1]) * typical,
        np.exp(axes[2]), found,
    )  # fmt: skip
    return found


@njit(nogil=True, cache=True)
def _restricted(
    rows: FloatArray,
    gap: FloatArray,
    sd: FloatArray,
    place: FloatArray,
    moved: FloatArray,
    scales: FloatArray,
    shares: FloatArray,
    lengths: FloatArray,
    found: FloatArray,
) -> None:  # pragma: no cover
    """Fill the restricted log likelihood and the log variance of the last row but one."""
    count, size = rows.shape
    work, white, own = np.empty((count, size)), np.empty((6, size)), np.empty(size)
    for k in range(lengths.size):
        for m in range(size):
            white[STEP, m], white[STEP + 1, m] = np.exp(-gap[m] / lengths[k]), moved[m]
        for i in range(scales.size):
            for m in range(size):
                own[m] = (scales[i] * sd[m]) ** 2
            for j in range(shares.size):
                fill_filter(white, own, (scales[i] * shares[j]) ** 2, place)
                total = 0.0
                for m in range(size):
                    total += np.log(white[SCALE, m])
                for row in range(count):
                    for m in range(size):
                        work[row, m] = rows[row, m]
                    whiten(work, row, white, 0)
                left, cost, depth = _left(work)
                found[0, i, j, k] = total - left - 0.5 * cost
                found[1, i, j, k] = -np.log(depth)


@njit(nogil=True, cache=True)
def _left(work: FloatArray) -> tuple[float, float, float]:  # pragma: no cover
    """Take each row off those after it; return half the log determinant, last square, one before.

    Rows are overwritten (Gram and Schmidt's way); the last is the readings.
    """
    count, size = work.shape
    total, before, square = 0.0, 1.0, 1.0
    for a in range(count):
        before, square = square, 1e-300
        for m in range(size):
            square += work[a, m] * work[a, m]
        if a < count - 1:
            total += 0.5 * np.log(square)
        for b in range(a + 1, count):
            share = 0.0
            for m in range(size):
                share += work[a, m] * work[b, m]
            share /= square
            for m in range(size):
                work[b, m] -= share * work[a, m]
    return total, square, before


def _finer(axis: FloatArray) -> FloatArray:
    """Return the logarithms of the scales with others between them."""
    return np.linspace(axis[0], axis[-1], FINER * (axis.size - 1) + 1)


def _fine(axis: FloatArray, table: FloatArray) -> FloatArray:
    """Return a table with the scales between by splines: the likelihood is smooth in them."""
    return np.asarray(CubicSpline(axis, table, axis=1)(_finer(axis)))


def _weights(logs: FloatArray) -> FloatArray:
    """Return the weights of the grid, which add up to 1."""
    weight = np.exp(logs - logs.max())
    return np.asarray(weight / weight.sum())


def _common(axes: tuple[FloatArray, FloatArray, FloatArray], logs: FloatArray) -> FloatArray:
    """Return the log prior on the grid: what the profiles have in common, even for a few."""
    count = len(logs)
    shapes = [np.reshape(axis, [-1 if k == j else 1 for k in range(3)])
              for j, axis in enumerate(axes)]  # fmt: skip
    prior = np.zeros(logs.shape[1:])
    if count < ENOUGH:
        return prior
    like = prior
    for _ in range(ROUNDS):
        weight = np.exp(logs + prior - (logs + prior).max(axis=(1, 2, 3), keepdims=True))
        weight /= weight.sum(axis=(1, 2, 3), keepdims=True)
        weight *= np.exp(like - prior)
        own = weight.sum(axis=(1, 2, 3))
        normal = np.zeros(prior.shape)
        for shape, least in zip(shapes, LEAST_SPREAD, strict=True):
            middle = float((weight * shape).sum() / own.sum())
            # the spread between profiles, and the error of its middle
            spread = float((weight * (shape - middle) ** 2).sum() / own.sum())
            spread = max(spread, least**2) * (1.0 + 1.0 / count)
            normal = normal - 0.5 * (shape - middle) ** 2 / spread
        normal = np.exp(normal)
        like = np.log((1.0 - UNLIKE) * normal / normal.sum() + 1e-300)
        prior = np.log(np.exp(like) + UNLIKE / normal.size)
    return prior


def _noise(
    profile: Profile,
    axes: tuple[FloatArray, FloatArray, FloatArray],
    weight: FloatArray,
    variance: FloatArray | None,
) -> Noise:
    """Return the mean noise over the grid, with the freedom of its variance of the depth."""
    means = [
        float((weight.sum(axis=tuple({0, 1, 2} - {j})) * axis).sum()) for j, axis in enumerate(axes)
    ]
    scale, ratio, length = np.exp(means)
    known = np.inf
    if variance is not None:
        middle = float((weight * variance).sum())
        spread = float((weight * (variance - middle) ** 2).sum())
        known = float(np.clip(2.0 / max(spread, 1e-12), LEAST_KNOWN, MOST_KNOWN))
    typical = float(np.sqrt(np.mean(profile.sd_nT**2)))
    return Noise(float(scale), float(ratio * scale * typical), float(length), known)
