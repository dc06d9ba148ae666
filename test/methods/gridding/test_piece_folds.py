import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.gridding.piece_folds import piece_folds


def block(angle_deg=0.0, lines=12, ties=4, again=()):
    """Lines 20 m apart with tie lines across, those of `again` walked twice, turned by an angle."""
    along = np.arange(0.0, 201.0, 5.0)
    parts = [(np.full(along.size, 20.0 * n), along) for n in (*range(lines), *again)]
    parts += [(np.linspace(0, 20.0 * (lines - 1), 41), np.full(41, 60.0 * n)) for n in range(ties)]
    east, north = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
    passage = np.repeat(np.arange(len(parts)), [part[0].size for part in parts])
    turn = np.radians(angle_deg)
    turned = east * np.cos(turn) + north * np.sin(turn), north * np.cos(turn) - east * np.sin(turn)
    return (*turned, passage, len(parts))


def test_pieces_have_their_length_and_take_turns():
    east, north, passage, _ = block(37.0)
    fold = piece_folds(east, north, passage, length_m=20.0)
    line = np.flatnonzero(passage == 3)
    along = np.arange(line.size) * 5.0
    runs = np.split(along, np.flatnonzero(np.diff(fold[line])) + 1)
    # Readings each 5 m: four a piece.
    assert [run.size for run in runs] == [4] * 10 + [1]
    assert set(fold) == set(range(5))
    beside = np.flatnonzero(passage == 4)
    assert (fold[line] != fold[beside]).all()


def test_a_piece_needs_a_length():
    with pytest.raises(InputError, match="length_m"):
        piece_folds([0.0], [0.0], [0], length_m=0.0)
    with pytest.raises(InputError, match="two folds"):
        piece_folds([0.0], [0.0], [0], length_m=1.0, folds=1)
