"""The layer is held against the Poisson kernel, kriging, a dipole's field and planted bodies."""

from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np
import pytest

from layer_survey import SPACING, bodies, dipole, walked
from lodewalk.errors import InputError
from lodewalk.methods.gridding._layer_fit import Prior, damped_fit, layers_under
from lodewalk.methods.gridding._source_layer import Mesh, gather, scatter
from lodewalk.methods.gridding.block_means import block_means
from lodewalk.methods.gridding.choose_layer import choose_layer
from lodewalk.methods.gridding.equivalent_sources import MOST_ITERATIONS, fit_layer
from lodewalk.methods.gridding.ground import Region
from lodewalk.methods.gridding.minimum_curvature import minimum_curvature
from lodewalk.methods.gridding.source_layer import SourceLayer


def some_layers(count=3, seed=3):
    rng = np.random.default_rng(seed)
    east, north = rng.uniform(0, 200, (2, 150))
    layers = layers_under(east, north, depth_m=14.0, spacing_m=14 / 3, count=count)
    return rng, east, north, layers


def test_spreading_is_the_transpose_of_gathering():
    rng, _, _, layers = some_layers()
    mesh = layers.meshes[0]
    value, c = rng.normal(size=150), rng.normal(size=mesh.shape)
    one = np.sum(scatter(value, *layers.places, mesh.shape) * c)
    assert one == pytest.approx(np.sum(value * gather(c, *layers.places)), rel=1e-12)


@pytest.mark.parametrize("count", [1, 3])
def test_even_layers_have_the_covariance_of_white_noise_under_them(count):
    """(2 d)^3 / (rho^2 + (2 d)^2)^(3/2) for each depth, all of the same share of 1."""
    rng, east, north, layers = some_layers(count)
    weights = rng.normal(size=150)
    square = (east[:, None] - east) ** 2 + (north[:, None] - north) ** 2
    expected = sum((1 + square / (2 * 14.0 * 2**n) ** 2) ** -1.5 / count for n in range(count))
    found = layers.covariance(weights, layers.even())
    # The mesh's edges meet, which adds a little of the deepest layer.
    assert np.std(found - expected @ weights) < 0.02 * np.std(expected @ weights)


def poisson(layers, number, east, north):
    """Return a^2 h / (2 pi (rho^2 + h^2)^(3/2)) from each node to each reading.

    The mesh's edges meet, so each node stands for one in each of the neighbouring squares too.
    """
    mesh, h = layers.meshes[number], layers.depths[number]
    n, e = (np.indices(mesh.shape) * mesh.spacing_m).reshape(2, -1)
    total = np.zeros((east.size, n.size))
    sides = np.array(mesh.shape) * mesh.spacing_m
    for turn_n, turn_e in np.ndindex(3, 3):
        across = east[:, None] - mesh.west_m - e + (turn_e - 1) * sides[1]
        along = north[:, None] - mesh.south_m - n + (turn_n - 1) * sides[0]
        total += mesh.spacing_m**2 * h / (2 * np.pi * (across**2 + along**2 + h**2) ** 1.5)
    return total


