"""NMEA 0183 logs of GPS receivers: recognise and read.

Position and quality come from GGA sentences, the date from RMC sentences; where a log has no GGA,
positions come from RMC. Every sentence must carry the right checksum.

References
----------
NMEA 0183, Standard for Interfacing Marine Electronic Devices, National Marine Electronics
Association; the sentences and the code of the fix are widely documented, here after common
practice.
"""

from lodewalk.formats.nmea.read import read, recognise

__all__ = ["read", "recognise"]
