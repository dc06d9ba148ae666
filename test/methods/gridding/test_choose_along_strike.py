"""The choice along strike is held against the true field, on dykes and where there are none."""

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from lodewalk.errors import InputError
from lodewalk.methods.gridding.along_strike import AlongStrike
from lodewalk.methods.gridding.choose_along_strike import STRENGTHS, choose_along_strike
from lodewalk.methods.gridding.interface import ALONG_STRIKE, grid_readings
from lodewalk.methods.gridding.line_folds import line_folds
from lodewalk.methods.gridding.piece_folds import piece_folds
from lodewalk.steps.context import Context
from lodewalk.steps.executors import Threads

SPACING, SIDE, NODE = 20.0, 240.0, 5.0


def walk(step=2.5):
    north = np.arange(0.0, SIDE + 1, step)
    east = np.repeat(np.arange(0.0, SIDE + 1, SPACING), north.size)
    count = east.size // north.size
    return east, np.tile(north, count), np.repeat(np.arange(count), north.size)


def dykes(east, north):
    """Two thin dykes at 25 degrees from the lines, tops 0.4 of the line spacing down."""
    turn = np.radians(25.0)
    off = (east - 120) * np.cos(turn) - (north - 120) * np.sin(turn)
    return 40 * 64 / (off**2 + 64) - 30 * 64 / ((off - 60) ** 2 + 64)


def balls(east, north):
    total = 0 * east
    for x, y, depth, size in ((60, 90, 25.0, 30), (180, 150, 40.0, -40), (120, 30, 30.0, 30)):
        square = (east - x) ** 2 + (north - y) ** 2
        total = total + size * depth**3 * (2 * depth**2 - square) / 2 / (square + depth**2) ** 2.5
    return total


def chosen(field, noise=0.5, seed=1, used=None, **more):
    east, north, line = walk()
    if used is not None:
        east, north, line = (part[used(line)] for part in (east, north, line))
    value = field(east, north) + np.random.default_rng(seed).normal(0, noise, east.size)
    try:
        folds = line_folds(east, north, line, line_spacing_m=SPACING)
    except InputError:
        folds = np.full(east.size, -1)
    choice = choose_along_strike(
        east, north, value, sd=np.full(east.size, noise), line=line, lines=folds,
        pieces=piece_folds(east, north, line, length_m=SPACING), line_spacing_m=SPACING,
        **more,
    )  # fmt: skip
    return choice, (east, north, line, value)


def true_rms(field, survey, choice, strength):
    east, north, line, value = survey
    grid = grid_readings(
        east, north, value, west_m=0.0, south_m=0.0, spacing_m=NODE, shape=(49, 49), reach_m=500.0,
        method=ALONG_STRIKE, tension=choice.tension, damping_m2=choice.damping_m2,
        tension_length_m=choice.tension_length_m,
        along_strike=AlongStrike(line, SPACING, strength, choice.longest_m),
    )  # fmt: skip
    axis = np.arange(49) * NODE
    return float(np.sqrt(np.mean((grid - field(*np.meshgrid(axis, axis)))[4:-4, 4:-4] ** 2)))


def test_dykes_are_carried_and_the_truth_is_nearer():
    choice, survey = chosen(dykes)
    assert choice.strength in STRENGTHS
    assert choice.rms < 0.8 * choice.plain_rms
    along, plain = (true_rms(dykes, survey, choice, s) for s in (choice.strength, 0.0))
    assert along < 0.5 * plain
    assert {trial.left_out for trial in choice.trials} == {"lines", "pieces"}
    assert choice.trials[0].strength == 0
    assert choice.trials[0].rms == choice.plain_rms


def test_bodies_without_a_strike_are_not_made_worse():
    choice, survey = chosen(balls)
    assert choice.rms <= choice.plain_rms
    along, plain = (true_rms(balls, survey, choice, s) for s in (choice.strength, 0.0))
    assert along < 1.05 * plain


def test_noise_alone_is_left_alone():
    choice, survey = chosen(lambda east, north: 0 * (east + north))
    along, plain = (
        true_rms(lambda e, n: 0 * (e + n), survey, choice, s) for s in (choice.strength, 0.0)
    )
    assert along < plain + 0.02
    assert choice.rms == pytest.approx(0.5, rel=0.1)


def test_two_lines_choose_nothing():
    choice, _ = chosen(dykes, used=lambda line: line < 2)
    assert choice.strength == 0
    assert np.isnan(choice.rms)
    assert choice.judged == 0
    assert choice.trials == ()


def test_the_misfit_is_that_of_grids_of_the_other_lines():
    """Each fold gridded anew from its readings, nothing kept from trial to trial."""
    choice, (east, north, line, value) = chosen(dykes)
    folds = line_folds(east, north, line, line_spacing_m=SPACING)
    errors = []
    for number in np.unique(folds[folds >= 0]):
        held = folds == number
        grid = grid_readings(
            east[~held], north[~held], value[~held], west_m=0.0, south_m=0.0, spacing_m=NODE,
            shape=(49, 49), reach_m=500.0, method=ALONG_STRIKE, tension=choice.tension,
            damping_m2=choice.damping_m2, tension_length_m=choice.tension_length_m,
            along_strike=AlongStrike(line[~held], SPACING, choice.strength, choice.longest_m),
        )  # fmt: skip
        there = map_coordinates(grid, [north[held] / NODE, east[held] / NODE], order=3)
        errors.append(there - value[held])
    assert choice.rms == pytest.approx(np.sqrt(np.mean(np.concatenate(errors) ** 2)), rel=1e-9)


def test_threads_choose_the_same_from_the_same_trials():
    alone, _ = chosen(dykes)
    assert alone == chosen(dykes, each=Context(executor=Threads(3)).map)[0]


def test_settings_that_are_given_are_not_tried():
    """Both given: what is carried is chosen with them, by lines alone."""
    choice, _ = chosen(dykes, tension=0.1, damping_m2=0.3)
    assert (choice.tension, choice.damping_m2, choice.plain_trials) == (0.1, 0.3, ())
    assert choice.strength > 0
    assert {(trial.left_out, trial.damping_m2) for trial in choice.trials} == {("lines", 0.3)}


def test_little_is_tried_where_it_would_not_help():
    """On bodies without a strike the first strength decides."""
    choice, _ = chosen(balls)
    assert choice.strength == 0
    assert {trial.strength for trial in choice.trials} == {0.0, STRENGTHS[0]}


def test_a_line_for_each_reading():
    with pytest.raises(InputError, match="same length"):
        choose_along_strike([0.0, 1], [0.0, 1], [1.0, 1], sd=[1.0, 1], line=[0], lines=[-1, -1],
                            pieces=[-1, -1], line_spacing_m=5.0)  # fmt: skip
