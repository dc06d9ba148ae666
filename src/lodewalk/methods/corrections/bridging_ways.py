"""Ways across a gap without the rover: the record's own sides, or another record followed."""

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.corrections.bridging_field import Estimate, Weights, kriged
from lodewalk.methods.corrections.bridging_structure import (
    TINY,
    Gap,
    Record,
    Structure,
    fit_structure,
    side_misfits,
)
from lodewalk.validation import FloatArray

Source = Literal["sides", "other record", "quiet days", "unknown"]

#: Share of the straight line in the bridge from the sides alone; guards against a structure
#: function that is wrong.
LINE_SHARE: Final = 0.75

#: Sd of the factor of another record at the outset, about 1: the same field at another place,
#: and the shape of other days.
FACTOR_SD: Final = {"other record": 0.1, "quiet days": 0.5}

#: A way replaces the one from the sides where its error variance is below this share of it.
BEST_SHARE: Final = {"other record": 0.8, "quiet days": 0.6}

#: The shape of other days is another one where its factor lies outside.
FACTOR_OF_SHAPE: Final = (0.5, 2.0)

#: Shortest lag that tells the factor, as a share of the gap.
FACTOR_LAG: Final = 0.1

#: Rounds in which the factor and what is left by it tell each other.
FACTOR_ROUNDS: Final = 4

DAY_S: Final = 86_400.0

#: Record on each side, in lengths of the gap, that another day must have too; the length over
#: which its shape is smoothed; and steps of the shape in a gap.
SHAPE_SIDE: Final = 1.0
SHAPE_SMOOTH: Final = 0.5
SHAPE_STEPS: Final = 60


@dataclass(frozen=True)
class Way:
    """A bridge at the nodes of a gap.

    Parameters
    ----------
    source : str
        Where it comes from.
    estimate : Estimate
        At the covered nodes.
    covered : bool array, shape (n_nodes,)
        Nodes that it reaches.
    structure : Structure
        Of what lies between the nodes.
    factor : float
        Of the record followed; NaN for none.
    followed : Record, optional
        That record.
    noise_nT2 : float
        Variance of the noise of its readings, beside the covariance of the estimate [nT^2].
    """

    source: Source
    estimate: Estimate
    covered: BoolArray
    structure: Structure
    factor: float = float("nan")
    followed: Record | None = None
    noise_nT2: float = 0.0

    @property
    def mean_square(self) -> float:
        """Mean predicted squared error [nT^2]."""
        return float(np.mean(np.diag(self.estimate.covariance_nT2))) + self.noise_nT2


def choose_way(
    sides: Record,
    gap: Gap,
    nodes_s: FloatArray,
    *,
    others: tuple[Record, ...],
    quiet_days: Record | None,
    noise_nT: float,
) -> Way | None:
    """Return the way that reaches most nodes and, of these, has the least predicted error."""
    own = from_sides(sides, gap, nodes_s, noise_nT=noise_nT)
    sources: list[tuple[Source, Record | None]] = [("other record", other) for other in others]
    sources.append(("quiet days", _quiet_shape(quiet_days, gap)))
    found = [] if own is None else [own]
    for source, record in sources:
        way = _follow(sides, gap, nodes_s, record, source=source, noise_nT=noise_nT)
        if way is None or (source == "quiet days" and not _alike(way)):
            continue
        if own is not None and record is not None:
            if source == "quiet days":
                reached = _reached(sides, record)
                way = _as_rough(way, own, from_sides(reached, gap, nodes_s, noise_nT=noise_nT))
            way = _filled(way, own)
            if way.mean_square >= BEST_SHARE[source] * own.mean_square:
                continue
        found.append(way)
    return min(found, key=lambda w: (-w.covered.sum(), w.mean_square), default=None)


def _alike(way: Way) -> bool:
    """Whether the shape of other days is also that of this one."""
    return bool(FACTOR_OF_SHAPE[0] <= way.factor <= FACTOR_OF_SHAPE[1])


def from_sides(sides: Record, gap: Gap, nodes_s: FloatArray, *, noise_nT: float) -> Way | None:
    """Return the bridge from the record's own two sides; None with one, or with too little."""
    if not gap.two_sided:
        return None
    structure = fit_structure(sides, gap, noise_nT=noise_nT)
    if not structure.known:
        return None
    weights, covariance = kriged(sides, gap, nodes_s, structure=structure, line_share=LINE_SHARE)
    estimate = Estimate(weights.of(weights.known.value_nT), covariance)
    return Way("sides", estimate, np.ones(nodes_s.size, dtype=bool), structure)


def _follow(
    sides: Record,
    gap: Gap,
    nodes_s: FloatArray,
    other: Record | None,
    *,
    source: Source,
    noise_nT: float,
) -> Way | None:
    """Return the bridge along another record; None where the two never meet beside the gap."""
    if other is None or other.time_s.size < 2:
        return None
    at_nodes, at_sides = other.at(nodes_s), other.at(sides.time_s)
    both, covered = np.isfinite(at_sides), np.isfinite(at_nodes)
    if both.sum() < 2 or not covered.any():
        return None
    base, seen = sides.part(both), Record(sides.time_s[both], at_sides[both])
    gap = _common_gap(base, gap)
    factor, factor_sd = _factor(base, seen, gap, sd=FACTOR_SD[source])
    left = Record(base.time_s, base.value_nT - factor * seen.value_nT)
    shape = source == "quiet days"  # smooth, so it adds no noise
    if shape and not gap.two_sided:
        return None
    structure = fit_structure(left, gap, noise_nT=noise_nT, free_noise=not shape)
    if not structure.known:
        return None
    at = nodes_s[covered]
    line_share = LINE_SHARE if shape else 0.0
    weights, covariance = kriged(left, gap, at, structure=structure, line_share=line_share)
    departure = at_nodes[covered] - weights.of(_values_at(seen, weights))
    covariance += factor_sd**2 * np.outer(departure, departure)
    value = weights.of(weights.known.value_nT) + factor * at_nodes[covered]
    estimate = Estimate(value, covariance)
    # the noise of the record followed goes into the bridge; that of the base doesn't
    noise_nT2 = float(structure.weights_nT2[0]) - noise_nT**2
    return Way(source, estimate, covered, structure, factor, other, noise_nT2)


