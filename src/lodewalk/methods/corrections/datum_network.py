"""Offsets of bases, rovers and older surveys on one datum, from the ties between them."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.stats import chi2, norm

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_same_length

IntArray = NDArray[np.int64]

#: Chance of suspecting a good tie (Baarda 1968, from memory); 3.29 sd.
SNOOPING_LEVEL: Final = 0.001
#: Chance of missing a gross error of the size given as detectable (Baarda 1968, from memory).
MISSED: Final = 0.20
#: A tie of smaller redundancy is checked by no other.
UNCHECKED: Final = 1e-9
#: Ties whose standardised residuals are this close can't be told apart.
SAME_RESIDUAL: Final = 1e-6


@dataclass(frozen=True)
class DatumNetwork:
    """An adjusted network; see `adjust_network`.

    Parameters
    ----------
    nodes : tuple
        Names of the nodes.
    offset_nT : array, shape (n,)
        Level of each node above the datum [nT]; NaN where no chain of ties leads to the datum.
    sd_nT : array, shape (n,)
        Standard deviation of each offset from the stated sd of the ties [nT]; NaN likewise.
    covariance_nT2 : array, shape (n, n)
        Covariance of the offsets [nT^2]; NaN likewise.
    unconnected : tuple
        Names of the nodes without a chain of ties to the datum.
    residual_nT : array, shape (m,)
        Tie minus adjusted difference [nT]; NaN for a tie between unconnected nodes.
    redundancy : array, shape (m,)
        Share of an error of the tie that shows in its own residual, 0 (no other tie checks it)
        to 1; NaN likewise.
    standardised : array, shape (m,)
        Residual over its own sd; NaN where the redundancy is 0 or the tie isn't in the network.
    detectable_nT : array, shape (m,)
        Gross error that would be suspected in four cases of five [nT]; infinite where unchecked.
    chi_square, freedom : float, int
        Sum of the squared residuals over sd, and its degrees of freedom.
    probability : float
        Chance of a larger `chi_square` if ties and sd are right; NaN without freedom.
    suspects : tuple of int
        Ties proposed as gross errors: the one with the largest standardised residual, if that is
        above the limit. Several where they can't be told apart. All stay in the adjustment.
    datum : str
        What the offsets count from, in words.
    """

    nodes: tuple[Hashable, ...]
    offset_nT: FloatArray
    sd_nT: FloatArray
    covariance_nT2: FloatArray
    unconnected: tuple[Hashable, ...]
    residual_nT: FloatArray
    redundancy: FloatArray
    standardised: FloatArray
    detectable_nT: FloatArray
    chi_square: float
    freedom: int
    probability: float
    suspects: tuple[int, ...]
    datum: str

    @property
    def variance_factor(self) -> float:
        """`chi_square` over `freedom`, near 1 if the stated sd are right; NaN without freedom."""
        return self.chi_square / self.freedom if self.freedom else np.nan

    def between(self, first: Hashable, second: Hashable) -> tuple[float, float]:
        """Return level of `second` minus level of `first`, and its sd [nT]."""
        a, b = self.nodes.index(first), self.nodes.index(second)
        c = self.covariance_nT2
        variance = c[a, a] + c[b, b] - 2 * c[a, b]
        return float(self.offset_nT[b] - self.offset_nT[a]), float(np.sqrt(max(variance, 0.0)))


def adjust_network(
    first: Sequence[Hashable],
    second: Sequence[Hashable],
    difference_nT: ArrayLike,
    sd_nT: ArrayLike,
    *,
    fixed: Hashable | None = None,
    nodes: Sequence[Hashable] = (),
    snooping_level: float = SNOOPING_LEVEL,
) -> DatumNetwork:
    """Adjust a network of ties by weighted least squares and test it.

    Parameters
    ----------
    first, second : sequence, shape (m,)
        Names of the two nodes of each tie: a base at one of its places, a rover, an older survey.
    difference_nT : array, shape (m,)
        Level of `second` minus level of `first` [nT].
    sd_nT : array, shape (m,)
        Standard deviation of each tie [nT], above zero; errors of different ties are independent.
    fixed : name, optional
        Node that is the datum: offset 0, sd 0. Without it the datum is the mean of the largest
        group of nodes that hang together (the solution of least norm).
    nodes : sequence, optional
        Nodes in the order wanted, among them any that no tie reaches; others follow as they occur.
    snooping_level : float
        Chance of suspecting a good tie, between 0 and 1.

    Returns
    -------
    DatumNetwork

    Raises
    ------
    InputError
        When lengths differ, there is no tie, a tie joins a node to itself, a number is missing, a
        sd isn't above zero, or `fixed` is not a node.

    Notes
    -----
    With design A (-1, +1 in each row) and weights W = 1/sd^2, offsets are ``(A'WA)^-1 A'W d``
    without the datum's column, their covariance ``(A'WA)^-1``; residuals v have covariance
    ``R W^-1`` with ``R = I - A (A'WA)^-1 A'W``, whose diagonal is the redundancy r [1]_. Data
    snooping compares ``v / (sd sqrt(r))`` with the normal limit; an error of
    ``sd (limit + 0.84) / sqrt(r)`` would be found in 80 % of cases [2]_ (both from memory).

    Snooping supposes one gross error. Leave a suspect out and adjust again before the next; a
    decision, as it is a person who knows whether a base was knocked or a page misread.

    References
    ----------
    .. [1] Baarda, W. (1968), A testing procedure for use in geodetic networks, Netherlands
       Geodetic Commission, Publications on Geodesy, New Series 2(5).
    .. [2] Baarda, W. (1967), Statistical concepts in geodesy, Netherlands Geodetic Commission,
       Publications on Geodesy, New Series 2(4).

    Examples
    --------
    Three bases, each pair tied; the loop misses by 0.3 nT, spread evenly over equal ties:

    >>> found = adjust_network(["A", "B", "C"], ["B", "C", "A"], [10.0, 5.0, -14.7],
    ...                        [1.0, 1.0, 1.0], fixed="A")
    >>> found.offset_nT.round(6).tolist()
    [0.0, 9.9, 14.8]
    """
    names, a, b = _numbered(first, second, nodes)
    difference, sd = _checked(a, b, difference_nT, sd_nT)
    if not 0.0 < snooping_level < 1.0:
        raise InputError("snooping_level must lie between 0 and 1.", value=snooping_level)
    if fixed is not None and fixed not in names:
        known = ", ".join(map(str, names))
        raise InputError("The fixed node must be a node.", value=fixed, remedy=f"Nodes: {known}.")
    group, used = _datum_group(len(names), a, b, None if fixed is None else names.index(fixed))
    design = np.zeros((int(used.sum()), int(group.sum())))
    column = np.cumsum(group) - 1
    rows = np.arange(len(design))
    np.add.at(design, (rows, column[a[used]]), -1.0)
    np.add.at(design, (rows, column[b[used]]), 1.0)
    at = None if fixed is None else int(column[names.index(fixed)])
    solved = _solved(design / sd[used, None], at)
    offset = solved.T @ (difference[used] / sd[used])
    residual = difference[used] - design @ offset
    redundancy = 1.0 - np.einsum("ij,ij->i", design / sd[used, None], solved)
    redundancy = np.where(redundancy < UNCHECKED, 0.0, redundancy)
    standard, detectable = _snooped(residual, sd[used], redundancy, snooping_level)
    square = float(np.sum((residual / sd[used]) ** 2))
    freedom = int(used.sum()) - max(int(group.sum()) - 1, 0)
    return DatumNetwork(
        nodes=names,
        offset_nT=_spread(offset, group),
        sd_nT=_spread(np.sqrt(np.sum(solved**2, axis=0)), group),
        covariance_nT2=_spread_square(solved.T @ solved, group),
        unconnected=tuple(name for name, inside in zip(names, group, strict=True) if not inside),
        residual_nT=_spread(residual, used),
        redundancy=_spread(redundancy, used),
        standardised=_spread(standard, used),
        detectable_nT=_spread(detectable, used),
        chi_square=square,
        freedom=freedom,
        probability=float(chi2.sf(square, freedom)) if freedom else np.nan,
        suspects=_suspects(_spread(standard, used), float(norm.isf(snooping_level / 2))),
        datum="mean of the connected nodes" if fixed is None else f"{fixed}",
    )


def _numbered(
    first: Sequence[Hashable], second: Sequence[Hashable], nodes: Sequence[Hashable]
) -> tuple[tuple[Hashable, ...], IntArray, IntArray]:
    """Return the names of all nodes and the numbers of both ends of each tie."""
    if len(first) != len(second):
        found = f"first {len(first)}, second {len(second)}"
        raise InputError("Arrays must have the same length.", value=found)
    ends = (end for tie in zip(first, second, strict=True) for end in tie)
    names = tuple(dict.fromkeys([*nodes, *ends]))
    number = {name: i for i, name in enumerate(names)}
    a = np.array([number[end] for end in first], dtype=np.int64)
    b = np.array([number[end] for end in second], dtype=np.int64)
    return names, a, b


def _checked(
    a: IntArray, b: IntArray, difference_nT: ArrayLike, sd_nT: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return differences and sd, after a check of what each tie says."""
    difference = np.atleast_1d(np.asarray(difference_nT, dtype=float))
    sd = np.atleast_1d(np.asarray(sd_nT, dtype=float))
    check_same_length(first=a, difference_nT=difference, sd_nT=sd)
    if not a.size:
        raise InputError("A network needs at least one tie.")
    for bad, rule, values in (
        (a == b, "A tie must join two different nodes.", a),
        (~np.isfinite(difference), "Each tie must have a difference.", difference),
        (~(np.isfinite(sd) & (sd > 0)), "The sd of each tie must be above zero.", sd),
    ):
        if bad.any():
            tie = int(np.flatnonzero(bad)[0])
            raise InputError(rule, value=f"{values[tie]} at tie {tie} (counted from 0)")
    return difference, sd


def _datum_group(
    count: int, a: IntArray, b: IntArray, fixed: int | None
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which nodes hang together with the datum, and which ties lie among them."""
    graph = coo_array((np.ones(a.size), (a, b)), shape=(count, count))
    label = connected_components(graph, directed=False)[1]
    chosen = np.argmax(np.bincount(label)) if fixed is None else label[fixed]
    group = label == chosen
    return group, group[a]


def _solved(whitened: FloatArray, fixed: int | None) -> FloatArray:
    """Return the transposed generalised inverse (m, n) of the design over sd."""
    inverse: FloatArray = np.zeros((whitened.shape[1], whitened.shape[0]))
    if not whitened.size:
        return inverse.T
    if fixed is None:
        inverse[:] = np.linalg.pinv(whitened, rcond=1e-12)
    else:
        free = np.arange(whitened.shape[1]) != fixed
        inverse[free] = np.linalg.pinv(whitened[:, free], rcond=1e-12)
    return inverse.T


def _snooped(
    residual: FloatArray, sd: FloatArray, redundancy: FloatArray, level: float
) -> tuple[FloatArray, FloatArray]:
    """Return standardised residuals, and the gross error of each tie that would be found [nT]."""
    checked = redundancy > 0
    root = np.sqrt(np.where(checked, redundancy, 1.0))
    far = norm.isf(level / 2) + norm.isf(MISSED)
    standard = np.where(checked, residual / (sd * root), np.nan)
    return standard, np.where(checked, far * sd / root, np.inf)


def _suspects(standard: FloatArray, limit: float) -> tuple[int, ...]:
    """Return the ties with the largest standardised residual, if it is above the limit."""
    size = np.nan_to_num(np.abs(standard), nan=0.0)
    if size.max() <= limit:
        return ()
    return tuple(np.flatnonzero(size >= size.max() * (1 - SAME_RESIDUAL)).tolist())


def _spread(values: FloatArray, where: NDArray[np.bool_]) -> FloatArray:
    """Return values at their places, NaN elsewhere."""
    out = np.full(where.size, np.nan)
    out[where] = values
    return out


def _spread_square(values: FloatArray, where: NDArray[np.bool_]) -> FloatArray:
    """Return rows and columns at their places, NaN elsewhere."""
    out = np.full((where.size, where.size), np.nan)
    out[np.ix_(where, where)] = values
    return out
