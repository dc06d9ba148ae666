"""The writer of GeoTIFF: one band of an even mesh, pixel is area, missing values as NaN."""

from pathlib import Path

import numpy as np

from lodewalk.records.grid import Grid


def write(path: Path, grid: Grid) -> None:
    """Write a grid as a GeoTIFF (OGC 19-008r4) whose pixels are centred on the nodes.

    Parameters
    ----------
    path : Path
        The file; an existing one is replaced.
    grid : Grid
        Values in float64 become float32, of which heights and anomalies keep seven digits.
    """
    import rasterio
    from affine import Affine

    north = float(grid.northings[-1])
    half = grid.spacing_m / 2
    count_north, count_east = grid.values.shape
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=count_east,
        height=count_north,
        count=1,
        dtype="float32",
        crs=grid.crs,
        transform=Affine(
            grid.spacing_m, 0.0, grid.west_m - half, 0.0, -grid.spacing_m, north + half
        ),
        nodata=float("nan"),
        compress="deflate",
    ) as raster:
        raster.write(grid.values[::-1].astype(np.float32), 1)
        raster.set_band_description(1, grid.name)
        raster.set_band_unit(1, grid.unit)
