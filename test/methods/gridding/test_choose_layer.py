"""The choice of a layer by what it predicts: planted bodies, noise alone, windows, one line."""

import numpy as np
import pytest

from layer_survey import SPACING, bodies, walked
from lodewalk.errors import InputError
from lodewalk.methods.gridding import choose_layer as chosen
from lodewalk.methods.gridding.choose_layer import choose_layer
from lodewalk.methods.gridding.equivalent_sources import fit_layer
from lodewalk.methods.gridding.ground import Region


def test_lines_decide_where_there_are_no_ties():
    east, north, line = walked(200, ties=False, step=4.0)
    value = bodies(200, (30, 60), seed=12)(east, north)
    value += np.random.default_rng(12).normal(0, 0.5, value.size)
    choice = choose_layer(east, north, value, line=line, line_spacing_m=SPACING, depths=(0.8, 1.2))
    assert not choice.by_ties
    assert np.isnan(choice.rms_ties)
    best = min(choice.trials, key=lambda trial: trial.error)
    assert best[:4] == choice[:4]
    assert choice.rms_lines == best.rms


def test_a_large_survey_is_judged_in_windows(monkeypatch):
    """Windows that hold all of it choose what it chooses whole; smaller ones still predict."""
    east, north, line = walked(500, step=4.0)
    value = bodies(500, (30, 80), seed=15)(east, north)
    value += np.random.default_rng(15).normal(0, 0.5, value.size)
    options = {"line": line, "line_spacing_m": SPACING, "depths": (0.8, 1.2)}
    monkeypatch.setattr(chosen, "ENOUGH_TIES", 50)
    whole = choose_layer(east, north, value, **options)
    monkeypatch.setattr(chosen, "MOST_READINGS", 1000)
    monkeypatch.setattr(chosen, "IN_WINDOW", 1000)
    parts = choose_layer(east, north, value, **options)
    assert whole.by_ties
    assert parts.by_ties
    assert 0.5 < parts.rms_ties < 2 * whole.rms_ties


def test_noise_alone_is_not_drawn():
    """Without an anomaly the map is flatter than means of the readings between two lines.

    Those of a square of the line spacing, 12.5 of them with noise 1 nT, have a deviation of 0.28.
    """
    east, north, line = walked(300, step=2.0)
    value = np.random.default_rng(16).normal(0, 1, east.size)
    choice = choose_layer(east, north, value, line=line, line_spacing_m=SPACING)
    layer = fit_layer(
        east, north, value,
        depth_m=choice.depth_m, damping=choice.damping, rounds=choice.rounds,
        layers=choice.layers,
    )  # fmt: skip
    nodes = Region(0.0, 0.0, (61, 61))
    assert np.std(layer.on_grid(nodes, spacing_m=5.0)) < 1 / np.sqrt(SPACING / 2)


def test_one_line_can_not_choose():
    with pytest.raises(InputError, match="at least three lines"):
        choose_layer(
            np.arange(50.0), np.zeros(50), np.zeros(50), line=np.zeros(50), line_spacing_m=25.0
        )
