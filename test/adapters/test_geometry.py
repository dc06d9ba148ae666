"""Areas and exclusions: repairs that are told, sizes against the ellipsoid, and what is refused."""

import math

import numpy as np
import polars as pl
import pytest
import shapely
from pyproj import Geod, Proj

from lodewalk.adapters.exclusion_kinds import KINDS
from lodewalk.adapters.geometry import area_left, area_polygons, exclusion_zones
from lodewalk.errors import InputError
from lodewalk.records.recorded import Shapes

UTM = "EPSG:31982"  # zone 22 S
BUFFERS = {"power_line_m": 50.0, "fence_m": 10.0, "road_m": 20.0, "water_m": 5.0,
           "building_m": 30.0, "other_m": 0.0}  # fmt: skip
#: West and south edge of a square of 1000 m [m].
WEST, SOUTH = 560_000.0, 7_245_000.0


def corners(*shapes, crs=UTM):
    """Return shapes; each is its geometry, rings, and perhaps kind, buffer and name."""
    rows = []
    for number, (geometry, rings, *about) in enumerate(shapes):
        kind, buffer, name = [*about, None, None, None][:3]
        for ring, places in enumerate(rings):
            rows += [
                (line, number, 0, ring, geometry, name, kind, buffer, float(a), float(b), crs)
                for line, (a, b) in enumerate(places, start=10 * number + 2)
            ]
    schema = {column.name: column.dtype for column in Shapes.SCHEMA}
    return Shapes(pl.DataFrame(rows, schema=schema, orient="row"))


def square(side=1000.0, *, east=0.0, north=0.0):
    """Return the closed ring of a square on the map."""
    offsets = [(0, 0), (side, 0), (side, side), (0, side), (0, 0)]
    return [(WEST + east + e, SOUTH + north + n) for e, n in offsets]


def box(west, south, east, north):
    """Return the closed ring of a box in degrees."""
    return [(west, south), (east, south), (east, north), (west, north), (west, south)]


def area_of(*rings, crs=UTM, survey=UTM):
    return area_polygons(corners(*(("polygon", [ring]) for ring in rings), crs=crs), crs=survey)


def test_a_square_is_kept_as_it_is():
    region = area_of(square())
    assert region.area_m2 == pytest.approx(1e6, rel=1e-9)
    assert region.pieces == 1
    assert region.notes == ()
    assert region.bounds() == pytest.approx((WEST, SOUTH, WEST + 1000, SOUTH + 1000))
    ((outline,),) = list(region.rings())
    assert {tuple(place) for place in outline.tolist()} == set(square())


@pytest.mark.parametrize(
    ("west", "south", "size", "crs"),
    [
        (-50.40, -24.90, 0.01, "EPSG:31982"),
        (-50.40, -24.90, 0.3, "EPSG:31982"),
        (9.0, 61.0, 0.2, "EPSG:32632"),
        (-160.0, 70.5, 0.1, "EPSG:32604"),
    ],
)
def test_the_area_of_degrees_agrees_with_the_ellipsoid(west, south, size, crs):
    """The outside is the area on the ellipsoid (Karney) times the scale of the projection there.

    Edges of constant latitude are straight in degrees, so the box is taken with many corners.
    """
    region = area_of(box(west, south, west + size, south + size), crs="EPSG:4326", survey=crs)
    along = np.linspace(west, west + size, 2001)
    longitude = np.concatenate([along, along[::-1]])
    latitude = np.repeat([south, south + size], 2001)
    area, _ = Geod(ellps="WGS84").polygon_area_perimeter(longitude, latitude)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    east, north = np.meshgrid(west + size * (nodes + 1) / 2, south + size * (nodes + 1) / 2)
    scale = Proj(crs).get_factors(east.ravel(), north.ravel()).areal_scale.reshape(8, 8)
    weight = np.outer(weights * np.cos(np.radians(north[:, 0])), weights)
    expected = abs(area) * float((scale * weight).sum() / weight.sum())
    assert region.area_m2 == pytest.approx(expected, rel=2e-6)


