"""Simulated surveys over one buried body, for trials of the predicted probability of detection.

Nothing here uses lodewalk's forward models or covariances: bodies are sums of dipoles at Gauss
points (lines of dipoles for a contact), the anomaly is |F + b| - |F|, rocks and soil are white
layers continued upward on a periodic mesh, the diurnal rest is a path of first-order
autoregression along the way that is walked. The fixed detector alone is lodewalk's. Invented.
"""

from dataclasses import dataclass, field

import numpy as np
from numba import njit
from scipy.fft import fft2, next_fast_len
from scipy.linalg import solve_triangular

from lodewalk.methods.bodies.target import Body
from lodewalk.methods.planning.line_layout import LineLayout, parallel_lines
from lodewalk.methods.planning.matched_filter import make_detector
from lodewalk.methods.planning.sought import body_target, prepare_target
from lodewalk.methods.planning.survey_noise import RandomField, SurveyNoise

NINETY = 1.645
MU0_NT = 4e-7 * np.pi * 1e9
#: A constant that all readings share: the datum of a survey is never known beforehand [nT].
DATUM_NT = 40.0


@dataclass(frozen=True)
class Case:
    """A target, what isn't known of it, and the survey that is to find it."""

    name: str
    body: Body
    susceptibility: tuple[float, float]
    field_nT: float = 50_000.0
    inclination_deg: float = 65.0
    declination_deg: float = 0.0
    azimuth_deg: float = 90.0
    spacing_m: float = 20.0
    tie_spacing_m: float | None = 200.0
    interval_m: float = 2.0
    height_m: float = 2.0
    depth_factor: float = 1.3
    strike_sd_deg: float = 0.0
    both: bool = False
    koenigsberger: float = 0.0
    remanence_deg: tuple[float, float] = (0.0, 0.0)
    size_m: tuple[float, float] = (400.0, 400.0)
    corner: float = 0.0
    white: tuple[float, float] = (0.1, 0.3)
    diurnal: tuple[float, float] = (0.5, 600.0)
    level_nT: float = 1.0
    rocks: tuple[float, float] = (2.0, 22.0)
    soil: tuple[float, float] = (0.5, 3.0)
    corners: tuple[tuple[float, float], ...] | None = None

    @property
    def ambient(self):
        return self.field_nT * direction(self.inclination_deg, self.declination_deg)

    @property
    def noise(self):
        fields = tuple(RandomField(*part) for part in (self.rocks, self.soil))
        return SurveyNoise(*self.white, *self.diurnal, self.level_nT, fields)

    @property
    def middle(self):
        return float(np.sqrt(np.prod(self.susceptibility)))

    @property
    def remanence(self):
        """Remanence of a body with the contrast in the middle of the range [A/m]."""
        size = self.koenigsberger * self.middle * self.field_nT / MU0_NT
        return size * direction(*self.remanence_deg)

    @property
    def layout(self):
        return LineLayout(
            self.azimuth_deg, self.spacing_m, self.tie_spacing_m, self.interval_m, self.height_m
        )

    @property
    def area(self):
        """The corners given, or a rectangle along the lines, one corner of it cut off."""
        if self.corners is not None:
            return np.array(self.corners)
        across, along = self.size_m
        cut = self.corner
        shape = [(0, 0), (across, 0), (across, along * (1 - cut)), (across * (1 - cut), along)]
        return np.array([*shape, (0, along)]) @ turn(self.azimuth_deg).T


def direction(inclination, declination):
    """Return the unit vector north, east, down."""
    dip, azimuth = np.radians([inclination, declination])
    return np.array([np.cos(dip) * np.cos(azimuth), np.cos(dip) * np.sin(azimuth), np.sin(dip)])


def turn(azimuth):
    """Return the matrix from (east, north) to (right of, along) an azimuth; rows times matrix."""
    c, s = np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth))
    return np.array([[c, s], [-s, c]])


def prepared(case, *, draws=64, seed=0):
    """Return the case's target as the predictor wants it."""
    target = body_target(
        case.body,
        ambient_nT=case.ambient,
        susceptibility=case.susceptibility,
        remanence_A_m=case.remanence if case.koenigsberger else None,
        depth_factor=case.depth_factor,
        strike_sd_deg=case.strike_sd_deg,
        both_polarities=case.both,
    )
    return prepare_target(target, sensor_height_m=case.height_m, draws=draws, seed=seed)


# Bodies ---------------------------------------------------------------------------------------


