"""GeoTIFF: terrain models written by the library itself, and what is refused."""

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from lodewalk.adapters.projection import between
from lodewalk.errors import InputError
from lodewalk.formats import geotiff
from lodewalk.records.recorded import Terrain

HEIGHTS = np.array([[800.0, 801.0, 802.0], [810.0, 811.0, 812.0]], dtype=np.float32)


def from_origin(west, north, wide, high):
    return Affine(wide, 0.0, west, 0.0, -high, north)


CORNER = from_origin(500_000.0, 7_000_000.0, 30.0, 20.0)


@pytest.fixture
def writing(tmp_path):
    def write(values=HEIGHTS, *, unit="metre", name="dem.tif", **profile):
        path = tmp_path / name
        bands = values if values.ndim == 3 else values[None]
        with rasterio.open(
            path,
            "w",
            **{
                "driver": "GTiff", "count": len(bands), "height": bands.shape[1],
                "width": bands.shape[2], "dtype": values.dtype, "crs": "EPSG:31982",
                "transform": CORNER, **profile,
            },
        ) as dataset:  # fmt: skip
            dataset.write(bands)
            if unit:
                dataset.units = [unit] * len(bands)
        return path

    return write


def read(path, role="terrain"):
    return geotiff.read(path, role=role, column_map=None)


def test_cells_go_from_north_to_south_and_from_west_to_east(writing):
    content = read(writing())
    assert isinstance(content.table, Terrain)
    frame = content.table.frame
    assert frame["first"].to_list() == [500_015.0, 500_045.0, 500_075.0] * 2
    assert frame["second"].to_list() == [6_999_990.0] * 3 + [6_999_970.0] * 3
    assert frame["height_m"].to_list() == HEIGHTS.ravel().tolist()
    assert frame["line_in_file"].to_list() == [1, 1, 1, 2, 2, 2]
    assert set(frame["crs"]) == {"EPSG:31982"}
    assert content.understood == (
        "GeoTIFF: 2 rows of 3 cells in SIRGAS 2000 / UTM zone 22S (EPSG:31982); heights 800.0 to "
        "812.0 m.",
    )


def test_a_file_from_south_to_north_is_turned(writing):
    upward = Affine(30.0, 0.0, 500_000.0, 0.0, 20.0, 6_999_960.0)
    turned, plain = read(writing(HEIGHTS[::-1], transform=upward)), read(writing())
    assert turned.table.frame.equals(plain.table.frame)


@pytest.mark.parametrize(
    ("values", "nodata"),
    [
        (np.array([[800, -32768, 802]], dtype=np.int16), -32768),
        (np.array([[800, np.nan, 802]], dtype=np.float64), np.nan),
        (np.array([[800, np.nan, 802]], dtype=np.float32), None),
        (np.array([[800, np.inf, 802]], dtype=np.float32), None),
    ],
)
def test_missing_heights_are_missing_and_told(values, nodata, writing):
    content = read(writing(values, nodata=nodata))
    assert content.table.frame["height_m"].to_list() == [800.0, None, 802.0]
    assert content.understood[0].endswith("1 cell without a height.")


@pytest.mark.parametrize(
    ("unit", "metres"), [("ft", 0.3048), ("US survey foot", 1200 / 3937), ("m", 1.0)]
)
def test_feet_become_metres(unit, metres, writing):
    content = read(writing(unit=unit))
    expected = (HEIGHTS.astype(float) * metres).ravel().tolist()
    assert content.table.frame["height_m"].to_list() == pytest.approx(expected)
    assert any("feet" in said for said in content.understood) == (unit != "m")


def test_a_file_without_a_unit_is_taken_in_metres_and_says_so(writing):
    assert read(writing(unit="")).understood[1] == (
        "The file doesn't say the unit of its heights: taken as metres."
    )


def test_scale_and_offset_are_applied(writing):
    path = writing(np.array([[8000, 8010]], dtype=np.int16))
    with rasterio.open(path, "r+") as dataset:
        dataset.scales, dataset.offsets = (0.1,), (5.0,)
    assert read(path).table.frame["height_m"].to_list() == pytest.approx([805.0, 806.0])


