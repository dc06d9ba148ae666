from datetime import datetime

import pytest

from lodewalk.errors import InputError, SettingsError
from lodewalk.formats.delimited import ColumnMap
from lodewalk.formats.delimited.time_plan import time_plan

FIRST = datetime(2025, 3, 4, 8, 15, 30, 250_000)
NEXT = datetime(2025, 3, 4, 8, 15, 31)


def settings(columns, time, **more):
    return {"header": False, "columns": {**columns, "field": 9}, "time": time, **more}


def rows(*firsts):
    """Return rows of nine columns whose last is the field."""
    return "".join(",".join([*first, *["0"] * (8 - len(first)), "22950.1\n"]) for first in firsts)


def recorded(content):
    return content.table.frame["recorded_time"].to_list()


@pytest.mark.parametrize(
    ("columns", "time", "texts"),
    [
        (["time"], {}, [["2025-03-04T08:15:30.25"], ["2025-03-04T08:15:31"]]),
        (["time"], {}, [["2025-03-04 08:15:30.250"], ["2025-03-04T08:15:31.000000"]]),
        (["time"], {}, [["20250304T081530.25"], ["20250304T081531"]]),
        (["time"], {"format": "%d/%m/%y %H:%M:%S%.f"}, [["04/03/25 08:15:30.25"],
                                                       ["04/03/25 08:15:31"]]),
        (["time"], {"format": "%d %b %Y %I:%M:%S%.f %p"}, [["04 Mar 2025 08:15:30.25 AM"],
                                                          ["4 Mar 2025 8:15:31 am"]]),
        (["time"], {"format": "%m/%d %T%.f", "year": 2025}, [["03/04 08:15:30.25"],
                                                            ["03/04 08:15:31"]]),
        (["time"], {"format": "%Y-%j %H%M%S%.f"}, [["2025-063 081530.25"], ["2025-063 081531"]]),
        (["time"], {"format": "unix"}, [["1741076130.25"], ["1741076131"]]),
        (["date", "time"], {}, [["2025-03-04", "08:15:30.25"], ["20250304", "081531"]]),
        (["date", "time"], {"date_format": "%d%m%y", "format": "%H%M%S%.f"},
         [["40325", "81530.25"], ["040325", "081531"]]),
        (["date", "time"], {"date_format": "%d.%m", "year": 2025}, [["04.03", "08:15:30.25"],
                                                                   ["04.03", "08:15:31"]]),
        (["date", "seconds_of_day"], {}, [["2025-03-04", "29730.25"], ["2025-03-04", "29731"]]),
        (["year", "month", "day", "hour", "minute", "second"], {},
         [["2025", "3", "4", "8", "15", "30.25"], ["25", "03", "04", "08", "15", "31.0"]]),
        (["year", "day_of_year", "time"], {}, [["2025", "63", "08:15:30.25"],
                                               ["2025", "063", "08:15:31"]]),
        (["day_of_year", "seconds_of_day"], {"year": 2025}, [["63", "29730.25"], ["63", "29731"]]),
        (["month", "day", "hour", "minute"], {"year": 2025},
         [["3", "4", "8", "15.5041666666667"], ["3", "4", "8", "15.5166666666667"]]),
        (["hour"], {"date": "2025-03-04"}, [["8.25840277777778"], ["8.25861111111111"]]),
        (["time"], {"date": "2025-03-04"}, [["08:15:30.25"], ["08:15:31"]]),
        (["time"], {"date": "2025-03-04", "format": "%H%M%S%.f"}, [["81530.25"], ["81531"]]),
    ],
)  # fmt: skip
def test_each_way_of_writing_a_time(reading, columns, time, texts):
    places = {name: number for number, name in enumerate(columns, start=1)}
    content = reading(rows(*texts), settings(places, time))
    assert recorded(content) == [FIRST, NEXT]


def test_header_and_decimal_comma(reading):
    raw = "Data;Hora;Campo\n04/03/2025;08:15:30,25;22950,1\n04/03/2025;08:15:31;22950,2\n"
    content = reading(
        raw,
        {
            "delimiter": ";",
            "decimal": ",",
            "columns": {"date": "Data", "time": "Hora", "field": "Campo"},
            "time": {"date_format": "%d/%m/%Y"},
        },
    )
    assert recorded(content) == [FIRST, NEXT]
    assert content.table.frame["raw_nT"].to_list() == [22950.1, 22950.2]


