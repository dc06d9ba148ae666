"""GeoJSON, shapes as JSON: recognise and read.

Coordinates are longitude and latitude on WGS84, as the standard says.

References
----------
RFC 7946, The GeoJSON Format (2016), https://www.rfc-editor.org/rfc/rfc7946.
"""

from lodewalk.formats.geojson.read import read, recognise

__all__ = ["read", "recognise"]
