"""Units and constants, each with its source."""

from typing import Final

#: Shielded proton gyromagnetic ratio over 2 pi [Hz/T], CODATA 2022.
SHIELDED_PROTON_HZ_PER_T: Final = 42.576_385_43e6

#: Magnetic constant [N A-2], CODATA 2022.
MAGNETIC_CONSTANT: Final = 1.256_637_061_27e-6

#: Total field per precession frequency [nT/Hz].
NT_PER_HZ: Final = 1e9 / SHIELDED_PROTON_HZ_PER_T

#: WGS84 ellipsoid: semi-major axis [m] and flattening (EPSG:7030).
WGS84_SEMI_MAJOR_M: Final = 6_378_137.0
WGS84_FLATTENING: Final = 1 / 298.257_223_563

#: Geomagnetic reference radius [km] of the IGRF.
REFERENCE_RADIUS_KM: Final = 6371.2

SECONDS_PER_DAY: Final = 86_400.0
