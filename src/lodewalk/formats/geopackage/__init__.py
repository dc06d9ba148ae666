"""GeoPackage, the exchange format of geographic information systems; GDAL does the work.

References
----------
OGC 12-128r19, OGC GeoPackage Encoding Standard 1.4.
"""
