"""The choice by left-out lines is held against the true field between the lines."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.gridding import choose_surface as choose
from lodewalk.methods.gridding.block_means import block_means
from lodewalk.methods.gridding.choose_surface import DAMPINGS, TENSIONS, choose_surface
from lodewalk.methods.gridding.line_folds import line_folds
from lodewalk.methods.gridding.minimum_curvature import minimum_curvature
from lodewalk.methods.gridding.piece_folds import piece_folds
from lodewalk.steps.context import Context
from lodewalk.steps.executors import Threads

SPACING, LINES, LENGTH = 20.0, 11, 200.0


def walk(step=3.0):
    north = np.arange(0, LENGTH + 1, step)
    east = np.repeat(np.arange(LINES) * SPACING, north.size)
    return east, np.tile(north, LINES), np.repeat(np.arange(LINES), north.size)


def chosen_by(east, north, line, value, noise, **more):
    return choose_surface(
        east, north, value, sd=np.full(east.size, noise), line_spacing_m=SPACING,
        lines=line_folds(east, north, line, line_spacing_m=SPACING),
        pieces=piece_folds(east, north, line, length_m=SPACING), **more,
    )  # fmt: skip


def bodies(seed, depth, count=40):
    """Fields of vertical dipoles at one depth below the sensor, of a size near 10 nT."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-50, LINES * SPACING + 50, (2, count))
    size = rng.normal(0, 10, count)

    def field(east, north):
        square = (east[..., None] - x) ** 2 + (north[..., None] - y) ** 2
        near = 2 * depth**2 - square
        return (size * depth**3 * near / (2 * (square + depth**2) ** 2.5)).sum(axis=-1)

    return field


def true_rms(field, east, north, value, tension, damping_m2, length_m):
    """Misfit of a surface from all lines against the true field, in between."""
    nodes = np.meshgrid(np.arange(0, 201, 5.0), np.arange(0, 201, 5.0))
    blocks = block_means(east / 5, north / 5, value, weight=np.ones(east.size))
    surface = minimum_curvature(
        blocks, np.ones((41, 41), dtype=bool), tension=tension, damping=damping_m2 / 25,
        tension_length=length_m / 5, tolerance=1e-3,
    ).reshape(41, 41)  # fmt: skip
    inner = slice(5, -5)
    return float(np.sqrt(np.mean((surface - field(*nodes))[inner, inner] ** 2)))


@pytest.mark.parametrize(
    ("seed", "depth", "noise"), [(1, 30.0, 0.1), (2, 12.0, 0.1), (3, 30.0, 4.0)]
)
def test_the_choice_is_near_the_best_of_all_that_could_be_tried(seed, depth, noise):
    east, north, line = walk()
    field = bodies(seed, depth)
    value = field(east, north) + np.random.default_rng(seed + 9).normal(0, noise, east.size)
    chosen = chosen_by(east, north, line, value, noise)
    length = chosen.tension_length_m
    own = true_rms(field, east, north, value, chosen.tension, chosen.damping_m2, length)
    best = min(
        true_rms(field, east, north, value, tension, damping * SPACING**2, length)
        for tension in TENSIONS[::2]
        for damping in DAMPINGS
    )
    assert own <= 1.15 * best


def test_the_misfit_is_that_of_the_left_out_lines():
    """Between lines a surface can't know noise: with a flat field the rms is the noise's."""
    east, north, line = walk()
    noise = np.random.default_rng(5).normal(0, 2.0, east.size)
    chosen = chosen_by(east, north, line, 50 + noise, 2.0)
    assert chosen.rms == pytest.approx(2.0, rel=0.1)
    assert chosen.damping_m2 >= DAMPINGS[-1] * SPACING**2
    assert chosen.judged == (LINES - 2) * 67


def test_threads_choose_the_same_from_the_same_trials():
    east, north, line = walk()
    value = np.random.default_rng(6).normal(0, 2.0, east.size)
    alone = chosen_by(east, north, line, value, 2.0)
    assert alone == chosen_by(east, north, line, value, 2.0, each=Context(executor=Threads(3)).map)


def test_a_large_survey_is_judged_in_a_window(monkeypatch):
    monkeypatch.setattr(choose, "MOST_NODES", 1500)
    north = np.arange(0, 6001, 10.0)
    east = np.repeat(np.arange(20) * 100.0, north.size)
    line = np.repeat(np.arange(20), north.size)
    north = np.tile(north, 20)
    lines = line_folds(east, north, line, line_spacing_m=100.0)
    pieces = piece_folds(east, north, line, length_m=20.0)
    # Four nodes in 20 m: 301 x 1201 nodes of 5 m on 1900 m x 6000 m.
    chosen = choose_surface(
        east,
        north,
        east / 900,
        sd=np.ones(east.size),
        lines=lines,
        pieces=pieces,
        line_spacing_m=20.0,
    )
    assert 0 < chosen.judged < 0.2 * east.size


def test_without_lines_to_leave_out_it_says_so():
    east, north, line = walk()
    few = line < 2
    chosen = choose_surface(
        east[few], north[few], east[few], sd=np.ones(few.sum()), line_spacing_m=SPACING,
        lines=np.full(few.sum(), -1),
        pieces=piece_folds(east[few], north[few], line[few], length_m=SPACING),
    )  # fmt: skip
    assert chosen.judged == 0
    assert np.isnan(chosen.rms)
    assert {trial.left_out for trial in chosen.trials} == {"pieces"}


def test_missing_values_are_refused():
    with pytest.raises(InputError, match="must have place, value and an sd"):
        choose_surface([0.0, np.nan], [0.0, 1.0], [1.0, 1.0], sd=[1.0, 1.0], lines=[0, 1],
                       pieces=[0, 1], line_spacing_m=5.0)  # fmt: skip


def test_two_areas_far_apart_are_judged_in_one_of_them():
    east, north, line = walk()
    twice = np.concatenate([east, east + 3000]), np.concatenate([north, north + 2500])
    value = bodies(1, 30.0)(east, north)
    chosen = chosen_by(*twice, np.concatenate([line, line + LINES]), np.tile(value, 2), 0.1)
    assert 0 < chosen.judged <= east.size


def test_a_long_narrow_survey_is_judged_over_more_than_a_square(monkeypatch):
    monkeypatch.setattr(choose, "MOST_NODES", 900)
    number = np.arange(120)
    along = np.arange(0, 81, 4.0)
    east, north = np.repeat(number * SPACING, along.size), np.tile(along, number.size)
    chosen = chosen_by(east, north, np.repeat(number, along.size), np.sin(east / 90), 0.1)
    # 900 nodes of 5 m are a square of 150 m: 7 lines; on a strip of 80 m they reach 280 m.
    assert chosen.judged / along.size >= 12