def gauss(edges, order):
    """Return Gauss points and weights over panels."""
    point, weight = np.polynomial.legendre.leggauss(order)
    low, high = np.asarray(edges[:-1])[:, None], np.asarray(edges[1:])[:, None]
    points = 0.5 * (low + high) + 0.5 * (high - low) * point
    return points.ravel(), (0.5 * (high - low) * weight).ravel()


def panels(low, high, size):
    return np.linspace(low, high, max(1, int(np.ceil((high - low) / size))) + 1)


def downwards(extent, size):
    """Return panels that grow with depth."""
    edges = [0.0]
    while edges[-1] < extent:
        edges.append(min(extent, edges[-1] + 0.5 * (size + edges[-1])))
    return np.array(edges)


def product(*axes):
    """Return all combinations of points, and the products of their weights."""
    points = np.stack(np.meshgrid(*(a[0] for a in axes), indexing="ij"), axis=-1)
    weights = np.ones(1)
    for _, weight in axes:
        weights = np.multiply.outer(weights, weight)
    return points.reshape(-1, len(axes)), weights.ravel()


def cells(body, below):
    """Return right, along, depth below ground, and volume, of the cells of a body."""
    size = 1.2 * below
    if body.kind == "sphere":
        points, volume = product(
            gauss([0, body.radius_m], 4), gauss([-1, 1], 5), gauss(panels(0, 2 * np.pi, 1.6), 3)
        )
        radius, up, angle = points.T
        flat = radius * np.sqrt(1 - up**2)
        return (flat * np.cos(angle), flat * np.sin(angle), body.depth_m + radius * up), (
            volume * radius**2
        )
    if body.kind == "pipe":
        points, volume = product(
            gauss([0, body.radius_m], 4),
            gauss(panels(0, 2 * np.pi, 1.1), 3),
            gauss(downwards(body.depth_extent_m, size), 3),
        )
        radius, angle, down = points.T
        return (radius * np.cos(angle), radius * np.sin(angle), body.depth_m + down), (
            volume * radius
        )
    along = gauss(panels(-body.length_m / 2, body.length_m / 2, size), 3)
    if body.kind == "folded bed":
        return fold_cells(body, along, size)
    across = gauss(panels(-body.width_m / 2, body.width_m / 2, size), 3)
    points, volume = product(across, along, gauss(downwards(body.depth_extent_m, size), 3))
    right, forward, down = points.T
    right = right + down / np.tan(np.radians(body.dip_deg))
    return (right, forward, body.depth_m + down), volume


def fold_cells(body, along, size):
    """Return the cells of two limbs: each a four-sided section, its corners mapped to a square."""
    half, dip = np.radians(body.opening_deg / 2), np.radians(body.dip_deg)
    hinge = np.array([0.0, body.depth_m])
    inner = hinge + body.width_m / np.sin(half) * np.array([np.cos(dip), np.sin(dip)])
    bottom = body.depth_m + body.depth_extent_m
    found = []
    for angle in (dip + half, dip - half):
        low_outer = np.array([hinge[0] + (bottom - hinge[1]) / np.tan(angle), bottom])
        low_inner = np.array([inner[0] + (bottom - inner[1]) / np.tan(angle), bottom])
        steps = downwards(1.0, size / body.depth_extent_m)
        points, weights = product(gauss([0, 1], 3), gauss(steps, 3))
        s, t = points.T[:, :, None]
        place = (1 - s) * ((1 - t) * hinge + t * low_outer) + s * ((1 - t) * inner + t * low_inner)
        by_s = (1 - t) * (inner - hinge) + t * (low_inner - low_outer)
        by_t = (1 - s) * (low_outer - hinge) + s * (low_inner - inner)
        area = np.abs(by_s[:, 0] * by_t[:, 1] - by_s[:, 1] * by_t[:, 0]) * weights
        number, forward = np.divmod(np.arange(area.size * along[0].size), along[0].size)
        found.append((place[number, 0], along[0][forward], place[number, 1],
                      area[number] * along[1][forward]))  # fmt: skip
    right, forward, depth, volume = np.concatenate(found, axis=1)
    return (right, forward, depth), volume


@njit(cache=True, fastmath=True)
def dipoles(right, forward, height, sources, volume, moment):
    """Return the field (right, along, up) of dipoles of a moment a volume [nT]."""
    found = np.zeros((3, right.size))
    m0, m1, m2 = moment
    for i in range(right.size):
        b0, b1, b2 = 0.0, 0.0, 0.0
        for j in range(volume.size):
            x, y, z = right[i] - sources[0, j], forward[i] - sources[1, j], height + sources[2, j]
            inverse = 1.0 / (x * x + y * y + z * z)
            scale = 100.0 * volume[j] * inverse * np.sqrt(inverse)
            along = 3.0 * (m0 * x + m1 * y + m2 * z) * inverse
            b0 += scale * (along * x - m0)
            b1 += scale * (along * y - m1)
            b2 += scale * (along * z - m2)
        found[0, i], found[1, i], found[2, i] = b0, b1, b2
    return found