def _reached(sides: Record, record: Record) -> Record:
    """Return the sides as far as another record reaches."""
    return sides.part((sides.time_s >= record.time_s[0]) & (sides.time_s <= record.time_s[-1]))


def _as_rough(way: Way, own: Way, near: Way | None) -> Way:
    """Return the way with its error in proportion to that of the sides as far as it reaches.

    The shape of other days reaches less far than the record, which has told more of roughness.
    """
    if near is None:
        return way
    ratio = own.mean_square / max(near.mean_square, TINY)
    estimate = Estimate(way.estimate.value_nT, ratio * way.estimate.covariance_nT2)
    return replace(way, estimate=estimate)


def _values_at(seen: Record, weights: Weights) -> FloatArray:
    """Return the record at the very readings that are weighted [nT]."""
    return seen.value_nT[np.searchsorted(seen.time_s, weights.known.time_s)]


def _common_gap(base: Record, gap: Gap) -> Gap:
    """Return the gap between readings at times that both records cover."""
    before, after = base.time_s[base.time_s <= gap.start_s], base.time_s[base.time_s >= gap.end_s]
    start = float(before[-1]) if before.size else -np.inf
    end = float(after[0]) if after.size else np.inf
    first = start if before.size else gap.first_s
    return Gap(start, end, first, end if after.size else gap.last_s)


def _factor(base: Record, seen: Record, gap: Gap, *, sd: float) -> tuple[float, float]:
    """Return the factor of the other record, drawn towards 1, and its sd."""
    moments = []
    for ours, theirs in zip(side_misfits(base, gap), side_misfits(seen, gap), strict=True):
        known = np.isfinite(ours.value_nT) & np.isfinite(theirs.value_nT)
        if ours.lag_s < FACTOR_LAG * gap.length_s or not known.any():
            continue
        y, x, weight = ours.value_nT[known], theirs.value_nT[known], ours.weight[known]
        # misfits that overlap tell the same: about one in two lags is new
        new = known.sum() * ours.step_s / (2 * ours.lag_s)
        moments.append([new, *(np.average(p, weights=weight) for p in (x * x, x * y, y * y))])
    new, xx, xy, yy = np.array(moments).reshape(-1, 4).T
    factor, precision = 1.0, sd**-2
    for _ in range(FACTOR_ROUNDS):
        heard = new / np.maximum(yy - 2 * factor * xy + factor**2 * xx, TINY)
        precision = sd**-2 + float(heard @ xx)
        factor = (sd**-2 + float(heard @ xy)) / precision
    return factor, precision**-0.5


def _filled(way: Way, own: Way) -> Way:
    """Return the way with the nodes that it doesn't reach estimated from those that it does."""
    if way.covered.all():
        return way
    to, since = ~way.covered, way.covered
    ours = own.estimate.covariance_nT2
    known = ours[np.ix_(since, since)]
    known = known + 1e-9 * np.trace(known) / len(known) * np.eye(len(known))
    gain = np.linalg.solve(known, ours[np.ix_(since, to)]).T
    value = own.estimate.value_nT.copy()
    value[to] += gain @ (way.estimate.value_nT - value[since])
    value[since] = way.estimate.value_nT
    full = np.zeros_like(ours)
    carry = np.zeros((value.size, since.sum()))
    carry[since] = np.eye(since.sum())
    carry[to] = gain
    full[np.ix_(to, to)] = ours[np.ix_(to, to)] - gain @ ours[np.ix_(since, to)]
    noise = way.noise_nT2 * np.eye(since.sum())
    full += carry @ (way.estimate.covariance_nT2 + noise) @ carry.T
    everywhere = np.ones(value.size, dtype=bool)
    return replace(
        way,
        estimate=Estimate(value, full),
        covered=everywhere,
        structure=own.structure,
        followed=None,
        noise_nT2=0.0,
    )


def _quiet_shape(days: Record | None, gap: Gap) -> Record | None:
    """Return the mean shape of other days at the same time of day; None where no day has it."""
    if days is None or days.time_s.size < 2 or not gap.two_sided:
        return None
    step = gap.length_s / SHAPE_STEPS
    half = round(SHAPE_SMOOTH * SHAPE_STEPS / 2)
    reach = round(SHAPE_SIDE * SHAPE_STEPS)
    steps = np.arange(-reach - half, SHAPE_STEPS + reach + half + 1, dtype=np.float64)
    at = gap.first_s + step * steps
    first = int(np.ceil((days.time_s[0] - at[0]) / DAY_S))
    last = int(np.floor((days.time_s[-1] - at[-1]) / DAY_S))
    shapes = [days.at(at + day * DAY_S) for day in range(first, last + 1) if day]
    shapes = [shape - shape.mean() for shape in shapes if np.isfinite(shape).all()]
    if not shapes:
        return None
    window = np.full(2 * half + 1, 1 / (2 * half + 1))
    smooth: FloatArray = np.convolve(np.mean(shapes, axis=0), window, mode="valid").astype(float)
    return Record(at[half : at.size - half], smooth)
