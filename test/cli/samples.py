"""Small files of each format and role, of an invented place."""

from functools import reduce

GPX = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">\n'
)


def stamp(second):
    return f"2026-03-10T14:{second // 60:02d}:{second % 60:02d}"


def sentence(body):
    """Return a sentence with the checksum of NMEA 0183: the bytes joined by exclusive or."""
    return f"${body}*{reduce(lambda a, b: a ^ b, body.encode()):02X}\r\n"


BASE = "time_utc,field_nT\n" + "".join(f"{stamp(10 * n)}Z,22950.{n % 10}\n" for n in range(60))
ROVER = "time_utc,latitude,longitude,height_m,field_nT\n" + "".join(
    f"{stamp(n)}Z,{-24.9 + n * 1e-5:.6f},-50.400000,880.0,22430.{n % 10}\n" for n in range(60)
)
NOTES = "time,latitude,longitude,name,text\n" + "".join(
    f"{stamp(n)}Z,-24.9,-50.4,fence,wire {n} of five\n" for n in range(5)
)
TRACK = (
    GPX
    + "<trk><trkseg>\n"
    + "".join(
        f'<trkpt lat="{-24.9 + n * 1e-5:.6f}" lon="-50.4"><time>{stamp(n)}Z</time></trkpt>\n'
        for n in range(60)
    )
    + "</trkseg></trk>\n</gpx>\n"
)
PLAN = GPX + '<rte><rtept lat="-24.90" lon="-50.4"/><rtept lat="-24.89" lon="-50.4"/></rte></gpx>\n'
LOG = "".join(
    sentence(
        f"GPGGA,14{n // 60:02d}{n % 60:02d}.00,2454.{n:04d},S,05024.0000,W,1,10,0.8,880.0,M,3.0,M,,"
    )
    + sentence(
        f"GPRMC,14{n // 60:02d}{n % 60:02d}.00,A,2454.{n:04d},S,05024.0000,W,0.5,0.0,100326,,,A"
    )
    for n in range(60)
)
OBSERVATORY = "".join(
    f" {name:<23}{text:<45}|\n"
    for name, text in (
        ("Format", "IAGA-2002"),
        ("Source of Data", "Invented"),
        ("Station Name", "Invented"),
        ("IAGA CODE", "INV"),
        ("Geodetic Latitude", "-24.900"),
        ("Geodetic Longitude", "309.600"),
        ("Elevation", "880"),
        ("Reported", "XYZF"),
        ("Sensor Orientation", "XYZ"),
        ("Digital Sampling", "1 second"),
        ("Data Interval Type", "1-minute (00:15-01:45)"),
        ("Data Type", "variation"),
    )
)
OBSERVATORY += "DATE       TIME         DOY     INVX      INVY      INVZ      INVF   |\n" + "".join(
    f"2026-03-10 14:{n:02d}:00.000 069     17000.00  -6000.00 -12000.00  22950.{n:02d}\n"
    for n in range(30)
)

AREA = """\
{"type": "FeatureCollection", "features": [
 {"type": "Feature", "properties": {"name": "North"}, "geometry":
  {"type": "Polygon", "coordinates": [[
   [-50.40, -24.90],
   [-50.39, -24.90],
   [-50.39, -24.89],
   [-50.40, -24.89],
   [-50.40, -24.90]]]}}]}
"""
EXCLUSION = """\
<kml xmlns="http://www.opengis.net/kml/2.2"><Document>
<Placemark><name>wire</name><ExtendedData><Data name="kind">
<value>fence</value></Data><Data name="buffer_m"><value>12</value></Data></ExtendedData>
<LineString><coordinates>
-50.40,-24.90,880
-50.39,-24.89,881
</coordinates></LineString></Placemark>
<Placemark><Point><coordinates>-50.40,-24.90</coordinates></Point></Placemark>
</Document></kml>
"""
CORNERS = (
    GPX
    + "".join(
        f'<wpt lat="{latitude}" lon="{longitude}"><name>A{longitude}</name></wpt>\n'
        for latitude, longitude in ((-24.9, -50.4), (-24.9, -50.39), (-24.89, -50.39))
    )
    + "</gpx>\n"
)
HAND_METER = """\
rock,place,part,k_1e-3_SI,n,sd
dolerite,creek,target,35.1,10,4.2
dolerite,ridge,target,41.7,10,6.0
shale,road cut,host,0.31,5,
laterite,,soil,4.0,5,1.1
"""

#: Name, role and text of a sound file of each kind.
SOUND = {
    "base": ("base.csv", "base", BASE),
    "observatory file as base": ("inv.min", "base", OBSERVATORY),
    "rover": ("rover.csv", "rover", ROVER),
    "GPX track": ("track.gpx", "track", TRACK),
    "NMEA track": ("track.nmea", "track", LOG),
    "plan": ("plan.gpx", "plan", PLAN),
    "notes": ("notes.csv", "notes", NOTES),
    "area": ("area.geojson", "area", AREA),
    "exclusion": ("exclusion.kml", "exclusion", EXCLUSION),
    "corners": ("corners.gpx", "area", CORNERS),
    "hand meter": ("k.csv", "hand_meter", HAND_METER),
}
