"""The geomagnetic reference field and activity: IGRF-14, precession, what a site promises.

`igrf_field` gives the field at many points and one epoch, `site_values` all that is worth knowing
of one place, `synthesise` runs any other model of the same kind. Importing this room is cheap; the
compiled sum is loaded with the first field.
"""

from lodewalk.methods.geomagnetic.coefficients import (
    IGRF_FIRST_YEAR,
    IGRF_LAST_YEAR,
    IGRF_MODEL,
    GaussCoefficients,
    igrf_coefficient_change,
    igrf_coefficients,
)
from lodewalk.methods.geomagnetic.ellipsoid import geodetic_to_geocentric
from lodewalk.methods.geomagnetic.epoch import decimal_year
from lodewalk.methods.geomagnetic.harmonics import synthesise, synthesise_geocentric
from lodewalk.methods.geomagnetic.precession import precession_frequency_hz, tuning_microtesla
from lodewalk.methods.geomagnetic.reference import (
    FieldElements,
    direction_change,
    field_elements,
    igrf_change,
    igrf_field,
    total_field,
    total_field_change,
)
from lodewalk.methods.geomagnetic.site import SiteValues, site_values

__all__ = [
    "IGRF_FIRST_YEAR",
    "IGRF_LAST_YEAR",
    "IGRF_MODEL",
    "FieldElements",
    "GaussCoefficients",
    "SiteValues",
    "decimal_year",
    "direction_change",
    "field_elements",
    "geodetic_to_geocentric",
    "igrf_change",
    "igrf_coefficient_change",
    "igrf_coefficients",
    "igrf_field",
    "precession_frequency_hz",
    "site_values",
    "synthesise",
    "synthesise_geocentric",
    "total_field",
    "total_field_change",
    "tuning_microtesla",
]
