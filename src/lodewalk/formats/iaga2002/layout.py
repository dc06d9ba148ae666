"""What the reader and the writer of IAGA-2002 share: columns, labels and missing values."""

RECORD_LENGTH = 70
LABEL_END = 24
DESCRIPTION_END = 69
DATE_END = 23
FIRST_FIELD, FIELD_WIDTH, FIELDS = 30, 10, 4

#: The twelve mandatory header records, in order.
LABELS = (
    "Format",
    "Source of Data",
    "Station Name",
    "IAGA Code",
    "Geodetic Latitude",
    "Geodetic Longitude",
    "Elevation",
    "Reported",
    "Sensor Orientation",
    "Digital Sampling",
    "Data Interval Type",
    "Data Type",
)

#: Column of the table that holds an element, and its unit in the file over that of the table.
COLUMN_OF = {
    "X": ("north_nT", 1.0),
    "Y": ("east_nT", 1.0),
    "Z": ("down_nT", 1.0),
    "H": ("horizontal_nT", 1.0),
    "E": ("sensor_east_nT", 1.0),
    "D": ("declination_deg", 60.0),
    "F": ("total_field_nT", 1.0),
    "S": ("total_field_nT", 1.0),
}

#: A value that is missing, and one of an element that isn't recorded.
MISSING, NOT_RECORDED = 99999.0, 88888.0

#: Whole parts of the values that mean none; some sources fill the field with nines or eights.
NO_VALUE = (MISSING, NOT_RECORDED, 999999.0, 888888.0)
