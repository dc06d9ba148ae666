"""The shortest walk over lines that can be walked either way; the solver is a library's."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError

Floats = NDArray[np.float64]
#: The solver counts in whole numbers: centimetres.
PER_METRE: Final = 100
#: Iterations of the solver; fixed, so that the same lines give the same walk.
ITERATIONS: Final = 600
#: Iterations are cut for long lists, where each takes longer.
MOST_WORK: Final = 60_000


@dataclass(frozen=True)
class WalkingRoute:
    """The order in which to walk some lines.

    Parameters
    ----------
    order : tuple of int
        Numbers of the lines in order of walking.
    reversed : tuple of bool
        Whether each of them is walked from its second end to its first.
    between_m : float
        Way between the lines, from and to the start if there is one [m].
    lines_m : float
        Length of the lines themselves [m].
    """

    order: tuple[int, ...]
    reversed: tuple[bool, ...]
    between_m: float
    lines_m: float


def shortest_walk(
    first_ends: Floats, second_ends: Floats, *, start: tuple[float, float] | None = None
) -> WalkingRoute:
    """Return the order and direction in which lines are walked with least way between them.

    Parameters
    ----------
    first_ends, second_ends : array, shape (n, 2)
        Easting and northing of both ends of each line [m].
    start : tuple of float, optional
        Where the walk starts and ends, such as the base [m]; left out, it may start at any line.

    Returns
    -------
    WalkingRoute

    Raises
    ------
    InputError
        When the ends don't pair up or aren't finite.

    Notes
    -----
    A vehicle routing problem with one vehicle: each line is a group of two clients, one for each
    direction, of which one is visited. The solver is iterated local search with a fixed seed and
    number of iterations: near the optimum, not proven to be it.

    Examples
    --------
    >>> import numpy as np
    >>> ends = np.array([[0.0, 0.0], [20.0, 0.0]]), np.array([[0.0, 100.0], [20.0, 100.0]])
    >>> round(shortest_walk(*ends, start=(0.0, -5.0)).between_m, 1)
    45.6
    """
    one, two = np.atleast_2d(np.asarray(first_ends)), np.atleast_2d(np.asarray(second_ends))
    if one.shape != two.shape or one.shape[1:] != (2,) or not np.isfinite([one, two]).all():
        raise InputError(
            "Each line needs two finite ends, easting and northing.", value=f"{one.shape}"
        )
    entries, exits = np.concatenate([one, two]), np.concatenate([two, one])
    lines_m = float(np.hypot(*(two - one).T).sum())
    visited = _solved(entries, exits, start)
    count = len(one)
    order = tuple(place % count for place in visited)
    turned = tuple(place >= count for place in visited)
    stops = [entries[place] for place in visited], [exits[place] for place in visited]
    between = sum(
        float(np.hypot(*(entry - left)))
        for left, entry in zip(stops[1][:-1], stops[0][1:], strict=True)
    )
    if start is not None and visited:
        home = np.asarray(start, dtype=float)
        between += float(np.hypot(*(stops[0][0] - home)) + np.hypot(*(stops[1][-1] - home)))
    return WalkingRoute(order, turned, between, lines_m)


def _solved(entries: Floats, exits: Floats, start: tuple[float, float] | None) -> list[int]:
    """Return the clients in the order of the best walk found."""
    from pyvrp import Model
    from pyvrp.stop import MaxIterations

    count = len(entries) // 2
    if count == 0:
        return []
    model = Model()
    nowhere = entries.mean(axis=0)
    home = nowhere if start is None else np.asarray(start, dtype=float)
    begin = model.add_location(*_whole(home))
    model.add_depot(begin)
    places = [model.add_location(*_whole(entry)) for entry in entries]
    groups = [model.add_client_group() for _ in range(count)]
    for number, place in enumerate(places):
        model.add_client(place, required=False, group=groups[number % count])
    _add_ways(model, begin, places, entries, exits, home, free=start is None)
    model.add_vehicle_type()
    iterations = max(50, min(ITERATIONS, MOST_WORK // count))
    result = model.solve(MaxIterations(iterations), seed=1, collect_stats=False, display=False)
    return [number for route in result.best.routes() for number in _visits(route)]


def _visits(route: Any) -> list[int]:
    """Return the numbers of the clients of a route, in order."""
    return [activity.idx for activity in route if activity.is_client()]


def _add_ways(
    model: Any,
    begin: Any,
    places: list[Any],
    entries: Floats,
    exits: Floats,
    home: Floats,
    *,
    free: bool,
) -> None:
    """Add the ways between all lines, and from and to the start; free ones cost nothing."""
    way = np.hypot(
        exits[:, np.newaxis, 0] - entries[np.newaxis, :, 0],
        exits[:, np.newaxis, 1] - entries[np.newaxis, :, 1],
    )
    there = np.hypot(*(entries - home).T) * (0 if free else 1)
    back = np.hypot(*(exits - home).T) * (0 if free else 1)
    for one, place in enumerate(places):
        model.add_edge(begin, place, distance=round(float(there[one]) * PER_METRE))
        model.add_edge(place, begin, distance=round(float(back[one]) * PER_METRE))
        for other, target in enumerate(places):
            if other != one:
                model.add_edge(place, target, distance=round(float(way[one, other]) * PER_METRE))


def _whole(place: Floats) -> tuple[int, int]:
    """Return a place in whole centimetres."""
    return round(float(place[0]) * PER_METRE), round(float(place[1]) * PER_METRE)
