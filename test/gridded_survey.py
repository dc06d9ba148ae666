"""Small planted surveys of the anomaly: lines over compact bodies, and the truth everywhere."""

from dataclasses import dataclass

import numpy as np

from lodewalk.methods.gridding.calibrate_error import calibrate
from lodewalk.methods.gridding.choose_surface import choose_surface
from lodewalk.methods.gridding.covariance import fit_covariance
from lodewalk.methods.gridding.interface import grid_readings, region_for
from lodewalk.methods.gridding.line_blocks import line_blocks
from lodewalk.methods.gridding.line_folds import line_folds
from lodewalk.methods.gridding.piece_folds import piece_folds
from lodewalk.methods.gridding.standard_error import Surface, standard_error

SPACING, LENGTH, NODE = 20.0, 200.0, 5.0


@dataclass(frozen=True)
class Survey:
    """Readings, what disturbed them, and the bodies below."""

    easting: np.ndarray
    northing: np.ndarray
    line: np.ndarray
    value: np.ndarray
    noise_nT: float
    line_nT: float
    lines: int
    bodies: np.ndarray

    def field(self, easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
        return field(self.bodies, easting, northing)

    def gradient(self, easting: np.ndarray, northing: np.ndarray, step: float = 0.5) -> np.ndarray:
        """Size of the true horizontal gradient, by central differences."""
        along = [
            self.field(easting + e, northing + n) - self.field(easting - e, northing - n)
            for e, n in ((step, 0.0), (0.0, step))
        ]
        return np.hypot(*along) / (2 * step)


def field(bodies: np.ndarray, easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    """Total-field anomaly of dipoles along the field: size (3 (f.u)^2 - 1) (d / r)^3 / 2.

    Blakely (1995), Potential Theory in Gravity and Magnetic Applications, section 4.2 (from
    memory); `size` is what a dipole straight below gives in a vertical field.
    """
    east, north, depth, size, inclination = bodies
    e, n = np.asarray(easting)[..., None] - east, np.asarray(northing)[..., None] - north
    square = e**2 + n**2 + depth**2
    along = (n * np.cos(inclination) - depth * np.sin(inclination)) / np.sqrt(square)
    return (size * depth**3 * (3 * along**2 - 1) / (2 * square**1.5)).sum(axis=-1)


def planted(seed: int) -> Survey:
    """Draw a survey: 8 to 10 lines; bodies at 0.5 to 3 line spacings below the sensor."""
    rng = np.random.default_rng([seed, 20])
    lines = int(rng.integers(8, 11))
    north = np.arange(0, LENGTH + 0.1, rng.choice([1.0, 2.0, 3.0]))
    easting = np.repeat(np.arange(lines) * SPACING, north.size)
    northing = np.tile(north, lines)
    line = np.repeat(np.arange(lines), north.size)
    easting, northing = (axis + rng.normal(0, 0.5, axis.size) for axis in (easting, northing))
    count = int(rng.integers(5, 60))
    depth = SPACING * np.exp(rng.uniform(np.log(0.5), np.log(3.0), count))
    bodies = np.stack(
        [
            rng.uniform(-60, lines * SPACING + 40, count),
            rng.uniform(-60, LENGTH + 60, count),
            depth,
            rng.normal(0, rng.uniform(5, 50), count),
            np.full(count, np.radians(rng.uniform(-90, 90))),
        ]
    )
    noise = float(np.exp(rng.uniform(np.log(0.2), np.log(2.0))))
    shared = noise * rng.uniform(0.3, 1.0) if rng.random() < 0.4 else 0.0
    value = field(bodies, easting, northing) + rng.normal(0, noise, line.size)
    value += rng.normal(0, 1, lines)[line] * shared
    return Survey(easting, northing, line, value, noise, float(shared), lines, bodies)


def folds_of(survey: Survey) -> dict[str, np.ndarray]:
    """Return the fold of each reading, by lines and by pieces."""
    place = survey.easting, survey.northing, survey.line
    return {
        "lines": line_folds(*place, line_spacing_m=SPACING),
        "pieces": piece_folds(*place, length_m=SPACING),
    }


def choice_of(survey: Survey) -> Surface:
    """Return tension and damping as the main job chooses them."""
    sd = np.hypot(survey.noise_nT, survey.line_nT)
    found = choose_surface(
        survey.easting, survey.northing, survey.value, sd=np.full(survey.line.size, sd),
        line_spacing_m=SPACING, **folds_of(survey),
    )  # fmt: skip
    return Surface(found.damping_m2, found.tension, found.tension_length_m, NODE, survey.noise_nT)


@dataclass(frozen=True)
class Nodes:
    """Nodes of the map within the lines: error, stated sd, which are near lines and which not."""

    error: np.ndarray
    sd: np.ndarray
    near: np.ndarray
    between: np.ndarray
    steep: np.ndarray


def mapped(survey: Survey, choice: Surface) -> Nodes:
    """Return the map's errors and its stated standard errors.

    Near: within an eighth of the spacing of a line; between: within as much of the middle; steep:
    the tenth of the nodes with the largest true gradient.
    """
    readings = survey.easting, survey.northing, survey.value
    sd = {"sd_nT": np.full(survey.line.size, survey.noise_nT), "passage": survey.line}
    region = region_for(*readings[:2], spacing_m=NODE, reach_m=SPACING / 2)
    grid = grid_readings(
        *readings, **region._asdict(), spacing_m=NODE, reach_m=SPACING,
        method="minimum curvature", tension=choice.tension, damping_m2=choice.damping_m2,
        tension_length_m=choice.tension_length_m,
    )  # fmt: skip
    north, east = np.indices(region.shape) * NODE
    east, north = east + region.west_m, north + region.south_m
    inside = (east >= NODE) & (east <= (survey.lines - 1) * SPACING - NODE)
    inside &= (north >= NODE) & (north <= LENGTH - NODE)
    east, north = east[inside], north[inside]
    lines = {"line_spacing_m": SPACING, "line_sd_nT": survey.line_nT}
    covariance = fit_covariance(*readings, **sd, **lines)
    stated = standard_error(
        east, north, line_blocks(*readings, **sd, size_m=NODE), covariance=covariance,
        surface=choice, line_sd_nT=survey.line_nT,
        calibration=calibrate(
            *readings, **sd, **lines, **folds_of(survey), covariance=covariance, surface=choice
        ),
    )  # fmt: skip
    away = np.abs(east / SPACING - np.rint(east / SPACING))
    gradient = survey.gradient(east, north)
    return Nodes(
        grid[inside] - survey.field(east, north),
        stated,
        away <= 0.126,
        away >= 0.374,
        gradient >= np.quantile(gradient, 0.9),
    )
