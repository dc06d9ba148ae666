"""Ways around obstacles, against closed forms and a fine mesh walked by Dijkstra's method."""

import numpy as np
import pytest
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from lodewalk.adapters.walking_ways import WalkingWays


def test_without_obstacles_ways_are_straight():
    rng = np.random.default_rng(1)
    one, two = rng.uniform(0, 500, (2, 40, 2))
    assert np.allclose(WalkingWays([])(one, two), np.hypot(*(two - one).T))


def test_round_a_circle_it_is_two_tangents_and_an_arc():
    ways = WalkingWays([shapely.Point(0, 0).buffer(50, quad_segs=32)])
    found = ways(np.array([[-100.0, 0.0]]), np.array([[100.0, 0.0]]))[0]
    tangent, angle = np.sqrt(100**2 - 50**2), np.arccos(0.5)
    exact = 2 * tangent + 50 * (np.pi - 2 * angle)
    assert exact - 0.1 <= found <= 1.04 * exact


def test_a_river_is_walked_round_its_end_and_a_yard_is_left_by_its_gate():
    river = shapely.LineString([(0, -1000), (0, 300)])
    found = WalkingWays([river])(np.array([[-40.0, 0.0]]), np.array([[40.0, 0.0]]))[0]
    assert found == pytest.approx(2 * np.hypot(40, 300), rel=0.02)
    yard = shapely.box(-50, -50, 50, 50).exterior.difference(shapely.box(40, -5, 60, 5))
    out = WalkingWays([yard])(np.array([[0.0, 0.0]]), np.array([[-100.0, 0.0]]))[0]
    assert out == pytest.approx(50 + 50 + 100 + np.hypot(50, 50), rel=0.05)


def test_where_no_way_leads_the_straight_length_counts():
    moat = shapely.Point(0, 0).buffer(80).difference(shapely.Point(0, 0).buffer(40))
    found = WalkingWays([moat])(np.array([[0.0, 0.0]]), np.array([[200.0, 0.0]]))
    assert found.tolist() == [200.0]


@pytest.mark.parametrize("seed", range(4))
def test_ways_are_those_of_a_fine_mesh(seed):
    rng = np.random.default_rng(seed)
    walls = [shapely.box(*p, *(p + rng.uniform(20, 80, 2))) for p in rng.uniform(20, 180, (5, 2))]
    one, two = np.array([[1.0, 1.0]]), np.array([[239.0, 239.0]])
    found = WalkingWays(walls)(one, two)[0]
    mesh = mesh_way(walls, side=240)
    # A mesh with steps to 16 neighbours is at most 2.8 % too long; corners are passed at 1 m.
    assert mesh / 1.03 - 2 <= found <= mesh + 15


def mesh_way(walls, side):
    """Return the way from corner to corner over a mesh of 1 m with steps to 16 neighbours."""
    axis = np.arange(1, side)
    east, north = np.meshgrid(axis, axis)
    free = ~shapely.contains_xy(shapely.union_all(walls), east.ravel(), north.ravel())
    count, rows, cols, steps = side - 1, [], [], []
    number = np.arange(count**2).reshape(count, count)
    for down, right in [(0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1)]:
        a = number[: count - down, max(0, -right) : count - max(0, right)]
        b = number[down:, max(0, right) : count - max(0, -right)]
        both = free[a.ravel()] & free[b.ravel()]
        rows.append(a.ravel()[both])
        cols.append(b.ravel()[both])
        steps.append(np.full(both.sum(), np.hypot(down, right)))
    net = coo_matrix(
        (np.concatenate(steps), (np.concatenate(rows), np.concatenate(cols))), shape=(count**2,) * 2
    ).tocsr()
    return dijkstra(net, directed=False, indices=number[0, 0])[number[-1, -1]]


def test_many_corners_are_made_fewer_and_a_way_stays_a_way():
    rng = np.random.default_rng(2)
    lakes = [shapely.Point(*p).buffer(30, quad_segs=64) for p in rng.uniform(0, 2000, (50, 2))]
    ways = WalkingWays(lakes)
    one, two = rng.uniform(0, 2000, (2, 300, 2))
    straight = np.hypot(*(two - one).T)
    found = ways(one, two)
    assert (found >= straight - 1e-6).all()
    inside = shapely.contains_xy(shapely.union_all(lakes), *np.concatenate([one, two]).T)
    outside = ~(inside[:300] | inside[300:])
    assert (found[outside] <= 1.6 * straight[outside] + 100).all()
