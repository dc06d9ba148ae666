"""GPX 1.1, the exchange format of GPS receivers: recognise, read and write.

Positions are on WGS84 and times are UTC, as the format's schema says.

References
----------
GPX 1.1 schema documentation, https://www.topografix.com/GPX/1/1/.
"""

from lodewalk.formats.gpx.read import read, recognise
from lodewalk.formats.gpx.write import write

__all__ = ["read", "recognise", "write"]
