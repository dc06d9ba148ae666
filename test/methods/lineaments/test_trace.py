"""Ridges traced from grids: closed forms, turns, bad grids, beads; a small part of the trials."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from lineament_match import scores
from lineament_trials import coverage, noise_maps, traced, trial, way
from lineament_world import Piece, World
from lodewalk.errors import InputError
from lodewalk.methods.bodies.dyke import index_dyke_anomaly
from lodewalk.methods.lineaments import trace
from lodewalk.methods.lineaments.trace import WIDTHS, trace_ridges

NODE, SPACING = 4.0, 20.0
PLACE = {"west_m": 0.0, "south_m": 0.0, "spacing_m": NODE, "line_spacing_m": SPACING}


def dyke_grid(strike, *, index=30.0, depth=15.0, noise=0.2, shape=(100, 120), off=0.0):
    """Return an endless dyke's anomaly through the middle of a grid."""
    north, east = np.mgrid[: shape[0], : shape[1]] * NODE
    turn = np.radians(strike)
    middle = (shape[1] - 1) * NODE / 2, (shape[0] - 1) * NODE / 2
    across = (east - middle[0]) * np.cos(turn) - (north - middle[1]) * np.sin(turn) - off
    rough = np.random.default_rng(3).normal(0, noise, shape)
    curve = index_dyke_anomaly(
        across, depth_m=depth, half_width_m=3.0, amplitude_nT=100.0, index_angle_deg=index
    )
    return curve + rough, middle


def distance(ridge, middle, strike):
    turn = np.radians(strike)
    return (ridge.easting_m - middle[0]) * np.cos(turn) - (ridge.northing_m - middle[1]) * np.sin(
        turn
    )


@pytest.mark.parametrize("strike", [0.0, 37.0, 90.0, 128.0, 171.0])
@pytest.mark.parametrize("index", [0.0, 90.0, -140.0])
def test_a_dyke_is_one_ridge_over_its_middle_whatever_its_magnetisation(strike, index):
    """The total gradient of a thin body peaks over it for any index angle (Nabighian, 1972)."""
    values, middle = dyke_grid(strike, index=index)
    (ridge,) = trace_ridges(values, **PLACE)
    off = np.abs(distance(ridge, middle, strike))
    assert off[2:-2].max() < 0.05 * SPACING
    # The grid's border pulls at the last corners.
    assert off.max() < 0.2 * SPACING
    assert ridge.evidence > 0.999
    assert ridge.length_m > 300.0


def test_a_ridge_lies_between_the_nodes_where_the_dyke_does():
    for off in (0.0, 0.7, 1.3, 2.0):
        values, middle = dyke_grid(0.0, off=off, noise=0.0)
        (ridge,) = trace_ridges(values, **PLACE)
        assert np.abs(distance(ridge, middle, 0.0) - off).max() < 0.3


def test_a_grid_turned_by_a_quarter_gives_the_ridges_turned():
    values, _ = dyke_grid(37.0, noise=2.0)
    before = trace_ridges(values, **PLACE)
    after = trace_ridges(np.ascontiguousarray(np.rot90(values)), **PLACE)
    east = (values.shape[1] - 1) * NODE
    assert len(before) == len(after) >= 1
    for one, two in zip(before, after, strict=True):
        turned = np.column_stack([two.northing_m, two.easting_m])
        turned[:, 0] = east - turned[:, 0]
        own = way(one)
        same = min(np.abs(own - turned).max(), np.abs(own - turned[::-1]).max())
        # Which side a chain is walked first may take another of two like points near its start.
        assert same < 0.01 * SPACING
        assert two.evidence == pytest.approx(one.evidence, abs=1e-3)


def test_the_same_grid_gives_the_same_bits():
    values, _ = dyke_grid(61.0, noise=2.0)
    one, two = (trace_ridges(values.copy(), **PLACE) for _ in range(2))
    assert [r.easting_m.tobytes() for r in one] == [r.easting_m.tobytes() for r in two]


