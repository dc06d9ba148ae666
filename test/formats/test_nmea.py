"""NMEA 0183 logs: published sentences, damage, dates across midnight."""

from collections.abc import Callable
from datetime import datetime
from functools import reduce
from operator import xor
from pathlib import Path

import pytest

from lodewalk.errors import InputError
from lodewalk.formats import nmea
from lodewalk.formats.content import Content
from lodewalk.records.recorded import Track

# The two example sentences that documents on NMEA 0183 commonly carry, with their checksums.
GGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
RMC = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"


def sentence(body: str) -> str:
    """Return a sentence with its checksum: the exclusive or of the bytes of the body."""
    return f"${body}*{reduce(xor, body.encode()):02X}"


PLACE = "4807.038,N,01131.000,E"
REST = "1,08,0.9,545.4,M,46.9,M,,"


def gga(time: str, *, place: str = PLACE, rest: str = REST, talker: str = "GP") -> str:
    return sentence(f"{talker}GGA,{time},{place},{rest}")


def rmc(time: str, date: str, *, status: str = "A") -> str:
    return sentence(f"GPRMC,{time},{status},4807.038,N,01131.000,E,022.4,084.4,{date},003.1,W")


@pytest.fixture
def reading(tmp_path: Path) -> Callable[..., Content]:
    def read(*lines: str, role: str = "track", end: str = "\r\n") -> Content:
        path = tmp_path / "day1.nmea"
        path.write_bytes("".join(line + end for line in lines).encode("latin-1"))
        return nmea.read(path, role=role, column_map=None)

    return read


def times_of(content: Content) -> list[datetime]:
    return content.table.frame["recorded_time"].to_list()


def test_published_sentences(reading: Callable[..., Content]) -> None:
    content = reading(GGA, RMC)
    assert isinstance(content.table, Track)
    (row,) = content.table.frame.iter_rows(named=True)
    assert row["latitude_deg"] == pytest.approx(48.1173, abs=1e-9)
    assert row["longitude_deg"] == pytest.approx(11 + 31 / 60, abs=1e-9)
    assert row["height_m"] == pytest.approx(545.4 + 46.9)
    assert row["recorded_time"] == datetime(1994, 3, 23, 12, 35, 19)
    assert (row["fix"], row["satellites"], row["hdop"]) == ("3d", 8.0, 0.9)
    assert row["line_in_file"] == 1
    assert content.zone == "UTC"
    assert content.understood[0] == (
        "NMEA 0183 log: points from GGA sentences: 1, from 1994-03-23T12:35:19Z to "
        "1994-03-23T12:35:19Z; sentences left out for want of a position: 0."
    )
    assert "above the ellipsoid" in content.understood[1]


def test_sentences_made_here_carry_the_published_checksums() -> None:
    assert sentence(GGA[1:-3]) == GGA
    assert sentence(RMC[1:-3]) == RMC


def test_positions_of_the_south_and_west(reading: Callable[..., Content]) -> None:
    table = reading(RMC, gga("123520.5", place="2730.6,S,04815.0,W", talker="GN")).table
    assert table.floats("latitude_deg") == pytest.approx([-27.51])
    assert table.floats("longitude_deg") == pytest.approx([-48.25])


def test_rmc_alone_gives_positions_without_heights(reading: Callable[..., Content]) -> None:
    content = reading(RMC, rmc("123520.25", "230394"), rmc("123521", "230394", status="V"))
    assert times_of(content) == [
        datetime(1994, 3, 23, 12, 35, 19),
        datetime(1994, 3, 23, 12, 35, 20, 250_000),
    ]
    assert content.table.frame["height_m"].to_list() == [None, None]
    assert not content.table.has("fix")
    assert "hold no height" in content.understood[1]


@pytest.mark.parametrize(
    ("code", "word"),
    [("0", "none"), ("1", "3d"), ("2", "dgps"), ("4", "rtk"), ("5", "float"), ("8", "none")],
)
def test_quality_codes(reading: Callable[..., Content], code: str, word: str) -> None:
    rest = f"{code},08,0.9,545.4,M,46.9,M,,"
    content = reading(RMC, gga("123519", rest=rest))
    assert content.table.frame["fix"].to_list() == [word]
    assert ("simulated" in content.understood[-1]) == (code == "8")


def test_height_needs_both_parts(reading: Callable[..., Content]) -> None:
    content = reading(RMC, gga("123519", rest="1,08,0.9,545.4,M,,M,,"), gga("123520"))
    assert content.table.frame["height_m"].to_list() == [None, pytest.approx(592.3)]
    assert "since one of the two is missing: 1." in content.understood[2]


@pytest.mark.parametrize("order", [1, -1])
def test_midnight_between_sentences(reading: Callable[..., Content], order: int) -> None:
    epochs = [("235959.00", "310124"), ("000000.00", "010224"), ("000001.00", "010224")]
    pairs = [[gga(time), rmc(time, date)][::order] for time, date in epochs]
    content = reading(*(line for pair in pairs for line in pair))
    assert times_of(content) == [
        datetime(2024, 1, 31, 23, 59, 59),
        datetime(2024, 2, 1),
        datetime(2024, 2, 1, 0, 0, 1),
    ]


def test_sentence_late_by_a_second_is_before_midnight(reading: Callable[..., Content]) -> None:
    content = reading(rmc("000000", "010224"), gga("235959"), gga("000001"))
    assert times_of(content) == [datetime(2024, 1, 31, 23, 59, 59), datetime(2024, 2, 1, 0, 0, 1)]


