"""GeoTIFF, a terrain model as a picture of heights: recognise and read.

References
----------
OGC GeoTIFF Standard 1.1 (OGC 19-008r4, 2019), Open Geospatial Consortium.
"""

from lodewalk.formats.geotiff.read import MAX_CELLS, read, recognise

__all__ = ["MAX_CELLS", "read", "recognise"]