def contact_field(body, right, height, moment):
    """Return the field of a slab's edge: lines of dipoles, without end along the strike."""
    below = body.depth_m + height
    edges = np.concatenate([[0.0], below * np.geomspace(0.5, 2e4, 30)])
    points, area = product(gauss(edges, 3), gauss(downwards(body.depth_extent_m, below), 3))
    away, down = points.T
    place = away + down / np.tan(np.radians(body.dip_deg))
    return line_dipoles(right, place, below + down, area, moment)


@njit(cache=True, fastmath=True)
def line_dipoles(right, place, below, area, moment):
    """Return the field (right, along, up) of endless lines of dipoles of a moment an area [nT]."""
    found = np.zeros((3, right.size))
    for i in range(right.size):
        for j in range(area.size):
            x, z = right[i] - place[j], below[j]
            inverse = 1.0 / (x * x + z * z)
            along = 2.0 * (moment[0] * x + moment[2] * z) * inverse
            scale = 200.0 * area[j] * inverse
            found[0, i] += scale * (along * x - moment[0])
            found[2, i] += scale * (along * z - moment[2])
    return found


def anomaly(case, body, contrast, east, north):
    """Return |F + b| - |F| of a body at places from its middle [nT]."""
    frame = turn(body.strike_deg)
    right, forward = (np.column_stack([east, north]) @ frame).T.copy()
    effective = contrast / (1 + contrast / 3) if body.kind == "sphere" else contrast
    magnetisation = effective * case.ambient / MU0_NT + case.remanence * contrast / case.middle
    flat = np.array([magnetisation[1], magnetisation[0]]) @ frame
    moment = np.array([flat[0], flat[1], -magnetisation[2]])
    if body.kind == "contact":
        field_ = contact_field(body, right, case.height_m, moment)
    else:
        sources, volume = cells(body, body.depth_m + case.height_m)
        field_ = dipoles(right, forward, case.height_m, np.array(sources), volume, moment)
    ambient = np.array([case.ambient[1], case.ambient[0]]) @ frame
    total = np.array([ambient[0], ambient[1], -case.ambient[2]])[:, None]
    return np.linalg.norm(total + field_, axis=0) - case.field_nT


# Noise ----------------------------------------------------------------------------------------


@dataclass
class Ground:
    """Random fields on a periodic mesh along the lines, two at each draw."""

    case: Case
    east: np.ndarray
    north: np.ndarray
    kept: list = field(default_factory=list)

    def __post_init__(self):
        case, step = self.case, self.case.interval_m
        place = np.column_stack([self.east, self.north]) @ turn(case.azimuth_deg)
        node = np.rint((place - place.min(axis=0)) / step).astype(int)
        margin = 6 * max(case.rocks[1], case.soil[1]) / step
        self.shape = tuple(next_fast_len(int(n + 1 + margin)) for n in node.max(axis=0))
        self.node = node[:, 0] * self.shape[1] + node[:, 1]
        wave = np.hypot(*np.meshgrid(
            *(2 * np.pi * np.fft.fftfreq(n, step) for n in self.shape), indexing="ij"))  # fmt: skip
        power = np.zeros(self.shape)
        for sd, depth in (case.rocks, case.soil):
            layer = np.exp(-2 * wave * depth)
            power += sd**2 * layer / layer.sum()
        self.size = np.sqrt(power)

    def draw(self, rng):
        if not self.kept:
            normal = rng.normal(size=(2, *self.shape))
            mesh = fft2(self.size * (normal[0] + 1j * normal[1])).ravel()[self.node]
            self.kept = [mesh.real, mesh.imag]
        return self.kept.pop()


@njit(cache=True)
def wander(step, normal, time_s, sd):
    """Return a path of first-order autoregression."""
    path = np.empty(normal.size)
    path[0] = sd * normal[0]
    for i in range(1, normal.size):
        keep = np.exp(-step[i - 1] / time_s)
        path[i] = keep * path[i - 1] + sd * np.sqrt(1 - keep * keep) * normal[i]
    return path


def noise_of(case, readings, ground, rng):
    """Return the noise of all readings of one survey."""
    count = readings.line.size
    level = rng.normal(0, case.level_nT, readings.line.max() + 1)[readings.line]
    white = rng.normal(0, case.white[0], count) + rng.normal(0, case.white[1], count)
    rest = wander(np.diff(readings.time_s), rng.normal(size=count), case.diurnal[1],
                  case.diurnal[0])  # fmt: skip
    return DATUM_NT + level + white + rest + ground.draw(rng)