@pytest.mark.parametrize(
    ("texts", "time"),
    [
        (["2025-03-04T08:15:30.25Z", "2025-03-04T08:15:31Z"], {}),
        (["2025-03-04 08:15:30.25 UTC", "2025-03-04 08:15:31 UTC"], {}),
        (["2025-03-04T05:15:30.25-03:00", "2025-03-04T10:15:31+02:00"], {}),
        (["2025-03-04T04:45:30.25-0330", "2025-03-04T08:15:31Z"], {"zone": "UTC"}),
        (["04/03/2025 05:15:30.25 -03", "04/03/2025 08:15:31 +00"],
         {"format": "%d/%m/%Y %H:%M:%S%.f %z"}),
    ],
)  # fmt: skip
def test_offsets_in_the_text_give_utc(reading, texts, time):
    content = reading(rows(*[[text] for text in texts]), settings({"time": 1}, time))
    assert recorded(content) == [FIRST, NEXT]
    assert content.zone == "UTC"


def test_a_time_of_day_may_carry_its_offset(reading):
    raw = rows(["2025-03-03", "23:30:00-03:00"])
    content = reading(raw, settings({"date": 1, "time": 2}, {}))
    assert recorded(content) == [datetime(2025, 3, 4, 2, 30)]
    assert content.zone == "UTC"


def test_without_an_offset_the_zone_is_that_of_the_map(reading):
    raw = rows(["2025-03-04T08:15:31"])
    assert reading(raw, settings({"time": 1}, {})).zone is None
    assert reading(raw, settings({"time": 1}, {"zone": "America/Bahia"})).zone == "America/Bahia"
    assert reading(raw, settings({"time": 1}, {"zone": "GPS"})).zone == "GPS"


def test_a_letter_spelt_in_the_format_is_passed_over(reading):
    raw = rows(["2025-03-04T08:15:31Z"])
    content = reading(raw, settings({"time": 1}, {"format": "%Y-%m-%dT%H:%M:%SZ", "zone": "GPS"}))
    assert (recorded(content), content.zone) == ([NEXT], "GPS")


def test_the_day_turns_at_midnight_where_the_file_has_no_date(reading):
    raw = rows(["23:59:59"], ["00:00:01"], ["12:00:00"], ["23:00:00"], ["00:30:00"])
    content = reading(raw, settings({"time": 1}, {"date": "2025-03-04"}))
    days = [time.day for time in recorded(content)]
    assert days == [4, 5, 5, 5, 6]
    assert any("passes midnight" in text for text in content.understood)


def test_a_late_row_belongs_to_the_day_before(reading):
    raw = rows(["00:00:01"], ["23:59:59"], ["00:00:03"])
    content = reading(raw, settings({"time": 1}, {"date": "2025-03-04"}))
    assert [time.day for time in recorded(content)] == [4, 3, 4]


def test_the_year_turns_where_the_file_has_none(reading):
    raw = rows(["366", "86399"], ["1", "1"])
    content = reading(raw, settings({"day_of_year": 1, "seconds_of_day": 2}, {"year": 2024}))
    assert recorded(content) == [datetime(2024, 12, 31, 23, 59, 59), datetime(2025, 1, 1, 0, 0, 1)]


def test_times_that_run_back_or_repeat_are_kept(reading):
    raw = rows(["2025-03-04T08:00:02"], ["2025-03-04T08:00:01"], ["2025-03-04T08:00:01"])
    content = reading(raw, settings({"time": 1}, {}))
    assert [time.second for time in recorded(content)] == [2, 1, 1]


