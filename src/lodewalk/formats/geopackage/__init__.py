"""GeoPackage, shapes in one SQLite file: recognise, read and write.

References
----------
OGC GeoPackage Encoding Standard 1.3 (OGC 12-128r18, 2021), Open Geospatial Consortium.
"""

from lodewalk.formats.geopackage.read import read, recognise

__all__ = ["read", "recognise"]
