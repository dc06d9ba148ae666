"""KML 2.2, shapes for globe viewers: recognise, read and write.

Coordinates are longitude, latitude and, where told, height, on WGS84.

References
----------
OGC KML 2.2 (OGC 07-147r2, 2008) and 2.3 (OGC 12-007r2, 2015), Open Geospatial Consortium.
"""

from lodewalk.formats.kml.read import read, recognise

__all__ = ["read", "recognise"]
