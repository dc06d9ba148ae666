"""Nodes and corners of tracks drawn by hand."""

import numpy as np

from lodewalk.methods.corrections.corners import find_corners, walked_nodes


def test_nodes_are_a_step_apart() -> None:
    north = np.concatenate([np.arange(0.0, 100.0, 0.5), np.full(61, 100.0)])
    east = np.concatenate([np.zeros(200), np.arange(0.0, 30.5, 0.5)])
    nodes = walked_nodes(east, north, step_m=5.0)
    apart = np.hypot(np.diff(east[nodes]), np.diff(north[nodes]))
    assert np.all(apart[:-1] >= 5.0)
    assert np.all(apart < 5.5)
    assert nodes[0] == 0
    assert nodes[-1] == len(east) - 1


def test_corners_of_a_track_that_turns_back() -> None:
    # Up, back over itself, then right; 2 m of wiggle stay below the tolerance.
    east = [0.0, 2.0, 0.0, 0.0, -2.0, 0.0, 50.0]
    north = [0.0, 50.0, 100.0, 100.0, 50.0, 20.0, 20.0]
    assert find_corners(east, north, tolerance_m=5.0).tolist() == [0, 2, 5, 6]


def test_no_positions_no_corners() -> None:
    assert find_corners([], [], tolerance_m=5.0).size == 0
    assert walked_nodes([], [], step_m=5.0).size == 0
