"""A grid without gaps or edges: gaps and a ring round it filled so that its edges meet."""

from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from lodewalk.validation import FloatArray

BoolArray = NDArray[np.bool_]

#: Length over which a filled surface bends before it is stretched like a membrane [nodes].
BEND: Final = 6.0
#: The torus has half as many nodes more than the grid, but within these.
RING: Final = (64, 256)
#: Sides are multiples of this, so that the torus can be halved.
MULTIPLE: Final = 16
SWEEPS: Final = 12
#: Halvings from a mesh to the one that tells what of it lies near known values.
BLOCK: Final = 3
COARSEST_SWEEPS: Final = 200
RELAXATION: Final = 1.3
#: Pull towards the plane that was taken off [per square node]: far out the fill returns to it, in
#: some thirty nodes, as fields of bodies do.
PULL: Final = 1e-3


class Torus(NamedTuple):
    """Values on a torus, and the first row and column of the grid on it."""

    values: FloatArray
    row: int
    column: int


def torus_shape(shape: tuple[int, ...]) -> tuple[int, int]:
    """Return the sides of the torus of a grid."""
    rows, columns = (_side(count) for count in shape)
    return rows, columns


def on_torus(values: FloatArray, known: BoolArray, shape: tuple[int, int]) -> Torus:
    """Return the grid with gaps and a ring round it filled; known values stay as they are."""
    row, column = ((side - n) // 2 for side, n in zip(shape, values.shape, strict=True))
    place = slice(row, row + values.shape[0]), slice(column, column + values.shape[1])
    filled, fixed = np.zeros(shape), np.zeros(shape, dtype=np.bool_)
    filled[place] = np.where(known, values, 0.0)
    fixed[place] = known
    return Torus(fill_torus(filled, fixed), row, column)


def fill_torus(values: FloatArray, fixed: BoolArray) -> FloatArray:
    """Return values with those not fixed laid smoothly between the others.

    Halved grids first: the longest waves of the fill come from them, the bend beside the known
    values from sweeps of the finer ones. Farther than some sixteen nodes from any known value the
    bend has died away, and the coarser surface, its corners cut at each doubling (Chaikin 1974,
    from memory), is smooth enough as it is.
    """
    levels = [(values, fixed)]
    while min(levels[-1][0].shape) >= 8 and not any(n % 2 for n in levels[-1][0].shape):
        levels.append(_halved(*levels[-1]))
    coarse, known = levels[-1]
    start = np.where(known, coarse, coarse[known].mean())
    for number in range(len(levels) - 1, -1, -1):
        values, known = levels[number]
        last = number == len(levels) - 1
        if not last:
            start = _doubled(start, values, known)
        near = levels[number + BLOCK][1] if number + BLOCK < len(levels) else None
        rows, columns = _sought(known, _widened(near))
        sweeps = COARSEST_SWEEPS if last else SWEEPS
        _relax(start, rows, columns, (BEND / 2**number) ** 2, sweeps, PULL * 4**number)
    return start


def _side(count: int) -> int:
    """Return the side of the torus of so many nodes."""
    least = count + min(max(count // 2, RING[0]), RING[1])
    return MULTIPLE * int(next_fast_len(-(-least // MULTIPLE), real=True))


def _widened(known: BoolArray | None) -> BoolArray:
    """Return a coarse map of what is near known values, two nodes more each way; all if None."""
    if known is None:
        return np.ones((1, 1), dtype=np.bool_)
    for axis in (0, 1):
        known = np.logical_or.reduce([np.roll(known, by, axis) for by in range(-2, 3)])
    return known


@njit(nogil=True, cache=True)
def _sought(known: BoolArray, near: BoolArray) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return rows and columns of the nodes to be relaxed: not known, but near known ones."""
    tall, wide = known.shape[0] // near.shape[0], known.shape[1] // near.shape[1]
    count = 0
    for i in range(known.shape[0]):
        for j in range(known.shape[1]):
            count += not known[i, j] and near[i // tall, j // wide]
    rows, columns = np.empty(count, np.int32), np.empty(count, np.int32)
    count = 0
    for i in range(known.shape[0]):
        for j in range(known.shape[1]):
            if not known[i, j] and near[i // tall, j // wide]:
                rows[count], columns[count] = i, j
                count += 1
    return rows, columns


@njit(nogil=True, cache=True)
def _halved(values: FloatArray, known: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Return means of the known values of each two by two nodes."""
    shape = values.shape[0] // 2, values.shape[1] // 2
    mean, any_known = np.zeros(shape), np.zeros(shape, np.bool_)
    for i in range(shape[0]):
        for j in range(shape[1]):
            total, count = 0.0, 0
            for a in range(2 * i, 2 * i + 2):
                for b in range(2 * j, 2 * j + 2):
                    if known[a, b]:
                        total += values[a, b]
                        count += 1
            if count:
                mean[i, j] = total / count
                any_known[i, j] = True
    return mean, any_known


@njit(nogil=True, cache=True)
def _doubled(coarse: FloatArray, values: FloatArray, known: BoolArray) -> FloatArray:
    """Return a torus of twice the nodes: known values, and the coarse ones with corners cut."""
    height, width = coarse.shape
    found = np.empty(values.shape)
    for i in range(values.shape[0]):
        mid = i // 2
        side = (mid + (1 if i % 2 else -1)) % height
        for j in range(values.shape[1]):
            if known[i, j]:
                found[i, j] = values[i, j]
                continue
            column = j // 2
            next_to = (column + (1 if j % 2 else -1)) % width
            near = 3.0 * coarse[mid, column] + coarse[mid, next_to]
            far = 3.0 * coarse[side, column] + coarse[side, next_to]
            found[i, j] = (3.0 * near + far) / 16.0
    return found


@njit(nogil=True, cache=True)
def _relax(
    u: FloatArray,
    rows: NDArray[np.int32],
    columns: NDArray[np.int32],
    bend: float,
    sweeps: int,
    pull: float,
) -> None:
    """Relax some nodes of a plate: bend * del4 u - del2 u + pull * u = 0, edges meeting."""
    height, width = u.shape
    diagonal = 20.0 * bend + 4.0 + pull
    for turn in range(sweeps):
        for step in range(rows.size):
            place = rows.size - 1 - step if turn % 2 else step
            i, j = rows[place], columns[place]
            # Negative indices count from the end, so only the far side has to be led round.
            a, b, a2, b2 = i - 1, i + 1, i - 2, i + 2
            c, d, c2, d2 = j - 1, j + 1, j - 2, j + 2
            b, b2 = b - height * (b >= height), b2 - height * (b2 >= height)
            d, d2 = d - width * (d >= width), d2 - width * (d2 >= width)
            far = u[a2, j] + u[b2, j] + u[i, c2] + u[i, d2]
            sides = u[a, j] + u[b, j] + u[i, c] + u[i, d]
            corners = u[a, c] + u[a, d] + u[b, c] + u[b, d]
            right = bend * (8.0 * sides - 2.0 * corners - far) + sides
            u[i, j] += RELAXATION * (right / diagonal - u[i, j])
