import pytest

from lodewalk.errors import InputError
from lodewalk.formats.delimited import propose, read, recognise


@pytest.fixture
def proposed(tmp_path):
    def function(raw, role="rover"):
        path = tmp_path / "day1.txt"
        path.write_bytes(raw if isinstance(raw, bytes) else raw.encode())
        return path, propose(path, role=role)

    return function


def repeated(row, count=5):
    """Return rows in which {n} counts and {d} is a digit that goes up and down."""
    return "".join(row.format(n=n, d=n * 7 % 10) + "\n" for n in range(count))


CASES = {
    "names and stamps": (
        "Time (UTC),lat_deg,lon_deg,Field (nT),Sig. Quality,Battery\n"
        + repeated("2025-03-04T08:00:0{n},-12.5{d},-41.25{d},22950.{d},98,7.2"),
        {"time": "Time (UTC)", "latitude": "lat_deg", "longitude": "lon_deg",
         "field": "Field (nT)"},
        {"delimiter": ",", "decimal": ".", "header": True, "skip": 0},
        {"format": "iso", "zone": "UTC"},
        1.0,
    ),
    "a title, units and decimal commas": (
        "Base station 1;;;\n\nDate;Time;Total field;Height\n[dd.mm.yyyy];[h];[nT];[m]\n"
        + repeated("14.03.2025;08:00:0{n},5;22950,{d};540,5"),
        {"date": "Date", "time": "Time", "field": "Total field", "height": "Height"},
        {"delimiter": ";", "decimal": ",", "header": 3, "skip": 4},
        {"date_format": "%d.%m.%Y", "format": "iso", "zone": None},
        1.0,
    ),
    "names in a comment": (
        "# easting northing mag time\n" + repeated("50000{d} 850000{d} 22950.{d} 8000{n}"),
        {"easting": "easting", "northing": "northing", "field": "mag", "time": "time"},
        {"delimiter": "whitespace", "comment": ["#"], "header": 1, "skip": 1},
        {"format": "%H%M%S%.f", "zone": None},
        0.5,
    ),
    "no names": (
        repeated("31/03/2025 08:00:0{n}\t-12.50001{d}\t-41.25001{d}\t22950.{d}\t98"),
        {"time": 1, "latitude": 2, "longitude": 3, "field": 4},
        {"delimiter": "\t", "header": False},
        {"format": "%d/%m/%Y %H:%M:%S%.f", "zone": None},
        0.9 * 0.8,
    ),
    "month first": (
        "date|time|nT\n" + repeated("03/31/25|08:00:0{n} PM|22950.{d}"),
        {"date": "date", "time": "time", "field": "nT"},
        {"delimiter": "|"},
        {"date_format": "%m/%d/%y", "format": "%I:%M:%S %p"},
        1.0,
    ),
    "day and month in either order": (
        "date,time,nT\n" + repeated("03/04/2025,08:00:0{n},22950.{d}"),
        {"date": "date", "time": "time", "field": "nT"},
        {},
        {"date_format": "%d/%m/%Y"},
        0.5,
    ),
    "year, day of year and seconds": (
        "year doy sod gamma\n" + repeated("2025 63 2970{n} 22950.{d}"),
        {"year": "year", "day_of_year": "doy", "seconds_of_day": "sod", "field": "gamma"},
        {"delimiter": "whitespace"},
        {},
        1.0,
    ),
    "offsets in each row": (
        "timestamp,total intensity\n" + repeated("2025-03-04 05:00:0{n}-03:00,22950.{d}"),
        {"time": "timestamp", "field": "total intensity"},
        {},
        {"format": "iso", "zone": "UTC"},
        1.0,
    ),
    "an offset in the head": (
        "# clock set to UTC-3\n" + "date,time,nT\n" + repeated("2025-03-14,05:00:0{n},22950.{d}"),
        {"date": "date", "time": "time", "field": "nT"},
        {"comment": ["#"], "header": True, "skip": 0},
        {"zone": "-03:00"},
        1.0,
    ),
    "line marks": (
        "Line 10\n" + repeated("08:00:0{n} 22950.{d} 98") + "Line 20\n"
        + repeated("08:10:0{n} 22950.{d} 98"),
        {"time": 1, "field": 2},
        {"header": False, "lines": {"mark": "Line ", "pattern": None}},
        {"format": "iso"},
        0.5 * 0.9,
    ),
    "offsets with another date": (
        "time,nT\n" + repeated("14.03.2025 05:00 -03:00,22950.{d}"),
        {"time": "time", "field": "nT"},
        {},
        {"format": "%d.%m.%Y %H:%M%z", "zone": "UTC"},
        1.0,
    ),
    "seconds since 1970": (
        "time,nT\n" + repeated("174107613{n}.5,22950.{d}"),
        {"time": "time", "field": "nT"},
        {},
        {"format": "unix", "zone": "UTC"},
        1.0,
    ),
    "dates as numbers": (
        "date,hhmmss,nT\n" + repeated("140325,8150{n},22950.{d}"),
        {"date": "date", "time": "hhmmss", "field": "nT"},
        {},
        {"date_format": "%d%m%y", "format": "%H%M%S%.f"},
        0.5,  # 140325 is 14 March 2025 or 25 March 2014
    ),
    "decimal hours": (
        "date,time,nT\n" + repeated("2025-03-14,8.250{n},22950.{d}"),
        {"date": "date", "hour": "time", "field": "nT"},
        {},
        {},
        0.7,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_a_map_is_proposed(proposed, name):
    raw, columns, layout, time, confidence = CASES[name]
    _, proposal = proposed(raw)
    chosen = proposal.column_map
    found = {ours: c for ours, c in chosen.columns.items() if ours != "quality"}
    assert found == columns
    whole = chosen.to_dict()
    assert {key: whole[key] for key in layout} == layout
    assert {key: whole["time"][key] for key in time} == time
    assert proposal.confidence == pytest.approx(confidence, abs=0.01)


@pytest.mark.parametrize("name", sorted(set(CASES) - {"names in a comment", "line marks"}))
def test_a_proposed_map_reads_the_file(proposed, name):
    path, proposal = proposed(CASES[name][0])
    frame = read(path, role="rover", column_map=proposal.column_map).table.frame
    assert frame["raw_nT"].round(1).to_list() == [22950.0, 22950.7, 22950.4, 22950.1, 22950.8]


def test_the_zone_is_never_guessed(proposed):
    _, proposal = proposed("time,nT\n" + repeated("2025-03-14T05:00:0{n},22950.{d}"))
    assert proposal.column_map.time.zone is None
    assert "The file does not say the time zone." in proposal.doubts


@pytest.mark.parametrize(
    ("raw", "doubt"),
    [
        (CASES["day and month in either order"][0], "Day and month of 03/04/2025 can stand in"),
        (CASES["dates as numbers"][0], "The date 140325 can be read as %d%m%y or %y%m%d."),
        (CASES["line marks"][0], "does not say the day"),
        (CASES["names in a comment"][0], "does not say the system of easting and northing"),
        ("time,lat\n" + repeated("2025-03-14T05:00:0{n},-12.{d}"), "No column looks like field."),
        ("mag,nT\n" + repeated("22950.{d},22951.{d}"), "'mag', 'nT' can each be field."),
        ("mag,q\n" + repeated("22950.{d},98"), "No column looks like a time."),
        (repeated("2025-03-14T05:00:0{n},22950.{d},22951.{d}"), "Column 3 can be the field as w"),
        (repeated("2025-03-14T05:00:0{n},22950.{d}") + "a\n", "of the lines looked at have"),
        ("time,nT\n" + repeated("2025-03-14T05:00:0{n},22950.{d}", 2), "fewer than three rows"),
        ("time,nT\n" + repeated("abc{n},22950.{d}"), "form of the times is not known"),
        ("date,time,nT\n" + repeated("99/99/2025,08:00:0{n},22950"), "form of the dates is not"),
    ],
)
def test_doubts_are_said_and_lower_the_confidence(proposed, raw, doubt):
    _, proposal = proposed(raw)
    assert any(doubt in text for text in proposal.doubts), proposal.doubts
    if "system" not in doubt:
        assert proposal.confidence < 0.9


def test_reasons_are_given(proposed):
    _, proposal = proposed(CASES["names and stamps"][0])
    assert "'Field (nT)' is field by its name." in proposal.reasons
    assert "The time zone is UTC: the file says UTC or GMT." in proposal.reasons


def test_a_track_and_its_notes(proposed):
    raw = "id,lat,lon,elevation,time,comment\n" + repeated(
        "P{n},1230.50{d}S,4115.20{d}W,540,2025-03-14T05:00:0{n}Z,gate"
    )
    path, proposal = proposed(raw, role="track")
    assert set(proposal.column_map.columns) == {"latitude", "longitude", "height", "time"}
    assert proposal.column_map.position.angles == "ddmm.mmm"
    frame = read(path, role="track", column_map=proposal.column_map).table.frame
    assert frame["latitude_deg"][0] == pytest.approx(-12.508333, abs=1e-6)
    path, proposal = proposed(raw, role="notes")
    assert {"name", "text", "time"} < set(proposal.column_map.columns)
    frame = read(path, role="notes", column_map=proposal.column_map).table.frame
    assert frame["name"].to_list() == ["P0", "P1", "P2", "P3", "P4"]


def test_longitude_before_latitude_is_seen_where_it_must_be(proposed):
    rows = repeated("2025-03-14T05:00:0{n},-141.25001{d},62.50001{d},55950.{d}")
    _, proposal = proposed(rows)
    assert proposal.column_map.columns["latitude"] == 3


def test_a_clock_is_not_taken_for_the_field(proposed):
    rows = repeated("2025-03-14 05:00:0{n},2970{n},22950.{d}")
    _, proposal = proposed(rows)
    assert proposal.column_map.columns == {"time": 1, "field": 3}


def test_the_end_of_a_long_file_is_looked_at(proposed):
    early = "date,time,nT\n" + repeated("03/04/2025,08:00:00,22950.{d}", 9000)
    _, proposal = proposed(early + repeated("13/04/2025,08:00:00,22950.{d}", 10))
    assert proposal.column_map.time.date_format == "%d/%m/%Y"
    assert not any("either order" in text for text in proposal.doubts)


def test_other_encodings(proposed):
    raw = CASES["names and stamps"][0]
    for encoding in ("utf-16", "utf-8-sig"):
        _, proposal = proposed(raw.encode(encoding))
        assert proposal.confidence == 1.0


EARLY = "2025-03-14T05:00:0{n}Z,22950.{d}"
LATE = "2025-03-14T05:01:0{n}Z,22950.{d},7"
PLACED = "2025-03-14T05:00:{n}Z,-12.50001{d},-41.25001{d},22950.{d}"
NO_FIX = "2025-03-14T05:00:0{n}Z,,,,,,,22950.{d}"
FIX = "2025-03-14T05:01:0{n}Z,-12.5{d},-41.2{d},3,9,1,1,22950.{d}"


@pytest.mark.parametrize(
    ("raw", "line"),
    [
        (repeated(EARLY, 3) + repeated(LATE, 9), 4),
        ("time,nT\n" + repeated(EARLY, 3) + repeated(LATE, 9), 5),
        ("time,nT,n\n" + repeated(EARLY, 3) + repeated(LATE, 900), 5),
        ("time,nT\n" + repeated(EARLY, 3) + "time,nT,n\n" + repeated(LATE, 9), 6),
        (repeated("L1," + EARLY, 3) + repeated("L1," + PLACED, 90), 4),
        ("time,lat,lon,nT\n" + repeated("2025-03-14T05:00:0{d}Z,22950.{d}", 100)
         + repeated(PLACED, 800), 102),
        ("# a comment\n\n" + repeated(EARLY, 1) + repeated(LATE, 90), 4),
    ],
)  # fmt: skip
def test_rows_of_another_layout_above_are_no_head(proposed, raw, line):
    _, proposal = proposed(raw)
    assert proposal.confidence < 0.6
    assert any(f"The layout changes at line {line}" in text for text in proposal.doubts)


def test_rows_before_the_first_fix_are_rows(proposed):
    raw = "time,lat,lon,fix,sats,a,b,nT\n" + repeated(NO_FIX, 3) + repeated(FIX, 9)
    path, proposal = proposed(raw)
    assert proposal.confidence >= 0.6
    frame = read(path, role="rover", column_map=proposal.column_map).table.frame
    assert frame["latitude_deg"].null_count() == 3
    assert frame["raw_nT"].null_count() == 0


@pytest.mark.parametrize(
    "head",
    [
        "Base station 1,1\nInterval,10\ntime,nT,n\n",
        "Start,2025-03-14,05:00:00,x\ntime,nT,n\n[h],[nT],\n",
        ",,,\nSensor,4,,\n\ntime,nT,n\n",
    ],
)
def test_a_head_is_no_row_of_another_layout(proposed, head):
    _, proposal = proposed(head + repeated(LATE, 9))
    assert proposal.confidence >= 0.8
    assert not any("layout changes" in text for text in proposal.doubts)


def test_components_of_the_field_are_not_taken_for_the_whole(proposed):
    row = "2025-03-10 14:{n}:00.000 069     1700{d}.00  -6000.00 -12000.00  22950.{n}"
    rows = "".join(row.format(n=f"{n:02d}", d=0) + "\n" for n in range(30))
    _, proposal = proposed(rows, role="base")
    assert proposal.confidence < 0.8
    assert any("can be the field as well" in text for text in proposal.doubts)


@pytest.mark.parametrize(
    ("names", "field"),
    [("time,X,Y,Z,F", "F"), ("time,INVX,INVY,INVZ,INVF", "INVF"), ("time,Bx,By,Bz,total", "total"),
     ("time,X,Y,Z,W", "W"), ("time,X,Y,Z,H", None)],
)  # fmt: skip
def test_components_are_told_by_their_names(proposed, names, field):
    rows = repeated("2025-03-10T14:00:0{n}Z,17000.{d},-6000.0,-12000.0,22950.{n}", 9)
    _, proposal = proposed(f"{names}\n{rows}", role="base")
    assert proposal.column_map.columns.get("field") == field
    assert (proposal.confidence >= 0.8) == (field is not None)


def test_very_many_columns_are_not_all_listed(proposed):
    fields = ",".join(f"2295{n % 10}.{{d}}" for n in range(300))
    _, proposal = proposed(repeated("2025-03-10T14:00:0{n}Z," + fields))
    doubt = next(text for text in proposal.doubts if "as well" in text)
    assert doubt == "Columns 3, 4, 5, 6, 7, 8 and 293 more can be the field as well."
    names = ",".join(["nT"] * 300)
    _, proposal = proposed(f"time,{names}\n" + repeated("2025-03-10T14:00:0{n}Z," + fields))
    assert all(len(text) < 100 for text in proposal.doubts)
    assert any("and 294 more" in text for text in proposal.doubts)


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
@pytest.mark.parametrize("text", ["wire {n}", "near the wire {n}", "at the big old wire {n}"])
def test_notes_are_not_split_at_blanks_in_their_text(proposed, sign, text):
    row = "2025-03-10T14:00:0{n}Z,fence," + text
    path, proposal = proposed(("time,name,text\n" + repeated(row)).replace(",", sign), role="notes")
    assert proposal.column_map.delimiter == sign
    frame = read(path, role="notes", column_map=proposal.column_map).table.frame
    assert frame["text"].to_list() == [text.format(n=n) for n in range(5)]


def test_decimal_commas_between_blanks(proposed):
    _, proposal = proposed("time lat lon nT\n" + repeated("08:00:0{n} 12,5{d}S 41,2{d}W 22950,{d}"))
    assert (proposal.column_map.delimiter, proposal.column_map.decimal) == ("whitespace", ",")


def test_a_quote_beside_a_carriage_return(proposed):
    _, proposal = proposed('ti"me\r_utc,nT\n' + repeated(EARLY))
    assert proposal.column_map.columns["field"] == "nT"


def test_names_without_rows(proposed):
    _, proposal = proposed("time,nT\n")
    assert proposal.confidence == 0.0
    assert proposal.doubts == ("The file holds one line only, no rows.",)


def test_text_without_columns(proposed):
    _, proposal = proposed("a short story\nwithout columns\nat all\n")
    assert proposal.confidence == 0.0
    assert "No delimiter splits the lines" in proposal.doubts[0]


@pytest.mark.parametrize(
    ("raw", "role", "message"),
    [(b"", "rover", "The file is empty"), (b"a\0b\n", "rover", "binary"),
     (b"a,b\n", "observatory", "The role must be one of base, rover, track, notes")],
)  # fmt: skip
def test_a_file_that_can_hold_no_table(proposed, raw, role, message):
    with pytest.raises(InputError, match=message):
        proposed(raw, role)


@pytest.mark.parametrize(
    ("head", "low", "high"),
    [
        (CASES["names and stamps"][0].encode(), 0.49, 0.5),
        (CASES["no names"][0].encode(), 0.49, 0.5),
        (CASES["names and stamps"][0].encode("utf-16"), 0.49, 0.5),
        (b"", 0.0, 0.0),
        (b"\x89PNG\x0d\x0a\x1a\x0a\0\0\0", 0.0, 0.0),
        (b"a short story\nwithout columns\n", 0.0, 0.0),
        (b'<?xml version="1.0"?>\n<gpx>\n<trk>\n</trk>\n</gpx>\n', 0.0, 0.0),
    ],
)
def test_recognise(head, low, high):
    assert low <= recognise(head) <= high


NOTES = {
    "without positions": (
        "time,name,text,latitude,longitude\n"
        "2026-03-10T14:05:00Z,R1,fence,,\n"
        "2026-03-10T14:06:00Z,R1,changed battery,,\n"
        "2026-03-10T14:07:00Z,R1,pipe,,\n"
    ),
    "positions in the middle": (
        "time,latitude,longitude,name,text\n"
        "2026-03-10T14:05:00Z,,,R1,fence\n"
        "2026-03-10T14:06:00Z,,,R1,pipe\n"
    ),
    "a position now and then": (
        "time,name,text,latitude,longitude\n"
        "2026-03-10T14:05:00Z,R1,fence,-24.9,-50.4\n"
        "2026-03-10T14:06:00Z,R1,changed battery,,\n"
        "2026-03-10T14:07:00Z,R1,pipe,,\n"
    ),
    "one note": "time,name,text,latitude,longitude\n2026-03-10T14:05:00Z,R1,fence,,\n",
    "several words each": (
        "time,name,text\n"
        "2026-03-10T14:05:00Z,rover one,old wire fence\n"
        "2026-03-10T14:06:00Z,rover one,changed battery here\n"
    ),
}


@pytest.mark.parametrize("text", NOTES.values(), ids=NOTES)
def test_field_notes_need_not_have_positions_or_single_words(proposed, text):
    path, proposal = proposed(text, role="notes")
    assert proposal.confidence >= 0.6
    columns = text.splitlines()[0].split(",")
    assert proposal.column_map.columns == {name: name for name in columns}
    waypoints = read(path, role="notes", column_map=None).table.frame
    assert waypoints.height == text.count("\n") - 1
    assert waypoints["text"].to_list() == [
        row.split(",")[columns.index("text")] for row in text.splitlines()[1:]
    ]