@pytest.mark.parametrize(
    ("columns", "time", "texts", "message"),
    [
        (["time"], {}, ["2025-03-04T08:15:31", "2025-02-30T08:15:31"],
         r"line 2: time does not fit the format %Y-%m-%dT.* Found '2025-02-30T08:15:31'"),
        (["time"], {}, ["2025-03-04T08:15:31", ""], "line 2: A reading must have a time"),
        (["time"], {}, ["2025-03-04T08:15:31Z", "2025-03-04T08:15:31"],
         r"line 2: Some times carry an offset"),
        (["time"], {}, ["2025-03-04T08:15:31", "2025-03-04T08:15:31Z"], "line 2: time does not"),
        (["time"], {"zone": "GPS"}, ["2025-03-04T08:15:31Z"], "carry their own offset.*zone out"),
        (["time"], {"format": "%d/%m/%Y %H:%M"}, ["04/03/25 08:15"], "line 1: The year of a time"),
        (["time"], {"format": "unix"}, ["1e18"], "line 1: The year of a time"),
        (["time"], {"format": "unix", "zone": "GPS"}, ["1e9"], "carry their own offset"),
        (["time"], {"format": "%H%M%S", "date": "2025-03-04"}, ["81530", "1081530"],
         "line 2: time does not fit the format %H%M%S"),
        (["time"], {"format": "%H%M%S", "date": "2025-03-04"}, ["86130"], "line 1: time does not"),
        (["date", "hour"], {}, ["2025-03-04,8", "2025-13-04,8"], "line 2: date does not fit"),
        (["hour"], {"date": "2025-03-04"}, ["8", "24"], "line 2: hour must lie in 0 to below 24"),
        (["hour", "minute"], {"date": "2025-03-04"}, ["8.5,3"], "hour must be a whole number"),
        (["hour", "minute"], {"date": "2025-03-04"}, ["8,60"], "minute must lie in 0 to below 60"),
        (["hour"], {"date": "2025-03-04"}, ["x"], "line 1: hour must be a number. Found 'x'"),
        (["seconds_of_day"], {"date": "2025-03-04"}, ["86401"], "must lie in 0 to below 86401"),
        (["year", "day_of_year", "hour"], {}, ["2024,366,1", "2023,366,1"],
         r"line 2: The date does not exist\. Found '2023-366'"),
        (["year", "month", "day", "hour"], {}, ["2025,0,3,1"], "line 1: The date does not exist"),
    ],
)  # fmt: skip
def test_a_wrong_time_is_an_error_with_its_line(reading, columns, time, texts, message):
    places = {name: number for number, name in enumerate(columns, start=1)}
    with pytest.raises(InputError, match=message):
        reading(rows(*[text.split(",") for text in texts]), settings(places, time))


@pytest.mark.parametrize(
    ("columns", "time", "message"),
    [
        (["date"], {}, "does not say the time of day"),
        (["month", "hour"], {"year": 2025}, "month and columns.day need each other"),
        (["hour"], {}, r"does not say the day.*time\.date"),
        (["minute"], {}, "does not say the time of day"),
        (["day_of_year", "hour"], {}, r"does not say the year\. Set time\.year"),
        (["year", "day_of_year", "hour"], {"year": 2025}, "both give the year"),
        (["date", "time"], {"date": "2025-03-04"}, "columns.date and time.date both give the day"),
        (["date", "time"], {"format": "%Y-%m-%d %H"}, "both give the day"),
        (["date", "time", "hour"], {}, "columns.time and columns.hour both give the time of day"),
        (["date", "time", "second"], {}, r"columns\.second need columns\.hour"),
        (["date", "hour", "second"], {}, r"second needs columns\.minute"),
        (["date", "time"], {"date_format": "%Y-%m-%d %H"}, "must give a day and no time of day"),
        (["time"], {"format": "%Y-%m-%d"}, r"time\.format has no hour and minute"),
        (["year", "time"], {"format": "%m-%d %H"}, "can't go with a date in one column"),
    ],
)
def test_a_map_without_a_whole_time_is_an_error(columns, time, message):
    places = {name: number for number, name in enumerate(columns, start=1)}
    chosen = ColumnMap.from_dict({"columns": places, "time": time})
    with pytest.raises(SettingsError, match=message):
        time_plan(chosen)


def test_no_time_at_all_is_no_plan():
    assert time_plan(ColumnMap.from_dict({"columns": {"name": 1}})) is None


@pytest.mark.parametrize("year", ["0000", "-026", "-0026"])
def test_a_year_before_the_first(reading, year):
    texts = [["2025-03-04T08:15:30"], [f"{year}-03-04T08:15:31"]]
    with pytest.raises(InputError, match=r"line 2: .*year of a time must lie in 1970 to 2100"):
        reading(rows(*texts), settings({"time": 1}, {"format": "%Y-%m-%dT%H:%M:%S"}))