def test_one_date_serves_across_midnights(reading: Callable[..., Content]) -> None:
    clock = ("120000", "200000", "040000", "120000", "200000", "040000")
    content = reading(rmc("115959", "310124"), *(gga(time) for time in clock))
    assert [time.day for time in times_of(content)] == [31, 31, 1, 1, 1, 2]


def test_late_date_serves_what_came_before(reading: Callable[..., Content]) -> None:
    content = reading(gga("235900"), gga("000100"), rmc("000200", "010224"))
    assert times_of(content) == [datetime(2024, 1, 31, 23, 59), datetime(2024, 2, 1, 0, 1)]


def test_receiver_switched_on_again_the_next_day(reading: Callable[..., Content]) -> None:
    content = reading(
        gga("170000"), rmc("170000", "310124"), gga("080000"), rmc("080000", "010224")
    )
    assert times_of(content) == [datetime(2024, 1, 31, 17), datetime(2024, 2, 1, 8)]


def test_date_of_a_void_fix_is_not_believed(reading: Callable[..., Content]) -> None:
    content = reading(rmc("123518", "060180", status="V"), gga("123518"), RMC)
    assert times_of(content) == [datetime(1994, 3, 23, 12, 35, 18)]


def test_lost_fix_begins_a_new_segment(reading: Callable[..., Content]) -> None:
    lost = gga("123520", place=",,,", rest="0,00,99.9,,,,,,")
    content = reading(RMC, GGA, lost, gga("123521"), gga("123522"))
    assert content.table.frame["segment"].to_list() == [0, 1, 1]
    assert "left out for want of a position: 1." in content.understood[0]


def test_second_talker_at_the_same_time_is_left_out(reading: Callable[..., Content]) -> None:
    content = reading(RMC, GGA, gga("123519", talker="GN"), gga("123520", talker="GN"))
    assert content.table.frame["line_in_file"].to_list() == [2, 4]
    assert "second talker at the same time: 1." in content.understood[1]


def test_repeated_sentence_of_one_talker_is_kept(reading: Callable[..., Content]) -> None:
    assert len(reading(RMC, GGA, GGA).table) == 2


def test_other_lines_are_passed_over(reading: Callable[..., Content]) -> None:
    content = reading(
        "# day 1", "", "!AIVDM,1,1,,A,14eG;o@034o8sd<L9i:a;WF>062D,0*7D", "\x1a",
        sentence("GPGSV,1,1,00"), sentence("PGRME,3.0,M,4.0,M,5.0,M"), RMC, GGA + "  ",
    )  # fmt: skip
    assert content.table.frame["line_in_file"].to_list() == [8]
    assert len(content.understood) == 2


GOOD = [RMC, *(gga(f"1235{second:02d}") for second in range(20, 60))]


@pytest.mark.parametrize(
    "damage",
    [
        GGA.replace("4807", "4817"),
        GGA[:-3],
        GGA[:-1],
        GGA[:-2] + "ZZ",
        GGA[5:],
        GGA + RMC,
        "*47",
        "$*00",
        sentence("GPGGA,123560,4867.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"),
        sentence("GPGGA,123519,4807.038,Q,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"),
        sentence("GPGGA,123519,9907.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"),
        sentence("GPGGA,246019,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"),
        sentence("GPGGA,12h519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"),
    ],
)
def test_damaged_line_is_left_out_and_said(reading: Callable[..., Content], damage: str) -> None:
    content = reading(*GOOD[:20], damage, *GOOD[20:])
    assert len(content.table) == 40
    assert content.understood[-1].startswith("Damaged lines left out")
    assert content.understood[-1].endswith(": 1, line 21.")


def test_too_much_damage_is_refused_with_the_first_line(reading: Callable[..., Content]) -> None:
    bad = GGA.replace("4807", "4817")
    with pytest.raises(InputError, match=r"line 4: 3 of 44 lines are damaged; 5% may be"):
        reading(*GOOD[:3], bad, bad, bad, *GOOD[3:])


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ((), "no NMEA 0183 sentences"),
        (("",), "no NMEA 0183 sentences"),
        (("1,2,3",), "line 1: 1 of 1 lines are damaged"),
        ((GGA,), "No RMC sentence with a valid fix gives the date"),
        ((GGA, rmc("123519", "230394", status="V")), "No RMC sentence with a valid fix"),
        ((GGA, rmc("123519", "310294")), "No RMC sentence with a valid fix"),
        ((sentence("GPGSV,1,1,00"),), "no GGA or RMC sentence with a fix"),
        ((RMC, gga("123519", place=",,,")), "No sentence of the log holds a position"),
    ],
)
def test_logs_without_a_track(
    reading: Callable[..., Content], lines: tuple[str, ...], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        reading(*lines)


def test_role_is_checked(reading: Callable[..., Content]) -> None:
    with pytest.raises(InputError, match="serves as track"):
        reading(RMC, GGA, role="rover")


def test_last_line_without_its_end_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.nmea"
    path.write_bytes(b"\xef\xbb\xbf" + f"{RMC}\n{GGA}".encode())
    assert len(nmea.read(path, role="track", column_map=None).table) == 1


def test_recognises_logs_by_share_of_sentences() -> None:
    assert nmea.recognise(f"{GGA}\r\n{RMC}\r\n".encode()) == 1.0
    assert nmea.recognise(f"{GGA}\n# note\n".encode()) == 0.5
    assert nmea.recognise(b"$GPGSV,1,1,00*79\n") == 0.0
    assert nmea.recognise(b"") == 0.0
