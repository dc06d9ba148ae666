"""Grids in NetCDF: the rules of the CF conventions, seen without the library that wrote them."""

from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray
from pyproj import CRS

from lodewalk.errors import InputError
from lodewalk.formats.netcdf import read_grids, write_grids
from lodewalk.records.grid import Grid


def grid(name: str = "anomaly", **changes: object) -> Grid:
    """Return a small grid with a hole, some parts changed."""
    values = np.arange(6, dtype=np.float64).reshape(2, 3)
    values[1, 2] = np.nan
    parts = {
        "values": values,
        "west_m": 700000.1,
        "south_m": 6900000.7,
        "spacing_m": 0.3,
        "crs": "EPSG:31982",
        "unit": "nT",
    }
    return Grid(**(parts | changes), name=name)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "grids.nc"


def text(value: object) -> str:
    """Return an attribute as text."""
    return value.decode() if isinstance(value, bytes) else str(value)


def test_attributes_that_the_conventions_ask_for(path: Path) -> None:
    # CF 1.11: global attribute in 2.6.1; units of coordinates in 4; standard names of projected
    # coordinates and grid mapping with crs_wkt in 5.6; no fill value on coordinates in 2.5.1.
    write_grids(path, [grid()])
    with h5py.File(path) as file:
        assert text(file.attrs["Conventions"]) == "CF-1.11"
        for name, letter in (("easting", "x"), ("northing", "y")):
            attributes = {key: text(value) for key, value in file[name].attrs.items()}
            assert attributes["standard_name"] == f"projection_{letter}_coordinate"
            assert attributes["units"] == "m"
            assert attributes["axis"] == letter.upper()
            assert "_FillValue" not in attributes
        values = file["anomaly"]
        assert [text(values.dims[i][0].name) for i in (0, 1)] == ["/northing", "/easting"]
        assert text(values.attrs["units"]) == "nT"
        assert text(values.attrs["long_name"]) == "anomaly"
        assert "standard_name" not in values.attrs
        assert np.isnan(values.attrs["_FillValue"]).all()
        mapping = file[text(values.attrs["grid_mapping"])]
        assert text(mapping.attrs["grid_mapping_name"]) == "transverse_mercator"
        assert text(mapping.attrs["crs_wkt"]).startswith('PROJCRS["SIRGAS 2000 / UTM zone 22S"')
        assert mapping.attrs["longitude_of_central_meridian"] == -51.0


def test_row_zero_is_the_southern_edge(path: Path) -> None:
    write_grids(path, [grid()])
    with h5py.File(path) as file:
        assert file["northing"][0] == 6900000.7
        assert file["easting"][0] == 700000.1
        assert file["anomaly"][0].tolist() == [0.0, 1.0, 2.0]


def test_round_trip_keeps_digests_over_several_meshes(path: Path) -> None:
    grids = [
        grid(),
        grid("tilt", unit="deg"),
        grid("ratio", unit=""),
        grid("coarse", values=np.ones((1, 4)), spacing_m=12.7),
        grid("elsewhere", crs="EPSG:32723"),
        grid("dot", values=np.ones((1, 1))),
    ]
    write_grids(path, grids)
    back = read_grids(path)
    assert [one.digest() for one in back] == [one.digest() for one in grids]
    assert [one.unit for one in back][:3] == ["nT", "deg", ""]
    with h5py.File(path) as file:
        assert text(file["tilt"].attrs["units"]) == "degree"
        assert text(file["ratio"].attrs["units"]) == "1"
        assert text(file["elsewhere"].attrs["grid_mapping"]) == "crs_3"
        assert sum(name.startswith("easting") for name in file) == 4


def test_same_grids_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.nc", "b.nc"):
        write_grids(tmp_path / name, [grid(), grid("tilt", unit="deg")])
    assert (tmp_path / "a.nc").read_bytes() == (tmp_path / "b.nc").read_bytes()


