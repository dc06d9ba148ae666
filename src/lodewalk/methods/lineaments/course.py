"""Course of a lineament: straight, bent once or an arc, and how its trace wanders beside it."""

from typing import Final, NamedTuple

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.special import ndtr

from lodewalk.methods.lineaments.trace import LEAST_LONG
from lodewalk.validation import FloatArray

#: Length of the filter that traced it: what lines err is blurred over it, and so is a bend [line
#: spacings].
FILTER: Final = LEAST_LONG
#: Standard deviations of what lines err, blurred [line spacings].
ERRORS: Final = np.geomspace(0.01, 0.5, 10)
#: Lengths of what wanders beyond the filter's [line spacings], its sizes in that of what lines err,
#: and how probable it is that nothing does.
LENGTHS, SIZES, STEADY = (2.0, 3.0, 5.0), (0.5, 1.0, 2.0, 4.0, 8.0), 0.2
#: Share of the error of a place that is its own, by rounding of nodes and corners.
OWN: Final = 0.02
#: Usual turn at a bend [deg], and of an arc [deg a line spacing] (common practice).
BEND_DEG, ARC_DEG = 10.0, 1.0
#: How probable each of the three is: straight, bent once, an arc.
EACH: Final = 1.0 / 3.0
#: Distance of the places where a bend is looked for [line spacings].
STEP: Final = 0.5


class Told(NamedTuple):
    """What some hypotheses tell of the strike at m places.

    Parameters
    ----------
    log_weight : array, shape (k,)
        Logarithm of how probable each is, but for one constant.
    turn, variance : array, shape (k, m)
        Strike against that of the lineament, and its variance [radians].
    """

    log_weight: FloatArray
    turn: FloatArray
    variance: FloatArray


class _Wander(NamedTuple):
    """Length and size of what wanders, and the logarithm of how probable they are."""

    length: float
    size: float
    log_prior: float


class _Shapes(NamedTuple):
    """Ways to turn, each by one number: an arc, then a bend at each of some places.

    `aside` is how far places along lie aside, `turn` the strike where it is asked, both for a
    number of one; `spread` is the variance of the number [radians], `log_prior` how probable each.
    """

    aside: FloatArray
    turn: FloatArray
    spread: FloatArray
    log_prior: FloatArray


class _Whitened(NamedTuple):
    """Columns over the root of an error's covariance, free of the straight line's part.

    `places`, `shapes` and `slopes` are the places aside, the shapes and the covariance of the slope
    of what wanders; `line` is the straight line's slope fitted to the first two and `line_variance`
    its variance, `slope_variance` that of line and wander together; `log_det` belongs to REML.
    """

    places: FloatArray
    shapes: FloatArray
    slopes: FloatArray
    line: tuple[float, FloatArray]
    line_variance: float
    slope_variance: FloatArray
    log_det: float