def test_a_long_edge_of_degrees_is_followed():
    # The chord of half a degree along 60 N leaves the parallel by 53 m (s^2 tan(lat) / 8R).
    region = area_of(box(9.0, 60.0, 9.5, 60.01), crs="EPSG:4326", survey="EPSG:32632")
    east, north = Proj("EPSG:32632")(np.linspace(9.0, 9.5, 777), np.full(777, 60.0))
    away = shapely.distance(region.outline.boundary, shapely.points(east, north))
    assert away.max() < 0.05


def test_degrees_of_another_zone_and_metres_of_another_zone():
    other = Proj("EPSG:31983")  # zone 23 S
    ring = [other(*place) for place in box(-48.2, -25.0, -48.1, -24.9)]
    there = area_of(ring, crs="EPSG:31983")
    same = area_of(box(-48.2, -25.0, -48.1, -24.9), crs="EPSG:4674")
    assert there.area_m2 == pytest.approx(same.area_m2, rel=1e-4)


def test_a_hole_stays():
    region = area_polygons(
        corners(("polygon", [square(), square(200, east=100, north=100)])), crs=UTM
    )
    assert region.area_m2 == pytest.approx(1e6 - 4e4)
    assert [len(rings) for rings in region.rings()] == [2]


def test_an_open_ring_is_closed_and_repeats_are_dropped_and_told():
    ring = square()[:-1]
    region = area_of([ring[0], ring[0], *ring[1:], ring[-1]])
    assert region.area_m2 == pytest.approx(1e6)
    assert region.notes == (
        "An open ring was closed: polygon in line 2.",
        "Repeated corners dropped: 2, polygon in line 2.",
    )


def test_an_outline_that_crosses_itself_is_split_and_told():
    # A bow tie: two triangles that meet in the middle, each a quarter of the square.
    a, b, c, d = square()[:4]
    bow = [a, b, d, c, a]
    region = area_polygons(corners(("polygon", [bow], None, None, "North")), crs=UTM)
    assert region.area_m2 == pytest.approx(5e5)
    assert region.pieces == 2
    assert region.notes == (
        f"The outline crosses or touches itself at easting {WEST + 500:.1f}, northing "
        f"{SOUTH + 500:.1f} (polygon in line 2, North): split there into 2 polygons; 50.00 ha now, "
        "0 m2 as drawn, where crossing parts count against each other.",
    )


def test_what_an_outline_goes_round_twice_lies_outside():
    # A five-pointed star drawn in one stroke: its middle, a pentagon, is enclosed twice.
    angle = np.pi / 2 + 2 * np.pi / 5 * np.array([0, 2, 4, 1, 3, 0])
    ring = np.column_stack([WEST + 500 * np.cos(angle), SOUTH + 500 * np.sin(angle)])
    inner = 500 * math.cos(2 * math.pi / 5) / math.cos(math.pi / 5)
    star = 5 * 500 * inner * math.sin(math.pi / 5)
    pentagon = 2.5 * inner**2 * math.sin(2 * math.pi / 5)
    region = area_of(ring.tolist())
    assert region.area_m2 == pytest.approx(star - pentagon, rel=1e-6)
    assert "crosses or touches itself" in region.notes[0]


def test_a_hole_outside_the_outline_is_mended_and_told():
    region = area_polygons(corners(("polygon", [square(), square(100, east=5000)])), crs=UTM)
    assert "has a hole that isn't inside it" in region.notes[0]


def test_polygons_are_joined_and_their_overlap_told():
    region = area_of(square(), square(east=500.0))
    assert region.area_m2 == pytest.approx(1.5e6)
    assert region.notes == ("2 polygons are joined to one area; they overlap by 50.00 ha.",)
    apart = area_of(square(), square(east=2000.0))
    assert apart.notes == ("2 polygons are joined to one area of 2 pieces.",)
    beside = area_of(square(), square(east=1000.0))
    assert beside.notes == ("2 polygons are joined to one area.",)


def test_lines_and_points_are_left_aside_and_told():
    shapes = corners(("polygon", [square()]), ("line", [square()[:2]]), ("point", [square()[:1]]))
    assert area_polygons(shapes, crs=UTM).notes == (
        "Lines and points can't be an area, left aside: 2.",
    )