@pytest.mark.parametrize("number", [0, 1, 2])
def test_an_uneven_layer_has_the_covariance_of_the_sum_over_its_sources(number):
    """One layer has variances, in the middle of the mesh; the others are empty."""
    rng, east, north, layers = some_layers()
    # Without a mean, so that what farther squares add, which is even, drops out.
    weights = rng.normal(size=150)
    weights -= weights.mean()
    variance = [np.zeros(mesh.shape) for mesh in layers.meshes]
    rows, columns = variance[number].shape
    middle = slice(rows // 3, 2 * rows // 3), slice(columns // 3, 2 * columns // 3)
    variance[number][middle] = rng.uniform(0.5, 1.5, variance[number][middle].shape)
    field = poisson(layers, number, east, north)
    expected = field @ (variance[number].ravel() * (field.T @ weights))
    found = layers.covariance(weights, Prior(tuple(variance)))
    assert np.std(found - expected) < 5e-3 * np.std(expected)


def test_the_fit_solves_the_equations_of_the_readings():
    """(K + damping / w) x = d, dense, in numpy."""
    rng, _, _, layers = some_layers()
    value, weight = rng.normal(size=150), rng.uniform(0.5, 2, 150)
    prior = layers.local([rng.normal(size=mesh.shape) for mesh in layers.meshes])
    matrix = np.column_stack([layers.covariance(unit, prior) for unit in np.eye(150)])
    np.testing.assert_allclose(matrix, matrix.T, atol=1e-10 * matrix.max())
    expected = np.linalg.solve(matrix + np.diag(0.1 / weight), value)
    options = {"damping": 0.1, "tolerance": 1e-9, "most": 500}
    found = damped_fit(layers, prior, value, weight, **options).weights
    # In the product with K; weights that make no field may differ.
    np.testing.assert_allclose(matrix @ found, matrix @ expected, atol=1e-7)
    again = damped_fit(layers, prior, value, weight, first=found, **options)
    assert again.iterations == 0


def test_all_layers_have_one_field_with_the_upper_one():
    """The merged strengths, at places and heights, against the sum over all sources."""
    rng, east, north, layers = some_layers()
    strengths = [np.zeros(mesh.shape) for mesh in layers.meshes]
    for part in strengths:
        rows, columns = part.shape
        part[rows // 2 - 1 : rows // 2 + 2, columns // 2] = rng.normal(size=3)
    upper = layers.meshes[0]
    layer = SourceLayer(upper, layers.merged(strengths), (0.0, 0.0, 0.0), 14.0, 0, 0.0)
    expected = sum(
        poisson(layers, number, east, north) @ part.ravel() for number, part in enumerate(strengths)
    )
    assert np.std(layer.at(east, north) - expected) < 5e-3 * np.std(expected)


@pytest.mark.parametrize("height", [0.0, 10.0, 60.0])
def test_one_source_has_the_field_of_the_poisson_kernel(height):
    """h / (2 pi (rho^2 + h^2)^(3/2)), each height by itself from the same strengths."""
    mesh = Mesh(-1000.0, -1000.0, 10.0, (200, 200))
    strength = np.zeros(mesh.shape)
    strength[100, 100] = 1.0
    layer = SourceLayer(mesh, strength, (0.0, 0.0, 0.0), 30.0, 0, 0.0)
    east, north = np.random.default_rng(2).uniform(-150, 150, (2, 400))
    h = 30.0 + height
    expected = 100 * h / (2 * np.pi * (east**2 + north**2 + h**2) ** 1.5)
    peak = 100 / (2 * np.pi * h**2)
    np.testing.assert_allclose(layer.at(east, north, height), expected, atol=2e-3 * peak)


def test_the_field_is_harmonic():
    east, north, _ = walked(300)
    value = bodies(300, (20, 60), seed=4)(east, north)
    layer = fit_layer(east, north, value, depth_m=20.0, damping=1e-3)
    e, n = np.random.default_rng(5).uniform(50, 250, (2, 100))
    step = layer.mesh.spacing_m

    def second(*way):
        """Second derivative to the fourth order of the step."""
        near, far = (
            sum(layer.at(e + s * way[0], n + s * way[1], 25.0 + s * way[2]) for s in (k, -k))
            for k in (step, 2 * step)
        )
        return (16 * near - far - 30 * layer.at(e, n, 25.0)) / (12 * step**2)

    vertical = second(0, 0, 1)
    across = second(1, 0, 0) + second(0, 1, 0)
    assert np.std(vertical + across) < 0.02 * np.std(vertical)


@pytest.mark.parametrize(
    ("spacings", "heights"), [(2, [50.0]), (3, [10.0, 25.0, 50.0]), (4, [0.0, 10.0, 25.0, 50.0])]
)
def test_a_dipole_at_another_height(spacings, heights):
    """Fitted to readings without noise, its field higher up is known to 1e-3 of the peak.

    What lines as far apart as half its depth leave open has to die away over the height first.
    """
    depth = spacings * SPACING
    east, north, _ = walked(1000)
    value = dipole(east - 507, north - 488, depth)
    layer = fit_layer(east, north, value, depth_m=1.3 * SPACING, damping=3e-4, trend="none")
    assert layer.iterations < MOST_ITERATIONS
    e, n = np.random.default_rng(6).uniform(400, 600, (2, 500))
    for height in heights:
        expected = (depth / (depth + height)) ** 3 * dipole(e - 507, n - 488, depth + height)
        peak = np.abs(expected).max()
        np.testing.assert_allclose(layer.at(e, n, height), expected, atol=1e-3 * peak)


@pytest.mark.parametrize(
    ("spacings", "heights"), [(2, [10.0, 25.0, 50.0]), (3, [5.0, 25.0]), (4, [0.0, 10.0, 50.0])]
)
def test_a_dipole_at_another_height_from_three_layers(spacings, heights):
    """Layers whose sources are few know a dipole two line spacings down from 10 m up."""
    depth = spacings * SPACING
    east, north, _ = walked(1000)
    value = dipole(east - 507, north - 488, depth)
    layer = fit_layer(
        east, north, value,
        depth_m=1.2 * SPACING, damping=1e-6, layers=3, rounds=2, trend="none", tolerance=1e-5,
    )  # fmt: skip
    e, n = np.random.default_rng(6).uniform(400, 600, (2, 500))
    for height in heights:
        expected = (depth / (depth + height)) ** 3 * dipole(e - 507, n - 488, depth + height)
        peak = np.abs(expected).max()
        np.testing.assert_allclose(layer.at(e, n, height), expected, atol=1e-3 * peak)


def test_it_is_kriging():
    """The dense solution with the covariance (2 d)^3 / (rho^2 + (2 d)^2)^(3/2), in scipy."""
    rng = np.random.default_rng(7)
    east, north = rng.uniform(0, 200, (2, 120))
    sd = rng.uniform(0.5, 2, 120)
    value = bodies(200, (20, 60), seed=8)(east, north) + rng.normal(0, sd)
    depth, damping = 20.0, 0.01
    design = np.column_stack([np.ones(120), east, north])
    plane = np.linalg.lstsq(design / sd[:, None], value / sd, rcond=None)[0]

    def covariance(e, n):
        square = (e[:, None] - east) ** 2 + (n[:, None] - north) ** 2
        return (2 * depth) ** 3 / (square + (2 * depth) ** 2) ** 1.5

    noise = damping * (sd / np.median(sd)) ** 2
    weights = np.linalg.solve(covariance(east, north) + np.diag(noise), value - design @ plane)
    e, n = rng.uniform(20, 180, (2, 200))
    expected = covariance(e, n) @ weights + np.column_stack([np.ones(200), e, n]) @ plane
    found = fit_layer(east, north, value, depth_m=depth, damping=damping, sd=sd).at(e, n)
    assert np.std(expected) > 3
    assert np.std(found - expected) < 0.01 * np.std(expected)


def grid_error(side, found, truth):
    count = int(side / 5) + 1
    if isinstance(found, SourceLayer):
        found = found.on_grid(Region(0.0, 0.0, (count, count)), spacing_m=5.0)
    return np.sqrt(np.mean((found - truth)[8:-8, 8:-8] ** 2))


def bent_error(side, east, north, value, truth):
    """Error of minimum curvature with the damping that the truth likes best."""
    size, shape = np.abs(value).max(), truth.shape
    blocks = block_means(east / 5, north / 5, value / size, weight=np.ones(east.size))
    wanted = np.ones(shape, dtype=bool)
    return min(
        grid_error(side, size * minimum_curvature(blocks, wanted, damping=d).reshape(shape), truth)
        for d in (0.01, 0.1, 1.0)
    )


@pytest.fixture(scope="module")
def planted():
    """Bodies 1.4 to 4 line spacings deep, readings with 0.5 nT of noise, and the truth."""
    side = 600
    anomaly = bodies(side, (1.4 * SPACING, 4 * SPACING), seed=9)
    east, north, line = walked(side, seed=9, step=2.5)
    value = anomaly(east, north) + np.random.default_rng(9).normal(0, 0.5, east.size)
    nodes = np.arange(0, side + 1, 5.0)
    return side, east, north, line, value, anomaly(nodes, nodes[:, None])


def test_bodies_deeper_than_the_line_spacing(planted):
    """By held-out lines alone, the error is under three quarters of minimum curvature's."""
    side, east, north, line, value, truth = planted
    choice = choose_layer(
        east, north, value, line=line, line_spacing_m=SPACING, depths=(0.7, 1.0, 1.4)
    )
    assert choice.by_ties
    best = min(choice.trials, key=lambda trial: trial.error)
    assert best[:4] == choice[:4]
    assert choice.rms_ties == best.rms
    layer = fit_layer(
        east, north, value,
        depth_m=choice.depth_m, damping=choice.damping, rounds=choice.rounds,
        layers=choice.layers,
    )  # fmt: skip
    found = grid_error(side, layer, truth)
    assert found < 0.75 * bent_error(side, east, north, value, truth)
    assert found < 0.5


def test_a_further_round_finds_compact_bodies_between_lines():
    """Bodies far apart, 0.5 to 1 line spacing deep, which the first fit smears along the lines."""
    side = 600
    anomaly = bodies(side, (0.5 * SPACING, SPACING), seed=14, density=3e-5)
    east, north, _ = walked(side, seed=14, step=2.5)
    value = anomaly(east, north) + np.random.default_rng(14).normal(0, 0.5, east.size)
    nodes = np.arange(0, side + 1, 5.0)
    truth = anomaly(nodes, nodes[:, None])
    once, again = (
        grid_error(
            side,
            fit_layer(east, north, value, depth_m=18.0, damping=0.01, rounds=n, tolerance=1e-4),
            truth,
        )
        for n in (0, 1)
    )
    assert again < 0.85 * once


def small(**options):
    east, north, _ = walked(250, step=3.0)
    value = bodies(250, (20, 60), seed=10)(east, north)
    return east, north, value, {"depth_m": 20.0, "damping": 0.01, **options}


def test_order_changes_no_bit():
    east, north, value, options = small(rounds=1, layers=3)
    mixed = np.random.default_rng(11).permutation(east.size)
    one = fit_layer(east, north, value, **options)
    other = fit_layer(east[mixed], north[mixed], value[mixed], **options)
    assert one.trend == other.trend
    np.testing.assert_array_equal(one.strength, other.strength)


def test_threads_change_no_bit():
    """Neither those of the transforms, nor those of two fits at once."""
    east, north, value, options = small(rounds=1, layers=3)
    alone = fit_layer(east, north, value, **options)
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        single = fit_layer(east, north, value, **options)
    finally:
        numba.set_num_threads(before)
    np.testing.assert_array_equal(single.strength, alone.strength)
    with ThreadPoolExecutor(max_workers=2) as pool:
        jobs = [pool.submit(fit_layer, east, north, value, **options) for _ in range(2)]
    for job in jobs:
        np.testing.assert_array_equal(job.result().strength, alone.strength)


def test_a_plane_comes_out_exact_at_any_height():
    east, north, _ = walked(250)
    layer = fit_layer(
        450_000 + east, 5_400_000 + north, 48_000 + 0.3 * east - 0.7 * north,
        depth_m=20.0, damping=0.01,
    )  # fmt: skip
    for height in (0.0, 40.0):
        found = layer.at([450_010.0, 450_900.0], [5_400_020.0, 5_399_000.0], height)
        np.testing.assert_allclose(found, [47_989.0, 48_970.0], rtol=1e-9)


def test_a_grid_has_the_values_of_its_nodes():
    east, north, value, options = small()
    layer = fit_layer(east, north, value, **options)
    grid = layer.on_grid(Region(-300.0, 20.0, (40, 61)), spacing_m=10.0, height_m=5.0)
    n, e = np.indices(grid.shape) * 10.0
    np.testing.assert_allclose(
        grid, layer.at(e.ravel() - 300, n.ravel() + 20, 5.0).reshape(grid.shape), atol=1e-9
    )


def test_the_mesh_grows_without_a_jump():
    """Places beyond the mesh, or just above the sensor, don't change the others much."""
    east, north, value, options = small()
    layer = fit_layer(east, north, value, **options)
    inside = layer.at(east[::50], north[::50])
    farther = layer.at([*east[::50], 900.0], [*north[::50], -500.0])
    higher = layer.at(east[::50], north[::50], 0.001)
    assert np.abs(farther[:-1] - inside).max() < 2e-3 * np.ptp(value)
    assert np.abs(higher - inside).max() < 2e-3 * np.ptp(value)
    assert layer.at([np.nan, 10.0], [5.0, 10.0])[0] != layer.at([10.0], [10.0])[0]
    assert np.isnan(layer.at([np.nan], [5.0])).all()


def test_missing_and_repeated_readings():
    east, north, value, options = small()
    expected = fit_layer(east, north, value, **options)
    gappy = np.concatenate([value, [np.nan, 5.0]])
    found = fit_layer([*east, 3.0, np.nan], [*north, 3.0, 2.0], gappy, **options)
    np.testing.assert_array_equal(found.strength, expected.strength)
    twice = fit_layer(*(np.tile(part, 2) for part in (east, north, value)), **options)
    halved = fit_layer(east, north, value, **{**options, "damping": options["damping"] / 2})
    at = np.array([50.0, 111.0]), np.array([60.0, 98.0])
    np.testing.assert_allclose(twice.at(*at), halved.at(*at), atol=0.01)


def test_two_readings_of_one_place_are_averaged_by_weight():
    corners = [0.0, 0.0, 40.0, 40.0, 20.0, 20.0], [0.0, 40.0, 0.0, 40.0, 20.0, 20.0]
    value = [0.0, 0.0, 0.0, 0.0, 10.0, 0.0]
    good, poor = (
        fit_layer(*corners, value, depth_m=20.0, damping=1e-6, sd=[1, 1, 1, 1, first, 1]).at(
            [20.0], [20.0]
        )[0]
        for first in (1.0, 3.0)
    )
    assert good == pytest.approx(5.0, abs=0.01)
    assert poor == pytest.approx(1.0, abs=0.01)


def test_three_readings_make_a_plane():
    layer = fit_layer([0.0, 20, 0], [0.0, 0, 20], [1.0, 2, 3], depth_m=10.0, damping=0.01)
    assert layer.at([20.0], [20.0])[0] == pytest.approx(4.0, abs=1e-9)


@pytest.mark.parametrize(("trend", "far"), [("mean", 7.0), ("none", 0.0)])
def test_far_away_the_trend_is_left(trend, far):
    east, north, _ = walked(250)
    value = 7.0 + np.zeros(east.size)
    layer = fit_layer(east, north, value, depth_m=20.0, damping=0.01, trend=trend)
    assert layer.at([125.0], [125.0])[0] == pytest.approx(7.0, abs=0.05)
    assert layer.at([4000.0], [4000.0])[0] == pytest.approx(far, abs=0.1)


SQUARE = [0.0, 20.0, 0.0, 20.0], [0.0, 0.0, 20.0, 20.0], [1.0, 2.0, 3.0, 4.0]


@pytest.mark.parametrize(
    ("options", "rule"),
    [
        ({"depth_m": 0.0}, "depth_m must be above zero"),
        ({"depth_m": -5.0}, "depth_m must be above zero"),
        ({"damping": 0.0}, "damping must be above zero"),
        ({"tolerance": 0.0}, "tolerance must be above zero"),
        ({"sd": [1.0, 1.0, 0.0, 1.0]}, "sd must be above zero"),
        ({"sd": [1.0, 1.0, -1.0, 1.0]}, "sd must be above zero"),
        ({"sd": [1.0]}, "same length"),
        ({"rounds": -1}, "rounds must not be below zero"),
        ({"layers": 0}, "layers must be from 1 to 5"),
        ({"layers": 6}, "layers must be from 1 to 5"),
        ({"trend": "bent"}, "one of plane, mean, none"),
        ({"spacing_m": 7.0}, "spacing_m must be at most.*the widest is 6.667 m"),
        ({"spacing_m": 0.0}, "spacing_m must be above zero"),
        ({"depth_m": 1e-4}, "at most 16 million nodes"),
    ],
)
def test_wrong_options_are_refused(options, rule):
    with pytest.raises(InputError, match=rule):
        fit_layer(*SQUARE, **{"depth_m": 10.0, "damping": 0.01, **options})


@pytest.mark.parametrize(
    ("east", "north", "rule"),
    [
        ([0.0, 10.0], [0.0, 5.0], "at least three readings"),
        ([0.0, np.nan, np.nan], [0.0, 5.0, 3.0], "at least three readings.*1 of 3"),
        ([5.0, 5.0, 5.0], [1.0, 1.0, 1.0], "along one line"),
        (np.arange(50.0), np.arange(50.0) + np.sin(np.arange(50.0)), "along one line"),
    ],
)
def test_readings_that_span_no_area_are_refused(east, north, rule):
    with pytest.raises(InputError, match=rule):
        fit_layer(east, north, np.ones(len(east)), depth_m=10.0, damping=0.01)


def test_heights_near_or_below_the_layer_are_refused():
    layer = fit_layer(*SQUARE, depth_m=10.0, damping=0.01)
    assert np.isfinite(layer.at([5.0], [5.0], -5.0)).all()
    for height in (-5.1, -20.0, np.nan):
        with pytest.raises(InputError, match=r"above the layer.*The lowest for this layer is -5 m"):
            layer.at([5.0], [5.0], height)
    with pytest.raises(InputError, match="nearer to the readings"):
        layer.at([5e6], [5e6])
