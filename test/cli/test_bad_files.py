"""A file that can't be read is refused in one line, and nothing is changed."""

import re

import pytest

from cli.samples import BASE, GPX, NOTES, OBSERVATORY, PLAN, ROVER, SOUND, TRACK, stamp


def columns(text, order, *, since):
    """Return rows of comma-separated text with their columns in another order from one on."""
    head, tail = text.splitlines(True)[:since], text.splitlines()[since:]
    return "".join(head) + "".join(
        ",".join(row.split(",")[place] for place in order) + "\n" for row in tail
    )


@pytest.fixture
def add_bad(empty, tmp_path, refused):
    """Try to add a file with this content."""

    def call(content, role, *options, name="bad.txt"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return refused(empty, "add", empty, path, "--role", role, *options, but=())

    return call


@pytest.mark.parametrize("kind", SOUND)
def test_the_samples_are_sound(kind, empty, tmp_path, lodewalk):
    name, role, text = SOUND[kind]
    (tmp_path / name).write_bytes(text.encode())
    assert lodewalk("add", empty, tmp_path / name, "--role", role).code == 0


@pytest.mark.parametrize("kind", SOUND)
@pytest.mark.parametrize("content", [b"", b"\n \r\n\t\n"], ids=["empty", "blank"])
def test_an_empty_file(kind, content, add_bad):
    assert "bad.txt: The file is empty." in add_bad(content, SOUND[kind][1])


@pytest.mark.parametrize("kind", SOUND)
def test_zero_bytes_show_a_binary_file(kind, add_bad):
    _, role, text = SOUND[kind]
    lines = text.splitlines(True)
    half = len(lines) // 2
    content = "".join(lines[:half]).encode() + b"\x00\x01\x02\n" + "".join(lines[half:]).encode()
    assert f"bad.txt, line {half + 1}: The file is binary" in add_bad(content, role)


@pytest.mark.parametrize(
    ("kind", "line"),
    [("base", 37), ("rover", 37), ("observatory file as base", 28), ("GPX track", 40), ("plan", 3)],
)
def test_a_file_that_ends_in_the_middle_of_a_line(kind, line, add_bad):
    _, role, text = SOUND[kind]
    lines = text.splitlines(True)
    cut = "".join(lines[: line - 1]) + lines[line - 1][:11]
    assert f"bad.txt, line {line}: " in add_bad(cut, role)


@pytest.mark.parametrize(
    ("content", "role", "words"),
    [
        (columns(ROVER, (0, 1, 2, 4, 3), since=30), "rover", "line 31: The columns shift"),
        (columns(ROVER, (0, 4, 1, 2, 3), since=30), "rover", "bad.txt, line 31: "),
        (OBSERVATORY.replace("14:20:00.000 ", "14:20:00.000"), "base", "line 34: A data record"),
        (TRACK.replace('lat="-24.9', 'lat="-124.9'), "track", "line 4: Latitude must lie in"),
        (
            columns(ROVER, (0, 2, 1, 3, 4), since=1),
            "rover",
            "line 2: The position lies outside the area of EPSG:31982. Found (-50.4, -24.9). "
            "Latitude and longitude are swapped",
        ),
        (
            re.sub(r'lat="(\S+)" lon="(\S+)"', r'lat="\2" lon="\1"', TRACK),
            "track",
            "line 4: The position lies outside",
        ),
        (ROVER.replace("880.0,22430.7", "880.0,abc"), "rover", "line 9: field must be a number"),
        (ROVER.replace("880.0,22430.7", "880.0,inf"), "rover", "line 9: field must be finite"),
        (ROVER.replace("03-10T14:00:30", "02-30T14:00:30"), "rover", "line 32: time does not fit"),
        (ROVER.replace("2026-03-10T14:00:30Z", ""), "rover", "line 32: A reading must have a time"),
        (ROVER.replace("2026-", "1850-"), "rover", "line 2: The year of a time must lie in"),
        (ROVER.replace("14:00:30Z", "14:00:30"), "rover", "line 32: Some times carry an offset"),
        (BASE.replace("Z,", ",").replace("_utc", ""), "base", "doesn't say the time zone"),
        (NOTES, "rover", "No column looks like field"),
        (BASE, "track", "No column looks like latitude"),
    ],
)
def test_what_is_wrong_is_named(content, role, words, add_bad):
    assert words in add_bad(content, role)


ENTITIES = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 10))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (f'<!DOCTYPE gpx [<!ENTITY e0 "x">{ENTITIES}]><gpx>&e9;</gpx>', "document type"),
        ('<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/hosts">]><gpx>&x;</gpx>', "document type"),
        (GPX + "<trk>" * 100_000, "nested deeper than 64"),
        (GPX + '<trk><trkpt lat="' + "1" * 3_000_000, "longer than a mebibyte"),
        (GPX + "<trk><trkseg><trkpt lat='1' lon='1'><name>&x;</name>", "undefined entity"),
        ("<html><gpx ></gpx></html>", "The root of the file must be gpx"),
        (GPX + "</gpx>", "The file holds no track points"),
        (PLAN, "It holds 2 route points (role plan)"),
        (TRACK.replace("14:00:30Z", "noon"), "line 34: A time must look like"),
    ],
)
def test_a_hostile_gpx_file(content, words, add_bad):
    assert words in add_bad(content, "track")


@pytest.mark.parametrize("role", ["base", "rover", "notes"])
def test_one_endless_line(role, add_bad):
    start = BASE if role == "base" else ROVER if role == "rover" else NOTES
    line = len(start.splitlines()) + 1
    content = start.encode() + b"2026-03-10T14:00:00Z,22950.1," * 100_000
    assert f"bad.txt, line {line}: A line may hold at most" in add_bad(content, role)
    assert "bad.txt, line 1: A line may hold" in add_bad(b"22950.1," * 100_000, role)