@pytest.mark.parametrize(
    "rings",
    [
        [box(179.99, -16.9, -179.99, -16.8)],
        [box(179.99, -16.9, 180.01, -16.8)],
        [box(179.99, -16.9, 180.0, -16.8), box(-180.0, -16.9, -179.99, -16.8)],
    ],
    ids=["by a leap", "counted on", "cut in two"],
)  # fmt: skip
@pytest.mark.parametrize("survey", ["EPSG:32760", "EPSG:32701"])
def test_an_area_over_the_antimeridian_is_one_area(rings, survey):
    region = area_of(*rings, crs="EPSG:4326", survey=survey)
    # As large as the same box away from the antimeridian, in a zone that lies alike.
    like = area_of(box(173.99, -16.9, 174.01, -16.8), crs="EPSG:4326", survey="EPSG:32759")
    assert region.area_m2 == pytest.approx(like.area_m2, rel=1e-7)
    assert region.pieces == 1
    assert any("antimeridian" in said for said in region.notes) == (rings[0][1][0] < 0)


def test_an_area_in_the_high_arctic_in_a_system_made_for_it():
    survey = "EPSG:5921"  # WGS 84 / EPSG Arctic Regional zone A1, to 87 N
    region = area_of(box(-111.0, 85.0, -110.0, 85.05), crs="EPSG:4326", survey=survey)
    along = np.linspace(-111.0, -110.0, 2001)
    longitude, latitude = np.concatenate([along, along[::-1]]), np.repeat([85.0, 85.05], 2001)
    area, _ = Geod(ellps="WGS84").polygon_area_perimeter(longitude, latitude)
    scale = Proj(survey).get_factors(-110.5, 85.025).areal_scale
    assert region.area_m2 == pytest.approx(abs(area) * float(scale), rel=1e-4)


def test_an_area_around_the_pole_is_refused_outside_a_system_for_it():
    ring = [(float(longitude), 89.9) for longitude in range(-180, 181, 10)]
    with pytest.raises(InputError, match="UTM serves from 80° S to 84° N only"):
        area_of(ring, crs="EPSG:4326", survey="EPSG:32633")


@pytest.mark.parametrize(
    ("ring", "crs", "message"),
    [
        ([(WEST, SOUTH), (WEST, SOUTH + 9), (WEST, SOUTH)], UTM,
         "line 2: A polygon needs at least 3 different places"),
        (square(0.5), UTM, "line 2: The polygons of the area enclose nothing. Found '0.250 m2'"),
        ([(WEST, SOUTH), (WEST + 10, SOUTH), (WEST + 20, SOUTH), (WEST, SOUTH)], UTM,
         "line 2: A polygon encloses nothing.*one line"),
        (box(-24.9, -50.4, -24.8, -50.3), "EPSG:4326", "outside the area of EPSG:31982.*Latitude "
         "and longitude are swapped"),
        (box(-50.4, 24.8, -50.3, 24.9), "EPSG:4326", "wrong sign .hemisphere"),
        (box(50.3, -24.9, 50.4, -24.8), "EPSG:4326", "longitude has the wrong sign"),
        (box(50.3, 24.8, 50.4, 24.9), "EPSG:4326", "Both signs are wrong"),
        (box(-38.4, -12.9, -38.3, -12.8), "EPSG:4326", r"zone 24S \(EPSG:32724\), if the file"),
        (box(-50.4, -88.9, -50.3, -88.8), "EPSG:4326", "UTM serves from 80° S to 84° N only"),
        ([(0, 0), (1, 0), (1, 1), (0, 0)], "EPSG:99999", "reference system is unknown"),
    ],
)  # fmt: skip
def test_what_is_no_area_is_refused(ring, crs, message):
    with pytest.raises(InputError, match=message):
        area_of(ring, crs=crs)


def test_no_polygon_is_refused():
    with pytest.raises(InputError, match="at least one polygon"):
        area_polygons(corners(("line", [square()[:2]])), crs=UTM)
    with pytest.raises(InputError, match="must be projected"):
        area_of(square(), survey="EPSG:4326")