def test_beads_between_lines_do_not_break_a_shallow_slanted_dyke():
    """Eight metres below the sensor, lines 20 m apart: the grid shows a row of beads."""
    piece = Piece(400.0, 400.0, 60.0, 700.0, 8.0, 4.0, 90.0, 0)
    ridges = traced(World(800.0, (piece,)), spacing=SPACING, noise=0.5, seed=5)
    assert len(ridges) == 1
    assert ridges[0].length_m == pytest.approx(700.0, abs=3 * SPACING)


def test_a_dyke_is_followed_across_a_hole():
    values, middle = dyke_grid(90.0)
    values[:, 55:62] = np.nan
    (ridge,) = trace_ridges(values, **PLACE)
    assert ridge.length_m > 350.0
    assert np.abs(distance(ridge, middle, 90.0)).max() < 0.2 * SPACING


def test_the_end_of_a_dyke_is_near_its_end():
    piece = Piece(400.0, 400.0, 75.0, 400.0, 14.0, 6.0, 90.0, 0)
    (ridge,) = traced(World(800.0, (piece,)), spacing=SPACING, noise=0.5, seed=6)
    ends = np.array(piece.ends)
    for end in way(ridge)[[0, -1]]:
        assert np.hypot(*(ends - end).T).min() < 2.0 * SPACING


def test_less_sure_ground_gives_less_evidence():
    """A faint dyke, with a stated error far above what the grid itself shows."""
    values, _ = dyke_grid(50.0, noise=1.0)
    faint = 0.05 * values
    sure = trace_ridges(faint, **PLACE, least_evidence=0.5)
    unsure = trace_ridges(faint, **PLACE, sd=np.full(values.shape, 20.0), least_evidence=0.5)
    assert sure
    assert not unsure


def rough_ground(seed, *, strike=61.0):
    """Return a dyke 25 m below the sensor under ground of 0.5 nT that changes over 5 m."""
    values, middle = dyke_grid(strike, depth=25.0, noise=0.0)
    white = np.random.default_rng(seed).normal(size=values.shape)
    rough = gaussian_filter(white, SPACING / 4 / NODE)
    return 0.03 * values + 0.5 * rough / rough.std(), middle


def told_dykes(seeds, *, strike=61.0):
    """Return the seeds whose map tells the dyke; it is told once at most."""
    told = []
    for seed in seeds:
        values, middle = rough_ground(seed, strike=strike)
        ridges = trace_ridges(values, **PLACE)
        on = [r for r in ridges if np.median(np.abs(distance(r, middle, strike))) < SPACING]
        length = sum(ridge.length_m for ridge in on)
        assert length < 600.0
        told.extend([seed] if length > 200.0 else [])
    return told


def test_a_faint_narrow_piece_hides_no_lineament(monkeypatch):
    """What the broadest filter tells alone is told beside narrower ones too, and once.

    The dyke is 550 m long; narrow filters see faint pieces of it in the rough ground.
    """
    told = told_dykes(range(12))
    monkeypatch.setattr(trace, "WIDTHS", WIDTHS[-1:])
    alone = told_dykes(range(12))
    assert len(alone) >= 8
    assert set(alone) <= set(told)


@pytest.mark.parametrize("values", [np.full((30, 30), np.nan), np.full((30, 30), 7.0)])
def test_a_grid_of_holes_or_a_flat_one_has_no_ridge(values):
    with pytest.raises(InputError, match="without two different values"):
        trace_ridges(values, **PLACE)


@pytest.mark.parametrize("shape", [(1, 40), (2, 2), (3, 3)])
def test_a_tiny_grid_has_no_ridge(shape):
    values = np.random.default_rng(1).normal(size=shape)
    assert trace_ridges(values, **PLACE) == []


def test_swarms_are_found():
    """A small part of the trials: three swarms in the equator's field, two nT of noise."""
    done = trial(range(1000, 1003), spacing=SPACING, noise=2.0, inclination=0.0)
    _, _, f1, by_length = scores(done.matches)
    assert f1 >= 0.8
    assert by_length >= 0.8
    assert len(done.offsets) >= 0.6 * done.faults
    assert coverage(done.strikes) > 0.5


def test_noise_alone_hardly_gives_a_line():
    """By the rule one map in twenty has a line of 0.95; three maps have one at most, at 99 %."""
    found = noise_maps(range(1000, 1003), kind="white")
    assert sum(evidence >= 0.95 for one in found for evidence in one) <= 1