@pytest.mark.parametrize("kind", ["observatory file as base", "NMEA track"])
def test_an_endless_line_below_a_sound_beginning(kind, add_bad):
    _, role, text = SOUND[kind]
    line = len(text.splitlines()) + 1
    content = text.encode() + b"2026-03-10" * 100_000
    assert f"bad.txt, line {line}: A line may hold at most" in add_bad(content, role)


@pytest.mark.parametrize(
    ("kind", "role", "words"),
    [
        ("rover", "walker", "A role is one of base, rover, track"),
        ("rover", "plan", "A file of role plan can't be delimited text"),
        ("GPX track", "rover", "A file of role rover can't be GPX 1.1"),
        ("NMEA track", "plan", "A file of role plan can't be NMEA 0183 log"),
        ("observatory file as base", "rover", "A file of role rover can't be IAGA-2002"),
    ],
)
def test_a_wrong_role(kind, role, words, add_bad):
    assert words in add_bad(SOUND[kind][2], role)


@pytest.mark.parametrize("zone", ["Mars/Base", "../../etc/hosts", "+25:00", "BRT", "America"])
def test_an_unknown_time_zone(zone, add_bad):
    words = add_bad(BASE.replace("Z,", ",").replace("_utc", ""), "base", "--time-zone", zone)
    assert "This time zone is unknown." in words
    assert zone in words


def test_a_zone_against_the_word_of_the_file(add_bad):
    assert "The file's times are UTC, but the time zone given is" in add_bad(
        BASE, "base", "--time-zone", "-03:00"
    )


@pytest.mark.parametrize(("day", "hour"), [("2018-11-04", 0), ("2018-02-17", 23)])
def test_a_time_that_a_change_of_the_clocks_skips_or_repeats(day, hour, add_bad):
    # In 2018 São Paulo began summer time on 4 November at 0 h, and ended it on 18 February at
    # 0 h, when the hour from 23 h was repeated (IANA Time Zone Database).
    rows = "".join(f"{day}T{hour:02d}:{n:02d}:00,22950.1\n" for n in range(60))
    words = add_bad("time,field\n" + rows, "base", "--time-zone", "America/Sao_Paulo")
    assert "bad.txt, line 2: " in words
    assert f"{day} {hour:02d}:00:00" in words


MAP = """delimiter = ";"
decimal = ","
header = false
[columns]
time = 1
field = 2
[time]
zone = "UTC"
"""
SEMICOLONS = "".join(f"{stamp(n)};22950,{n % 10}\n" for n in range(60))


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("decimal", "decimals", "decimals is an unknown key"),
        ("field = 2", "feild = 2", "columns.feild is unknown"),
        ("field = 2", "field = 7", "Column 7 for field does not exist"),
        ("field = 2", "field = 1", "read the same column"),
        ("field = 2", 'field = "F"', "is a name, but header is false"),
        ("field = 2", "quality = 2", "needs field for a file of role base"),
        ('zone = "UTC"', "", "doesn't say the time zone"),
        ('"UTC"', '"Brasilia"', "names an unknown time zone"),
        ('";"', '"|"', "Column 2 for field does not exist"),
        ('decimal = ","', 'decimal = "."', "line 1: field must be a number. Found '22950,1'"),
        ("header = false", "header = 5000", "beyond the end of the file"),
        ("[columns]", "columns", "line 4: The column map is not TOML"),
    ],
)
def test_a_wrong_column_map(before, after, words, add_bad, tmp_path):
    assert MAP.count(before) >= 1
    (tmp_path / "map.toml").write_text(MAP.replace(before, after, 1))
    content = SEMICOLONS.replace("22950,0", "22950,1", 1)
    assert words in add_bad(content, "base", "--columns", tmp_path / "map.toml")


def test_no_file_or_no_ordinary_file(empty, tmp_path, refused):
    (tmp_path / "folder").mkdir()
    for name, words in (
        ("nothing.csv", "nothing.csv: There is no such file."),
        ("folder", "folder: This is no file."),
    ):
        assert words in refused(empty, "add", empty, tmp_path / name, "--role", "base", but=())


def test_all_files_are_added_or_none(empty, tmp_path, refused):
    (tmp_path / "good.csv").write_text(BASE)
    (tmp_path / "empty.csv").write_text("")
    words = refused(
        empty, "add", empty, tmp_path / "good.csv", tmp_path / "empty.csv", "--role", "base", but=()
    )
    assert "empty.csv: The file is empty." in words


def test_the_same_file_again(small, tmp_path, refused):
    twin = tmp_path / "twin.csv"
    twin.write_bytes(small.truth.base.read_bytes())
    words = refused(small.path, "add", small.path, twin, "--role", "base", but=())
    assert "twin.csv: This file is in the survey already, as raw/base.csv (base)." in words
    new = tmp_path / "new.csv"
    new.write_text(BASE)
    words = refused(small.path, "add", small.path, new, new, "--role", "base", but=())
    assert "new.csv: This file is given twice." in words


@pytest.mark.parametrize("name", ["base.csv", "BASE.CSV", "ledger.json", "name é $(x);.csv"])
def test_another_file_of_a_name_that_is_taken(name, small, tmp_path, lodewalk):
    held = {path.name: path.read_bytes() for path in (small.path / "raw").glob("*.csv")}
    (tmp_path / name).write_text(BASE)
    assert lodewalk("add", small.path, tmp_path / name, "--role", "base").code == 0
    assert all((small.path / "raw" / kept).read_bytes() == held[kept] for kept in held)
    assert lodewalk("run", small.path).code == 0