def test_degrees_stay_degrees(writing):
    path = writing(crs="EPSG:4326", transform=from_origin(-50.5, -24.0, 0.001, 0.002))
    frame = read(path).table.frame
    assert frame["first"][0] == pytest.approx(-50.4995)
    assert frame["second"][0] == pytest.approx(-24.001)
    assert frame["crs"][0] == "EPSG:4326"


def test_a_file_whose_places_are_points_gives_the_same_cells(writing):
    path = writing(name="point.tif")
    with rasterio.open(path, "r+") as dataset:
        dataset.update_tags(AREA_OR_POINT="Point")
    assert read(path).table.frame.equals(read(writing()).table.frame)


def test_a_system_with_heights_is_that_of_the_places(writing):
    frame = read(writing(crs="EPSG:31982+5773")).table.frame
    longitude, latitude = between(
        frame["first"], frame["second"], source=frame["crs"][0], target="EPSG:4326"
    )
    plain = between(frame["first"], frame["second"], source="EPSG:31982", target="EPSG:4326")
    np.testing.assert_allclose(longitude, plain[0], atol=1e-9)
    np.testing.assert_allclose(latitude, plain[1], atol=1e-9)


def test_files_beside_it_are_not_looked_at(writing, tmp_path):
    path = writing(crs=None)
    wkt = rasterio.crs.CRS.from_epsg(31982).to_wkt()
    quoted = wkt.replace('"', "&quot;")
    beside = f"<PAMDataset><SRS>{quoted}</SRS></PAMDataset>"
    (tmp_path / "dem.tif.aux.xml").write_text(beside)
    with rasterio.open(path) as dataset:
        assert dataset.crs is not None  # so the library would take it
    with pytest.raises(InputError, match="must tell its reference system"):
        read(path)


PLACE = from_origin(500_000.0, 7_000_000.0, 30.0, 30.0)


@pytest.mark.parametrize(
    ("profile", "message"),
    [
        ({"values": np.stack([HEIGHTS] * 3)}, "one band of heights. Found '3 bands'. Is it a pic"),
        ({"crs": None}, "must tell its reference system"),
        ({"transform": PLACE @ Affine.rotation(10)}, "west to east, without rotation"),
        ({"values": np.full((2, 2), -9999.0), "nodata": -9999.0}, "Every height .* is missing"),
        ({"values": np.full((2, 2), -32767.0)}, "-12000 to 10000 m. Found -32767.0. Is a mark"),
        ({"values": HEIGHTS.astype(np.complex64)}, "Heights must be real numbers"),
        ({"unit": "fathom"}, "Heights must be in metres or feet. Found 'fathom'"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(profile, message, writing):
    with pytest.raises(InputError, match=rf"dem\.tif: .*{message}"):
        read(writing(**profile))


def test_too_many_cells_are_refused(writing):
    path = writing(np.zeros((2001, 2000), dtype=np.int8), compress="deflate")
    with pytest.raises(InputError, match=r"4 million cells at most. Found '2001 x 2000'"):
        read(path)


def test_a_file_cut_short_is_refused(writing):
    path = writing(np.random.default_rng(1).normal(800, 5, (300, 300)))
    whole = path.read_bytes()
    for size in (6, 100, len(whole) // 2, len(whole) - 9):
        path.write_bytes(whole[:size])
        with pytest.raises(InputError, match=r"dem\.tif: The GeoTIFF can't be read .*cut short"):
            read(path)


def test_another_role_is_refused(writing):
    with pytest.raises(InputError, match=r"GeoTIFF serves as terrain. Found 'area'"):
        read(writing(), "area")


def test_recognises_the_header(writing):
    assert geotiff.recognise(writing().read_bytes()[:100]) == 1.0
    assert geotiff.recognise(writing(BIGTIFF="YES", name="b.tif").read_bytes()[:100]) == 1.0
    assert geotiff.recognise(b"II,1\n") == 0.0
