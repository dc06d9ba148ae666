"""KML 2.2, the exchange format of map viewers.

References
----------
OGC 07-147r2, OGC KML 2.2; OGC 12-007r2, OGC KML 2.3, which keeps its elements.
"""
