"""The ground, what is magnetic in it, and the field above it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lodewalk.adapters.projection import grid_convergence_deg, to_geographic, to_projected
from lodewalk.methods.bodies import (
    ambient_vector,
    block_field,
    dipole_field,
    dipping_block,
    exact_anomaly,
    induced_magnetisation,
    sphere_moment,
)
from lodewalk.methods.bodies.anomaly import VectorField
from lodewalk.methods.geomagnetic.reference import field_elements, igrf_field
from lodewalk.services.demo.noise import stream
from lodewalk.services.demo.scenario import Rock, Scenario
from lodewalk.validation import FloatArray


@dataclass(frozen=True)
class Place:
    """The survey's own frame, along and across the lines, tied to the projected grid."""

    scenario: Scenario

    def to_grid(self, along_m: FloatArray, across_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Turn positions along and across the lines into easting and northing [m]."""
        rule = self.scenario
        east, north = to_projected(rule.longitude_deg, rule.latitude_deg, crs=rule.crs)
        azimuth = np.radians(rule.line_azimuth_deg)
        along = np.asarray(along_m) - rule.line_length_m / 2.0
        across = np.asarray(across_m) - (rule.line_count - 1) * rule.line_spacing_m / 2.0
        return (
            np.asarray(east + along * np.sin(azimuth) + across * np.cos(azimuth)),
            np.asarray(north + along * np.cos(azimuth) - across * np.sin(azimuth)),
        )

    def ground(self, along_m: FloatArray, across_m: FloatArray) -> FloatArray:
        """Return the height of the ground above the ellipsoid [m]."""
        rule = self.scenario
        along, across = np.asarray(along_m), np.asarray(across_m)
        square = (along - rule.hill_along_m) ** 2 + (across - rule.hill_across_m) ** 2
        hill = rule.hill_m * np.exp(-square / (2.0 * rule.hill_width_m**2))
        return np.asarray(rule.ground_m + rule.ground_slope * along + hill)

    def from_grid(self, easting_m: FloatArray, northing_m: FloatArray) -> tuple[FloatArray, ...]:
        """Turn easting and northing into positions along and across the lines [m]."""
        zero_east, zero_north = self.to_grid(np.array(0.0), np.array(0.0))
        azimuth = np.radians(self.scenario.line_azimuth_deg)
        east, north = easting_m - zero_east, northing_m - zero_north
        along = east * np.sin(azimuth) + north * np.cos(azimuth)
        return along, east * np.cos(azimuth) - north * np.sin(azimuth)


@dataclass(frozen=True)
class Point:
    """A small body: centre (easting, northing, height) and moment (north, east, down)."""

    name: str
    centre: FloatArray
    moment: FloatArray


@dataclass(frozen=True)
class Sources:
    """All that is magnetic: blocks and boulders of rock, and steel."""

    ambient_nT: FloatArray
    corners: dict[str, FloatArray]
    magnetisation: dict[str, FloatArray]
    boulders: tuple[Point, ...]
    steel: tuple[Point, ...]


def main_field(
    scenario: Scenario, easting_m: FloatArray, northing_m: FloatArray, height_m: FloatArray
) -> VectorField:
    """Return the main field towards grid north, grid east and down [nT]."""
    longitude, latitude = to_geographic(easting_m, northing_m, crs=scenario.crs)
    north, east, down = igrf_field(latitude, longitude, height_m, decimal_year=scenario.epoch_year)
    turn = np.radians(grid_convergence_deg(longitude, latitude, crs=scenario.crs))
    return (
        north * np.cos(turn) + east * np.sin(turn),
        east * np.cos(turn) - north * np.sin(turn),
        down,
    )


def build_sources(scenario: Scenario, *, seed: int) -> Sources:
    """Return the magnetised bodies in the projected grid."""
    place = Place(scenario)
    east, north = to_projected(scenario.longitude_deg, scenario.latitude_deg, crs=scenario.crs)
    elements = field_elements(*main_field(scenario, east, north, np.array(scenario.ground_m)))
    ambient = ambient_vector(
        strength_nT=float(elements.total_nT),
        inclination_deg=float(elements.inclination_deg),
        declination_deg=float(elements.declination_deg),
    )
    return Sources(
        ambient_nT=ambient,
        corners={rock.name: rock_corners(place, rock) for rock in scenario.rocks},
        magnetisation={
            rock.name: induced_magnetisation(ambient, susceptibility=rock.susceptibility)
            for rock in scenario.rocks
        },
        boulders=_boulders(place, ambient, stream(seed, "boulders")),
        steel=(*_fence(place, stream(seed, "fence")), _drum(place)),
    )


def rock_corners(place: Place, rock: Rock) -> FloatArray:
    """Return the corners of a rock: its flat top lies `depth_m` below ground at its middle."""
    return dipping_block(
        centre=_centre(place, rock.along_m, rock.across_m, -rock.depth_m),
        length_m=rock.length_m,
        width_m=rock.width_m,
        strike_deg=rock.strike_deg,
        dip_deg=rock.dip_deg,
        depth_extent_m=rock.depth_extent_m,
    )


def _centre(place: Place, along_m: float, across_m: float, above_m: float) -> FloatArray:
    """Return easting, northing and height of a place so far above ground."""
    along, across = np.array(along_m), np.array(across_m)
    return np.array([*place.to_grid(along, across), place.ground(along, across) + above_m])


def _boulders(place: Place, ambient: FloatArray, rng: np.random.Generator) -> tuple[Point, ...]:
    """Strew boulders over the survey."""
    rule, area = place.scenario.boulders, place.scenario
    width = (area.line_count - 1) * area.line_spacing_m
    along = rng.uniform(-rule.margin_m, area.line_length_m + rule.margin_m, rule.count)
    across = rng.uniform(-rule.margin_m, width + rule.margin_m, rule.count)
    depth = rng.uniform(*rule.depth_m, rule.count)
    radius = rng.uniform(*rule.radius_m, rule.count)
    return tuple(
        Point(
            f"boulder {i + 1}",
            _centre(place, along[i], across[i], -depth[i]),
            sphere_moment(ambient, radius_m=radius[i], susceptibility=rule.susceptibility),
        )
        for i in range(rule.count)
    )


def _fence(place: Place, rng: np.random.Generator) -> tuple[Point, ...]:
    """Set the posts of the fence; each carries a moment, mostly upright, of its own."""
    rule = place.scenario.fence
    across = np.arange(*rule.across_m, rule.spacing_m)
    upright = -rng.normal(rule.moment_A_m2, rule.moment_sd_A_m2, len(across))
    sideways = rng.normal(0.0, 0.3 * rule.moment_A_m2, (len(across), 2))
    return tuple(
        Point(
            f"post {i + 1}",
            _centre(place, rule.along_m + rule.skew * at, at, rule.post_height_m),
            np.array([*sideways[i], upright[i]]),
        )
        for i, at in enumerate(across)
    )


def _drum(place: Place) -> Point:
    """Bury the drum."""
    rule = place.scenario.drum
    return Point(
        "drum",
        _centre(place, rule.along_m, rule.across_m, -rule.depth_m),
        np.array(rule.moment_north_east_down_A_m2),
    )


@dataclass(frozen=True)
class FieldAt:
    """The steady field at points: reference, anomaly, and the share of steel in it [nT]."""

    reference_nT: FloatArray
    anomaly_nT: FloatArray
    steel_nT: FloatArray


@dataclass(frozen=True)
class World:
    """The survey's ground and all that is magnetic in it."""

    scenario: Scenario
    seed: int

    @cached_property
    def place(self) -> Place:
        """The frame of the lines."""
        return Place(self.scenario)

    @cached_property
    def sources(self) -> Sources:
        """The magnetised bodies."""
        return build_sources(self.scenario, seed=self.seed)

    @cached_property
    def base_site(self) -> tuple[float, float, float]:
        """Easting, northing and height of the base's sensor [m]."""
        rule = self.scenario
        east, north, height = _centre(
            self.place, rule.base_along_m, rule.base_across_m, rule.base_height_m
        )
        return float(east), float(north), float(height)

    @cached_property
    def base_total_field(self) -> float:
        """Steady total field at the base's sensor [nT]."""
        east, north, height = (np.array([part]) for part in self.base_site)
        field = self.field_at(east, north, height)
        return float(field.reference_nT[0] + field.anomaly_nT[0])

    def field_at(
        self, easting_m: FloatArray, northing_m: FloatArray, height_m: FloatArray
    ) -> FieldAt:
        """Return the steady total field at points, taken apart."""
        where = (easting_m, northing_m, height_m)
        ambient = main_field(self.scenario, *where)
        rock = _dipoles(where, self.sources.boulders)
        for name, corners in self.sources.corners.items():
            magnetisation = self.sources.magnetisation[name]
            rock += np.array(block_field(*where, corners=corners, magnetisation=magnetisation))
        both = rock + _dipoles(where, self.sources.steel)
        anomaly = exact_anomaly((both[0], both[1], both[2]), ambient_nT=ambient)
        natural = exact_anomaly((rock[0], rock[1], rock[2]), ambient_nT=ambient)
        reference = np.sqrt(ambient[0] ** 2 + ambient[1] ** 2 + ambient[2] ** 2)
        return FieldAt(reference, anomaly, anomaly - natural)


def _dipoles(where: tuple[FloatArray, ...], points: tuple[Point, ...]) -> FloatArray:
    """Return the summed field of small bodies."""
    total = np.zeros((3, len(where[0])))
    for point in points:
        total += np.array(dipole_field(*where, centre=point.centre, moment=point.moment))
    return total
