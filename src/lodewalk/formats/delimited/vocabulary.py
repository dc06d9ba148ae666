"""Words that people write above columns, and which of our names they mean."""

import re

# Plain English and the usual abbreviations of the trade; none is any maker's own.
WORDS: dict[str, tuple[str, ...]] = {
    "time": (
        "time", "datetime", "date time", "timestamp", "time stamp", "date and time", "hhmmss",
        "hh mm ss", "clock", "time of day", "utc", "utc time", "time utc", "gmt", "local time",
        "gps time", "gpstime", "utctime", "timeutc", "iso time",
    ),
    "date": ("date", "yyyymmdd", "ddmmyy", "ddmmyyyy", "yymmdd", "yyyy mm dd", "dd mm yyyy",
             "utc date", "date utc", "local date", "calendar date"),
    "year": ("year", "yyyy", "yr"),
    "month": ("month", "mon"),
    "day": ("day", "day of month", "dom"),
    "day_of_year": ("day of year", "doy", "yearday", "year day", "ddd", "julian day", "jday"),
    "hour": ("hour", "hr", "hh", "decimal hour", "decimal hours", "dec hour", "hours"),
    "minute": ("minute", "minutes"),
    "second": ("second",),
    "seconds_of_day": ("seconds of day", "second of day", "sod", "secs of day",
                       "seconds since midnight", "seconds after midnight"),
    "field": (
        "field", "total field", "totalfield", "magnetic field", "mag", "mag field", "total mag",
        "total magnetic field", "tf", "tmi", "tmf", "total magnetic intensity", "nt", "reading",
        "mag reading", "field reading", "total intensity", "total", "raw field", "raw mag",
        "b total", "btotal", "magnetic total field", "field strength", "gamma", "gammas",
    ),
    "quality": ("quality", "signal quality", "sig quality", "qual", "sq", "signal", "q"),
    "latitude": ("latitude", "lat", "gps lat", "gps latitude", "wgs84 lat", "lat wgs84"),
    "longitude": ("longitude", "lon", "long", "lng", "gps lon", "gps long", "gps longitude",
                  "wgs84 lon", "lon wgs84"),
    "latitude_hemisphere": ("n s", "ns", "lat hemisphere", "latitude hemisphere", "lat hemi"),
    "longitude_hemisphere": ("e w", "ew", "lon hemisphere", "longitude hemisphere", "lon hemi"),
    "easting": ("easting", "east", "utm e", "utm east", "utm easting", "utme", "eastings"),
    "northing": ("northing", "north", "utm n", "utm north", "utm northing", "utmn", "northings"),
    "height": ("height", "altitude", "alt", "elevation", "elev", "ele", "hgt", "gps height",
               "gps altitude", "ellipsoidal height", "gps alt", "gps elevation"),
    "fix": ("fix", "fix type", "gps fix", "fix quality", "gps quality", "gps mode", "fix kind",
            "position quality"),
    "satellites": ("satellites", "sats", "sat", "nsat", "nsats", "num sats", "number of satellites",
                   "num sat", "numsats", "satellite count", "svs"),
    "hdop": ("hdop", "horizontal dilution of precision", "dop"),
    "line": ("line", "line name", "line number", "line no", "line id", "profile", "profile no"),
    "station": ("station", "stn", "sta", "station no", "station number", "stn no"),
    "name": ("name", "point", "waypoint", "wpt", "id", "point name", "label"),
    "text": ("text", "note", "notes", "comment", "comments", "remark", "remarks", "description",
             "desc"),
}  # fmt: skip
UNITS = (
    "nt", "gamma", "gammas", "deg", "degrees", "degree", "dd", "m", "metres", "meters", "metre",
    "meter", "s", "sec", "ddmm mmm", "utc", "gmt", "wgs84", "iso8601", "iso",
)  # fmt: skip
LONGEST_NAME = 80
_MEANING = {word: ours for ours, words in WORDS.items() for word in words}


def plain_name(text: str) -> str:
    """Return a column name in lower case without brackets, punctuation and repeated blanks.

    Examples
    --------
    >>> plain_name("Total_Field (nT)")
    'total field'
    """
    # A capital after a small letter begins a word, as in TotalField.
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text.replace("nT", "nt"))
    bare = re.sub(r"[(\[{<].*?[)\]}>]", " ", spaced)
    bare = bare if bare.strip() else spaced
    return " ".join(re.findall(r"[a-z0-9]+", bare.casefold()))


def meaning(text: str) -> str | None:
    """Return our name for a column that people call `text`, None where unknown.

    Examples
    --------
    >>> meaning("lat_deg"), meaning("Field (nT)"), meaning("battery")
    ('latitude', 'field', None)
    """
    if len(text) > LONGEST_NAME:
        return None
    plain = plain_name(text)
    for form in (plain, plain.replace(" ", "")):
        if form in _MEANING:
            return _MEANING[form]
    for unit in UNITS:
        shorter = plain.removesuffix(f" {unit}")
        if shorter != plain and shorter in _MEANING:
            return _MEANING[shorter]
    return None