# Surveys --------------------------------------------------------------------------------------


def drawn_target(case, rng):
    """Draw the true body: place in the area, depth, strike and contrast."""
    corners = case.area
    low, high = corners.min(axis=0), corners.max(axis=0)
    while True:
        place = rng.uniform(low, high)
        if inside(place, corners):
            break
    body = case.body
    depth = body.depth_m * case.depth_factor ** (rng.normal() / NINETY)
    if body.kind == "sphere":
        depth = max(depth, body.radius_m)
    strike = body.strike_deg + case.strike_sd_deg * rng.normal()
    low, high = np.log(case.susceptibility)
    contrast = np.exp(0.5 * (low + high) + 0.5 * (high - low) * rng.normal() / NINETY)
    moved = {**body.__dict__, "depth_m": depth, "strike_deg": strike}
    return place, Body(**moved), contrast


def inside(place, corners):
    """Tell whether a place lies in a convex ring that runs counter-clockwise."""
    ahead = np.roll(corners, -1, axis=0) - corners
    to = place - corners
    side = ahead[:, 0] * to[:, 1] - ahead[:, 1] * to[:, 0]
    return bool((side >= 0).all())


def fixed_detector(case, readings, at=None):
    """Return the detector and its filters over the whole area: blocks, weights, places."""
    detector = make_detector(
        readings, case.area, prepared=at or prepared(case, draws=1), noise=case.noise,
        spacing_m=case.spacing_m,
    )  # fmt: skip
    filters = []
    for tile in detector.tiles():
        weights = solve_triangular(tile.root, tile.unit, lower=True, trans="T")
        filters.append((tile.block, weights.astype(np.float32), tile.place_m))
    return detector, filters


@dataclass(frozen=True)
class Simulated:
    """Found or not, for each survey, and whether noise alone made a target anywhere."""

    found: np.ndarray
    false_alarm: np.ndarray


def simulate(case, threshold, *, surveys, seed, batch=200, truths=None):
    """Simulate surveys of one case and apply the fixed detector.

    `truths` is a generator of its own for the bodies, so that several plans meet the same ones.
    """
    readings = parallel_lines(case.area, case.layout)
    detector, filters = fixed_detector(case, readings)
    places = np.vstack([place for _, _, place in filters])
    ground = Ground(case, readings.easting_m, readings.northing_m)
    rng = np.random.default_rng([seed, 41])
    found, alarms = [], []
    for _ in range(0, surveys, batch):
        noise = np.array(
            [detector.blocks.means(noise_of(case, readings, ground, rng)) for _ in range(batch)]
        )
        signal = np.empty_like(noise)
        near = []
        for k in range(batch):
            place, body, contrast = drawn_target(case, truths or rng)
            values = _anomaly_within(case, body, contrast, readings, place)
            signal[k] = detector.blocks.means(values)
            near.append(within_tolerance(detector, places, place))
        alone = scores(filters, noise - DATUM_NT)
        both = alone + scores(filters, signal)
        if case.both:
            alone, both = np.abs(alone), np.abs(both)
        alarms += list(alone.max(axis=1) > threshold)
        found += [bool((row[own] > threshold).any()) for row, own in zip(both, near, strict=True)]
    return Simulated(np.array(found), np.array(alarms))


def _anomaly_within(case, body, contrast, readings, place):
    """Return the anomaly at the readings; where the detector doesn't look it is left 0."""
    east, north = readings.easting_m - place[0], readings.northing_m - place[1]
    right, forward = np.abs(np.column_stack([east, north]) @ turn(body.strike_deg)).T
    reach = 6 * (case.body.depth_m + case.height_m)
    near = right < reach + 2 * case.spacing_m + 0.5 * body.width_m
    near &= forward < reach + 0.5 * body.length_m
    if body.kind == "contact":
        near[:] = True
    values = np.zeros(east.size)
    values[near] = anomaly(case, body, contrast, east[near], north[near])
    return values


def scores(filters, means):
    """Return the scores of all places, shape (n_surveys, n_places)."""
    means = means.astype(np.float32)
    return np.hstack([means[:, block] @ weights for block, weights, _ in filters])


def within_tolerance(detector, places, place):
    """Tell which places count as having found the target."""
    across, along = detector.prepared.tolerance(detector.spacing_m)
    off = np.abs((places - place) @ turn(detector.prepared.target.strike_deg)).T
    return (off[0] <= across) & (off[1] <= along)