def test_nothing_of_the_machine_is_in_the_file(path: Path) -> None:
    write_grids(path, [grid()])
    with h5py.File(path) as file:
        assert set(file.attrs) == {"Conventions", "title", "_NCProperties"}
    assert str(path.parent).encode() not in path.read_bytes()


@pytest.mark.parametrize("name", ["easting", "crs", "2nd", "a b", "", "reduced-to-pole", "é"])
def test_unfit_names_are_refused(path: Path, name: str) -> None:
    with pytest.raises(InputError, match="name of a grid must be new"):
        write_grids(path, [grid(name)])


def test_equal_names_are_refused(path: Path) -> None:
    with pytest.raises(InputError, match="name of a grid must be new"):
        write_grids(path, [grid(), grid()])


def test_no_grid_makes_a_file_without_variables(path: Path) -> None:
    write_grids(path, [])
    assert read_grids(path) == []


def test_unfit_system_is_refused(path: Path) -> None:
    with pytest.raises(InputError, match="must be projected"):
        write_grids(path, [grid(crs="EPSG:4326")])


def foreign(*, easting: list[float], northing: list[float], mapping: bool = True) -> xarray.Dataset:
    """Return a grid as another program may write it, without attributes of ours."""
    values = np.arange(len(easting) * len(northing), dtype=np.float32)
    attributes = {"units": "nT"} | ({"grid_mapping": "spatial"} if mapping else {})
    axes = {
        name: (name, nodes, {"standard_name": f"projection_{name}_coordinate", "units": "m"})
        for name, nodes in (("x", easting), ("y", northing))
    }
    spatial = ((), 0, {"crs_wkt": CRS("EPSG:32723").to_wkt()})
    field = (("y", "x"), values.reshape(len(northing), len(easting)), attributes)
    return xarray.Dataset({**axes, "spatial": spatial, "field": field})


def test_grid_of_another_program(path: Path) -> None:
    foreign(easting=[10.0, 12.5, 15.0], northing=[20.0, 22.5]).to_netcdf(path, engine="h5netcdf")
    (found,) = read_grids(path)
    assert (found.west_m, found.south_m, found.spacing_m) == (10.0, 20.0, 2.5)
    assert (found.crs, found.unit, found.name) == ("EPSG:32723", "nT", "field")
    assert found.values.tolist() == [[0.0, 1.0, 2.0], [3.0, 4.0, 5.0]]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: foreign(easting=[10.0, 12.5, 16.0], northing=[20.0, 22.5]), "increase evenly"),
        (lambda: foreign(easting=[10.0, 12.5, 15.0], northing=[22.5, 20.0]), "increase evenly"),
        (lambda: foreign(easting=[10.0, 12.5, 15.0], northing=[20.0, 25.0]), "increase evenly"),
        (lambda: foreign(easting=[10.0], northing=[20.0]), "increase evenly"),
        (
            lambda: foreign(easting=[10.0, 12.5], northing=[20.0, 22.5], mapping=False),
            "must name its coordinate reference system",
        ),
        (lambda: xarray.Dataset({"a": ("b", [1.0])}), "no grid on easting and northing"),
    ],
)
def test_grids_that_cannot_be_taken(
    path: Path, make: Callable[[], xarray.Dataset], message: str
) -> None:
    make().to_netcdf(path, engine="h5netcdf")
    with pytest.raises(InputError, match=message):
        read_grids(path)


@pytest.mark.parametrize("raw", [b"", b"CDF\x01", b"\x89HDF\r\n\x1a\n" + bytes(100)])
def test_other_files_are_refused(path: Path, raw: bytes) -> None:
    path.write_bytes(raw)
    with pytest.raises(InputError, match=r"grids\.nc: The file must be NetCDF 4"):
        read_grids(path)


def test_file_cut_short_is_refused(path: Path) -> None:
    write_grids(path, [grid()])
    path.write_bytes(path.read_bytes()[:-500])
    with pytest.raises(InputError, match="must be NetCDF 4"):
        read_grids(path)
