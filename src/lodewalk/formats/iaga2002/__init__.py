"""IAGA-2002, the exchange format of geomagnetic observatories: recognise, read and write.

Twelve header records, comments, one data header and data records, each of 70 characters. A data
record holds date, time, day of year and four elements in the order that the data header names:
nanotesla, and minutes of arc for D and I. Times are universal time.

References
----------
IAGA-2002 Data Exchange Format, revision of June 2015, National Centers for Environmental
Information, https://www.ncei.noaa.gov/node/2198.
"""

from lodewalk.formats.iaga2002.read import read, recognise
from lodewalk.formats.iaga2002.write import write

__all__ = ["read", "recognise", "write"]
