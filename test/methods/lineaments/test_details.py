"""Strike, faults, kinds, markers, spots, rose and steel of lineaments."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies.dyke import index_dyke_anomaly
from lodewalk.methods.bodies.tabular import contact_anomaly
from lodewalk.methods.lineaments.culture import near_culture
from lodewalk.methods.lineaments.faults import find_offsets, groups
from lodewalk.methods.lineaments.kinds import kind_of, tilt_of
from lodewalk.methods.lineaments.markers import follow_marker
from lodewalk.methods.lineaments.rose import rose_of
from lodewalk.methods.lineaments.spots import find_spots
from lodewalk.methods.lineaments.strike import strike_of
from lodewalk.methods.lineaments.trace import Ridge

SPACING = 20.0


def ridge(first, last, *, strength=1.0, rough=0.0, seed=0):
    """Return a straight ridge between two places, its corners half a line spacing apart."""
    first, last = np.asarray(first, float), np.asarray(last, float)
    length = np.hypot(*(last - first))
    share = np.linspace(0, 1, int(length / (SPACING / 2)) + 1)[:, None]
    along = (last - first) / length
    aside = rough * np.random.default_rng(seed).normal(size=share.shape)
    place = first + share * (last - first) + aside * [along[1], -along[0]]
    same = np.ones(len(place))
    return Ridge(place[:, 0], place[:, 1], strength * same, 10 * same, 7.0, 1.0)


@pytest.mark.parametrize("strike", [0.0, 33.0, 90.0, 134.0, 179.0])
def test_the_strike_of_a_straight_line(strike):
    turn = np.radians(strike)
    found = strike_of(ridge([0, 0], [300 * np.sin(turn), 300 * np.cos(turn)]), line_spacing_m=20.0)
    assert (found.strike_deg - strike + 90) % 180 - 90 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("aside", "sign"), [(60.0, 1), (-60.0, -1)])
@pytest.mark.parametrize("turned", [False, True])
def test_an_offset_to_the_right_is_positive(aside, sign, turned):
    """Walking east, a second piece farther south lies to the right."""
    one, two = ridge([0, 0], [300, 0]), ridge([330, -aside], [630, -aside])
    pieces = [two, one] if turned else [one, two]
    (found,) = find_offsets(pieces, line_spacing_m=SPACING)
    assert pieces[found.first] is one
    assert found.offset_m == pytest.approx(60.0 * sign, abs=1e-6)
    assert found.gap_m == pytest.approx(30.0, abs=1e-6)
    assert groups(2, [found]) == [0, 0]


@pytest.mark.parametrize(
    ("first", "last", "strength"),
    [
        ([330, -60], [580, 250], 1.0),  # another strike
        ([330, -200], [630, -200], 1.0),  # too far aside
        ([500, -60], [800, -60], 1.0),  # too far along
        ([100, -60], [400, -60], 1.0),  # side by side
        ([330, -60], [630, -60], 8.0),  # far stronger
        ([330, -2], [630, -2], 1.0),  # no offset that is told
    ],
)
def test_what_is_no_fault(first, last, strength):
    pieces = [ridge([0, 0], [300, 0]), ridge(first, last, strength=strength)]
    assert find_offsets(pieces, line_spacing_m=SPACING) == []


def test_the_error_of_an_offset_covers_it():
    pulls = []
    for seed in range(60):
        one = ridge([0, 0], [250, 0], rough=4.0, seed=2 * seed)
        two = ridge([270, -50], [520, -50], rough=4.0, seed=2 * seed + 1)
        (found,) = find_offsets([one, two], line_spacing_m=SPACING)
        pulls.append((found.offset_m - 50.0) / found.sd_m)
    assert np.mean(np.abs(pulls) < 1.645) > 0.85


def profile(kind, index):
    """Return the profile of a thin or wide body; distance is to the right."""
    at = np.linspace(-80.0, 80.0, 81)
    if kind == "thin":
        return at, index_dyke_anomaly(
            at, depth_m=12.0, half_width_m=2.0, amplitude_nT=50.0, index_angle_deg=index
        )
    return at, contact_anomaly(
        at, depth_m=12.0, dip_deg=90.0 - index, susceptibility=0.01, strength_nT=50000.0,
        inclination_deg=90.0, profile_azimuth_deg=0.0,
    )  # fmt: skip


@pytest.mark.parametrize(("kind", "tilt"), [("thin", 90.0), ("edge", 0.0)])
@pytest.mark.parametrize("index", [0.0, 20.0, -20.0])
def test_the_tilt_of_a_thin_body_and_of_an_edge(kind, tilt, index):
    """The index angle turns the tilt by itself: closed forms of dyke and contact."""
    expected = abs(tilt - abs(index))
    assert tilt_of(*profile(kind, index)) == pytest.approx(expected, abs=6.0)


def test_a_line_beside_a_hole_counts_as_a_ridge():
    assert np.isnan(tilt_of(np.linspace(-10, 10, 11), np.full(11, np.nan)))
    line = ridge([40, 50], [160, 50])
    place = {"west_m": 0.0, "south_m": 0.0, "spacing_m": 5.0, "line_spacing_m": 20.0}
    assert kind_of(line, np.full((21, 41), np.nan), **place) == "ridge"


def readings(shape):
    """Return readings on five lines that run north; `shape` gives the anomaly on each."""
    north = np.arange(0.0, 200.0, 2.0)
    rows = [(np.full(100, 20.0 * k), north, shape(k, north), np.full(100, k)) for k in range(5)]
    return tuple(np.concatenate(column) for column in zip(*rows, strict=True))


def test_a_marker_is_alike_on_all_lines_and_noise_is_not():
    line = ridge([-10, 100], [90, 100])
    steady = follow_marker(
        line, *readings(lambda k, n: 9 * np.exp(-(((n - 100 - k) / 12) ** 2))), line_spacing_m=20.0
    )
    rng = np.random.default_rng(4)
    rough = follow_marker(
        line, *readings(lambda k, n: rng.normal(size=n.size)), line_spacing_m=20.0
    )
    assert steady.passage.tolist() == rough.passage.tolist() == [0, 1, 2, 3, 4]
    assert steady.alike > 0.98
    assert rough.alike < 0.5


def test_a_marker_on_one_line_is_compared_with_none():
    found = follow_marker(
        ridge([-10, 100], [10, 100]), *readings(lambda k, n: n), line_spacing_m=20.0
    )
    assert found.passage.tolist() == [0]
    assert np.isnan(found.alike)


def test_a_spot_is_told_where_it_lies_and_a_dyke_is_none():
    north, east = np.mgrid[:80, :80] * 5.0
    rough = np.random.default_rng(2).normal(0, 0.05, north.shape)
    spot = 1 / (1 + ((north - 250) ** 2 + (east - 120) ** 2) / 20**2) ** 2
    wall = 2 / (1 + ((north - 100) / 15) ** 2)
    place = {"west_m": 0.0, "south_m": 0.0, "spacing_m": 5.0, "line_spacing_m": 20.0}
    (found,) = find_spots(spot + wall + rough, **place)
    assert np.hypot(found.easting_m - 120, found.northing_m - 250) < 8.0
    assert not find_spots(spot + rough, **place, away_from=np.array([[120.0, 250.0]]))
    assert not find_spots(np.full((40, 40), np.nan), **place)
    assert not find_spots(np.zeros((40, 40)), **place)


def test_the_mean_strike_and_its_error():
    """200 strikes with a normal scatter of 10 degrees: the error of the mean is 10 / sqrt(200)."""
    rng = np.random.default_rng(8)
    rose = rose_of(175.0 + rng.normal(0, 10.0, 200), np.full(200, 50.0))
    assert rose.length_m.sum() == 200 * 50.0
    assert (rose.mean_deg - 175.0 + 90) % 180 - 90 == pytest.approx(0.0, abs=2.0)
    assert rose.sd_deg == pytest.approx(10 / np.sqrt(200), rel=0.15)


def test_no_mean_where_strikes_are_spread_or_there_are_none():
    assert np.isnan(rose_of(np.arange(0, 180, 5.0), np.ones(36)).mean_deg)
    none = rose_of([], [])
    assert (none.number, none.resultant, none.length_m.sum()) == (0, 0.0, 0.0)
    with pytest.raises(InputError, match="below zero"):
        rose_of([1.0], [-1.0])


def test_steel_without_a_place_covers_nothing():
    place = {"west_m": 0.0, "south_m": 0.0, "spacing_m": 5.0, "shape": (4, 4), "reach_m": 9.0}
    assert not near_culture([np.nan], [np.nan], [0], **place).any()
    assert near_culture([7.0], [7.0], [-1], **place).sum() == 12