def zones_of(*shapes, crs=UTM, **changes):
    return exclusion_zones(corners(*shapes, crs=crs), crs=UTM, buffers_m={**BUFFERS, **changes})


FENCE = [(WEST, SOUTH + 500), (WEST + 1000, SOUTH + 500)]


@pytest.mark.parametrize(
    ("kind", "buffer"),
    [
        ("power line", 50), ("Power_Line", 50), ("powerlines", 50), ("fence", 10), ("roads", 20),
        ("track", 20), ("WATER", 5), ("building", 30), ("other", 0), (None, 0), ("orchard", 0),
    ],
)  # fmt: skip
def test_buffers_by_kind(kind, buffer):
    zones = zones_of(("line", [FENCE], kind))
    # A stadium: the line times twice the buffer, and a circle of the two ends, which as a polygon
    # of 64 sides inside the circle is 0.16 % short.
    expected = 2 * buffer * 1000 + math.pi * buffer**2
    assert zones.area_m2 == pytest.approx(expected, abs=0.002 * math.pi * buffer**2)
    assert zones.zones[0].buffers_m == (buffer,)


def test_its_own_buffer_wins_even_at_zero():
    assert zones_of(("line", [FENCE], "fence", 25.0)).zones[0].buffers_m == (25.0,)
    pond = zones_of(("polygon", [square(100)], "water", 0.0))
    assert pond.area_m2 == pytest.approx(1e4)


def test_what_excludes_nothing_and_what_is_unknown_are_told():
    zones = zones_of(
        ("line", [FENCE], "orchard"), ("line", [FENCE], "orchard"), ("point", [FENCE[:1]])
    )
    assert zones.notes == ("Kind 'orchard' isn't known: 2 taken as other.",)
    assert zones.warnings[0].startswith(
        "Nothing is kept clear of orchard (line in line 2); orchard (line in line 12); point in "
    )
    assert zones.area_m2 == 0.0


def test_zones_of_each_kind_and_their_union():
    zones = zones_of(
        ("line", [FENCE], "fence"), ("line", [FENCE], "road"), ("point", [FENCE[:1]], "building"),
        ("line", [FENCE], "fence", 12.0),
    )  # fmt: skip
    assert [zone.kind for zone in zones.zones] == ["fence", "road", "building"]
    assert [zone.shapes for zone in zones.zones] == [2, 1, 1]
    assert zones.zones[0].buffers_m == (10.0, 12.0)
    road = 40 * 1000 + math.pi * 400
    assert road < zones.area_m2 < road + math.pi * 900


def test_exclusions_far_away_are_left_aside_unless_all_are():
    far = [(-10.0, 50.0), (-10.1, 50.0)]
    near = [(-50.40, -24.90), (-50.39, -24.90)]
    zones = zones_of(("line", [near], "fence"), ("line", [far], "fence"), crs="EPSG:4326")
    assert zones.notes == ("Exclusions far outside the area of EPSG:31982, left aside: 1.",)
    with pytest.raises(InputError, match="line lies outside the area of EPSG:31982"):
        zones_of(("line", [far], "fence"), crs="EPSG:4326")


def test_the_area_left_is_reported():
    left = area_left(area_of(square()), zones_of(("line", [FENCE], "fence")))
    assert left.area_m2 == pytest.approx(1e6 - 2e4)
    assert left.pieces == 2
    assert left.notes == ("Exclusions take 2.00 ha of 100.00 ha (2%); 98.00 ha are left.",)


def test_exclusions_that_swallow_the_area_are_refused():
    zones = zones_of(("line", [FENCE], "power line", 497.0), ("point", [FENCE[:1]], "building"))
    with pytest.raises(
        InputError,
        match=r"swallow the area. Found '0.60 ha of 100.00 ha left'. Check the buffers of power "
        r"line \(497 m\)",
    ):
        area_left(area_of(square()), zones)


def test_every_kind_has_a_setting():
    from lodewalk.survey.settings_before_going import PlanSettings

    assert set(KINDS.values()) == set(BUFFERS)
    assert set(BUFFERS) <= set(PlanSettings.model_fields)