def course(along: FloatArray, aside: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the strike at places along a traced line, and its variance.

    Parameters
    ----------
    along, aside : array, shape (n,)
        Distance of its places along it, and how far they lie to its right, as they follow from its
        heading against its mean strike [line spacings].
    at : array, shape (m,)
        Distances at which the strike is asked [line spacings].

    Returns
    -------
    tuple of array, shape (m,)
        Strike against the mean one [radians], and its variance.

    Notes
    -----
    The body strikes straight, in an arc, or is bent once, at any of the places, which the filter
    blurs. What lines err, each for itself, the filter correlates by ``exp(-d**2 / (4 a**2))`` at a
    distance ``d``, with its length ``a``; so a trace bends smoothly, and its scatter about a
    straight piece tells little of the error. What turns within that length counts as such an error.
    Beyond that the trace wanders, over two to five line spacings and with any size. Whether the
    body does, or neighbours pull the trace off it, a trace can't tell; either is taken as equally
    probable: of all ways to share what wanders between the two, half-way errs least at the worse.
    The means and variances are those of all hypotheses together [1]_, each by its restricted
    likelihood [2]_; slopes of what wanders as in [3]_, section 9.4.

    References
    ----------
    .. [1] Hoeting, J. A., Madigan, D., Raftery, A. E., and Volinsky, C. T. (1999), Bayesian model
       averaging: a tutorial, Statistical Science, 14(4), 382-417 (from memory),
       doi:10.1214/ss/1009212519.
    .. [2] Patterson, H. D., and Thompson, R. (1971), Recovery of inter-block information when block
       sizes are unequal, Biometrika, 58(3), 545-554 (from memory), doi:10.1093/biomet/58.3.545.
    .. [3] Rasmussen, C. E., and Williams, C. K. I. (2006), Gaussian Processes for Machine Learning,
       MIT Press, sections 2.7 and 9.4 (from memory).

    Examples
    --------
    >>> along = np.arange(0.0, 20.1, 0.5)
    >>> bent = 0.2 * np.maximum(along - 10.0, 0.0)
    >>> turn, variance = course(along, bent, np.array([2.0, 18.0]))
    >>> bool(np.abs(turn - [0.0, 0.2]).max() < 0.01)
    True
    """
    middle = float(along.mean())
    shapes = _shapes(along - middle, at - middle)
    told = [
        part
        for wander in _wanders()
        for part in _hypotheses(along - middle, aside, at - middle, shapes, wander)
    ]
    weight = np.concatenate([part.log_weight for part in told])
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    turn = np.concatenate([part.turn for part in told])
    mean = weight @ turn
    variance = weight @ (np.concatenate([part.variance for part in told]) + (turn - mean) ** 2)
    return mean, variance


def _wanders() -> list[_Wander]:
    """Return what may wander, none first."""
    each = np.log((1.0 - STEADY) / (len(LENGTHS) * len(SIZES)))
    return [
        _Wander(1.0, 0.0, float(np.log(STEADY))),
        *(_Wander(length, size, float(each)) for length in LENGTHS for size in SIZES),
    ]


def _shapes(along: FloatArray, at: FloatArray) -> _Shapes:
    """Return the ways to turn; a bend lies at least a filter's length inside."""
    bends = np.arange(along[0] + FILTER, along[-1] - FILTER + 1e-9, STEP)
    return _Shapes(
        np.column_stack([along**2 / 2.0, _blurred(along[:, None] - bends)]),
        np.column_stack([at, at[:, None] > bends]),
        np.radians(np.array([ARC_DEG, *[BEND_DEG] * bends.size])) ** 2,
        np.log(np.array([EACH, *[EACH / max(bends.size, 1)] * bends.size])),
    )


def _hypotheses(
    along: FloatArray, aside: FloatArray, at: FloatArray, shapes: _Shapes, wander: _Wander
) -> list[Told]:
    """Return what is told if the trace wanders so, of each shape, off the body or with it."""
    white = _whitened(along, aside, at, shapes.aside, wander)
    off = white._replace(
        slopes=np.zeros_like(white.slopes),
        slope_variance=np.full(at.size, white.line_variance),
    )
    ways = [off, white] if wander.size else [off]
    prior = wander.log_prior - np.log(len(ways))
    return [
        told for way in ways for told in (_straight(way, prior), _turned(way, shapes, prior))
    ]  # fmt: skip


def _whitened(
    along: FloatArray, aside: FloatArray, at: FloatArray, shapes: FloatArray, wander: _Wander
) -> _Whitened:
    """Return all columns over the root of the covariance, for errors of one line spacing."""
    apart = along[:, None] - along
    covariance = _alike(apart, FILTER) + OWN * np.eye(along.size)
    covariance += wander.size**2 * _alike(apart, wander.length)
    ahead = at - along[:, None]
    slopes = -(wander.size**2) * ahead / (2.0 * wander.length**2) * _alike(ahead, wander.length)
    line = np.column_stack([np.ones(along.size), along])
    columns = np.column_stack([line, aside, shapes, slopes])
    root = cholesky(covariance, lower=True, check_finite=False)
    white = solve_triangular(root, columns, lower=True, check_finite=False)
    basis, rest = white[:, :2], white[:, 2:]
    inverse = np.linalg.inv(basis.T @ basis)
    part = inverse @ (basis.T @ rest)
    free = rest - basis @ part
    first = 1 + shapes.shape[1]
    # what the line's own slope and the wander's leave open together
    open_ = np.array([[0.0], [1.0]]) - basis.T @ rest[:, first:]
    known = wander.size**2 / (2.0 * wander.length**2) - np.sum(rest[:, first:] ** 2, axis=0)
    return _Whitened(
        free[:, 0], free[:, 1:first], free[:, first:],
        (float(part[1, 0]), part[1, 1:first]),
        float(inverse[1, 1]),
        known + np.sum(open_ * (inverse @ open_), axis=0),
        float(np.log(np.diag(root)).sum() - 0.5 * np.linalg.slogdet(inverse)[1]),
    )  # fmt: skip


def _alike(apart: FloatArray, length: float) -> FloatArray:
    """Return the correlation of white noise that a Gaussian of some length has blurred."""
    made: FloatArray = np.exp(-(apart**2) / (4.0 * length**2))
    return made


def _blurred(beyond: FloatArray) -> FloatArray:
    """Return the part of a line beyond a bend of one radian, blurred by the filter."""
    share = beyond / FILTER
    made: FloatArray = FILTER * (
        share * ndtr(share) + np.exp(-0.5 * share**2) / np.sqrt(2.0 * np.pi)
    )
    return made


def _straight(white: _Whitened, log_prior: float) -> Told:
    """Return what a straight body tells, by size of the errors."""
    left = float(white.places @ white.places)
    turn = white.line[0] + white.slopes.T @ white.places
    weight = _reml(white, left) + log_prior + np.log(EACH)
    return Told(
        weight, np.tile(turn, (ERRORS.size, 1)), ERRORS[:, None] ** 2 * white.slope_variance
    )


def _turned(white: _Whitened, shapes: _Shapes, log_prior: float) -> Told:
    """Return what bodies that turn tell, by size of the errors and shape."""
    square = ERRORS[:, None] ** 2
    size, with_it = np.sum(white.shapes**2, axis=0), white.shapes.T @ white.places
    stiff = square / shapes.spread + size
    found = with_it / stiff
    left = float(white.places @ white.places) - with_it**2 / stiff
    weight = _reml(white, left) - 0.5 * np.log1p(shapes.spread * size / square)
    gain = shapes.turn.T - white.line[1][:, None] - white.shapes.T @ white.slopes
    turn = white.line[0] + white.slopes.T @ white.places + gain * found[:, :, None]
    variance = square[:, :, None] * (white.slope_variance + gain**2 / stiff[:, :, None])
    flat = (-1, gain.shape[1])
    return Told(
        (weight + log_prior + shapes.log_prior).ravel(), turn.reshape(flat), variance.reshape(flat)
    )


def _reml(white: _Whitened, left: float | FloatArray) -> FloatArray:
    """Return the restricted log likelihood of squares left, by size of the errors."""
    errors = ERRORS if np.ndim(left) == 0 else ERRORS[:, None]
    made: FloatArray = (
        -(white.places.size - 2) * np.log(errors) - white.log_det - 0.5 * left / errors**2
    )
    return made
