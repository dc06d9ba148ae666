"""Several rovers, tracks and bases: whose position, whose diurnal; each from a closed form."""

from datetime import UTC, datetime

import numpy as np
import pytest
from pyproj import Transformer

from lodewalk.errors import InputError
from lodewalk.survey.decisions import append_decision
from lodewalk.survey.folder import open_folder
from small_survey import CRS, SOUTH, WEST, stamp

TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
SECONDS = np.arange(0.0, 300.0, 1.0)


def field(seconds, level=22_900.0):
    return level + 0.01 * np.asarray(seconds)


def rover_text(seconds=SECONDS, *, clock_s=0.0, level=22_900.0):
    """A rover without positions, one line."""
    head = "time_utc,line,total_field_nT"
    rows = [
        f"{stamp(t + clock_s)},L1,{v:.3f}"
        for t, v in zip(seconds, field(seconds, level), strict=True)
    ]
    return [head, *rows]


def base_text(seconds, level=22_950.0, spikes=()):
    value = field(seconds, level)
    for place, size in spikes:
        value[place] += size
    rows = [f"{stamp(t)},{v:.3f}" for t, v in zip(seconds, value, strict=True)]
    return ["time_utc,total_field_nT", *rows]


def track_text(shift_east, seconds=SECONDS):
    """A GPX track northward at 1 m/s."""
    longitude, latitude = TO_DEGREES.transform(WEST + shift_east + 0 * seconds, SOUTH + seconds)
    points = "".join(
        f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}"><ele>800</ele><time>{stamp(t)}</time></trkpt>\n'
        for lat, lon, t in zip(latitude, longitude, seconds, strict=True)
    )
    return (
        '<?xml version="1.0"?>\n<gpx version="1.1" creator="test" '
        f'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    )


BASE_SECONDS = np.arange(-900.0, 1200.0, 10.0)


def test_each_rover_takes_the_track_of_its_own_name(bench):
    bench.add("base.csv", base_text(BASE_SECONDS), "base", "B1")
    for name, east in (("R1", 0.0), ("R2", 1000.0)):
        bench.add(f"{name}.csv", rover_text(level=22_900 + east / 100), "rover", name)
        bench.add(f"{name}.gpx", track_text(east), "track", name)
    bench.run()
    frame = bench.readings()
    for name, east in (("R1", WEST), ("R2", WEST + 1000)):
        own = frame.filter(frame["instrument"] == name)
        np.testing.assert_allclose(own["easting_m"], east, atol=0.01)
        np.testing.assert_allclose(own["northing_m"], SOUTH + SECONDS, atol=0.01)


def test_a_track_without_an_owner_serves_a_rover_without_a_track(bench):
    bench.add("R2.csv", rover_text(), "rover", "R2")
    bench.add("hand.gpx", track_text(50.0), "track", "H1")
    bench.run()
    np.testing.assert_allclose(bench.readings()["easting_m"], WEST + 50, atol=0.01)


def test_two_free_tracks_at_once_are_refused(bench):
    bench.add("R2.csv", rover_text(), "rover", "R2")
    bench.add("a.gpx", track_text(0.0), "track", "H1")
    bench.add("b.gpx", track_text(50.0), "track", "H2")
    with pytest.raises(InputError, match=r"R2\.csv: Several tracks \(H1, H2\).*--instrument R2"):
        bench.run()


def test_a_clock_decision_on_a_rover_leaves_its_gps_track_alone(bench):
    bench.add("R2.csv", rover_text(clock_s=18.0), "rover", "R2")
    bench.add("R2.gpx", track_text(0.0), "track", "R2")
    bench.run()
    wrong = bench.readings()["northing_m"].drop_nulls().to_numpy()
    assert wrong[0] == pytest.approx(SOUTH + 18, abs=0.01)
    append_decision(
        open_folder(bench.path),
        kind="clock",
        target={"instrument": "R2"},
        value={"offset_s": 18.0},
        reason="showed GPS time",
        who="AB",
    )
    bench.run()
    np.testing.assert_allclose(bench.readings()["northing_m"], SOUTH + SECONDS, atol=0.01)


def test_a_second_base_at_another_spot_is_tied_where_both_recorded(bench):
    bench.add("R1.csv", rover_text(), "rover", "R1")
    bench.add("b1.csv", base_text(BASE_SECONDS), "base", "B1")
    bench.add("b2.csv", base_text(BASE_SECONDS, level=23_010.0), "base", "B2")
    bench.run()
    (found,) = bench.findings("base tie")
    assert "+60.00 nT against B1" in found.text
    assert "site_tie_nT = -60.00" in found.text
    assert found.severity == "information"
    bench.set("instruments.B2", site_tie_nT=-60.0)
    bench.run()
    assert not bench.findings("base tie")


def test_bases_that_never_met_are_told(bench):
    bench.add("b1.csv", base_text(BASE_SECONDS), "base", "B1")
    bench.add("b2.csv", base_text(BASE_SECONDS + 86_400, level=23_010.0), "base", "B2")
    bench.run()
    assert len(bench.findings("bases not tied")) == 1


def test_the_range_of_a_day_is_not_taken_across_bases(bench):
    from lodewalk.services.check import check

    bench.add("b1.csv", base_text(BASE_SECONDS), "base", "B1")
    bench.add("b2.csv", base_text(BASE_SECONDS, level=23_010.0), "base", "B2")
    (day,) = check(open_folder(bench.path)).days
    assert day.base.range_nT == pytest.approx(0.01 * 2090, abs=0.01)


def test_a_site_tie_is_added_to_its_base(bench):
    bench.add("R1.csv", rover_text(), "rover", "R1")
    bench.add("b1.csv", base_text(BASE_SECONDS), "base", "B1")
    bench.set("datum", value_nT=22_950.0)
    bench.set("instruments.B1", site_tie_nT=7.0)
    bench.run()
    np.testing.assert_allclose(
        bench.product("rover_diurnal").floats("diurnal_nT"), 0.01 * SECONDS + 7, atol=0.001
    )


def test_a_misspelt_instrument_section_is_told(bench):
    bench.add("b1.csv", base_text(BASE_SECONDS), "base", "B1")
    bench.set("instruments.b1", site_tie_nT=500.0)
    bench.run()
    (found,) = bench.findings("unknown instrument")
    assert "instruments.b1" in found.text


def test_a_single_wild_base_reading_does_not_reach_the_map(bench):
    bench.add("R1.csv", rover_text(), "rover", "R1")
    bench.add("b1.csv", base_text(BASE_SECONDS, spikes=[(100, 300.0)]), "base", "B1")
    bench.run()
    assert len(bench.findings("spike")) == 1
    diurnal = bench.product("rover_diurnal").floats("diurnal_nT")
    np.testing.assert_allclose(np.diff(diurnal), 0.01, atol=0.002)


def test_files_with_one_name_don_t_depend_on_the_order_of_adding(bench, tmp_path):
    from lodewalk.services.add import add_files
    from lodewalk.services.new import new_survey
    from lodewalk.services.run import run
    from lodewalk.survey.state import read_state

    sources = []
    for day in (0, 1):
        folder = tmp_path / str(day)
        folder.mkdir()
        file = folder / "rover.csv"
        file.write_text("\n".join(rover_text(SECONDS + 86_400 * day)) + "\n")
        sources.append(file)
    found = []
    for order in (sources, sources[::-1]):
        path = tmp_path / f"survey-{len(found)}"
        new_survey(path, name="Order", crs=CRS)
        for file in order:
            add_files(open_folder(path), [file], role="rover")
        run(open_folder(path))
        state = read_state(open_folder(path))
        found.append({n: s.digest for made in state.values() for n, s in made.products.items()})
    assert found[0] == found[1]


def test_a_file_added_again_with_another_zone_is_read_in_that_way(bench):
    local = ["time,total_field_nT"]
    moments = [datetime.fromtimestamp(1_773_144_000 + t, UTC) for t in range(60)]
    local += [f"{m:%Y-%m-%d %H:%M:%S},{22_900 + m.second / 10:.1f}" for m in moments]
    bench.add("base.csv", local, "base", "B1", time_zone="UTC")
    bench.run()
    first = bench.product("base_times").seconds("time_utc")[0]
    bench.add("base.csv", local, "base", "B1", time_zone="-03:00")
    bench.run()
    assert bench.product("base_times").seconds("time_utc")[0] - first == 3 * 3600
    with pytest.raises(InputError, match="in the survey already"):
        bench.add("base.csv", local, "base", "B1", time_zone="-03:00")


def test_a_time_that_the_clocks_skip_is_refused_with_its_line(bench):
    text = ["time,total_field_nT", "2026-03-29 00:59:50,48000.0", "2026-03-29 02:30:00,48000.1"]
    with pytest.raises(InputError, match=r"base\.csv, line 3: .*Europe/Berlin skips or repeats"):
        bench.add("base.csv", text, "base", time_zone="Europe/Berlin")
    assert not list((bench.path / "raw").glob("*.csv"))


def test_files_with_and_without_marks_of_one_rover_are_both_told_apart(bench):
    bench.add("R1.gpx", track_text(0.0, np.arange(0.0, 1000.0)), "track", "R1")
    bench.add("a.csv", rover_text(), "rover", "R1")
    unmarked = [",".join(row.split(",")[::2]) for row in rover_text(SECONDS + 400)]
    bench.add("b.csv", unmarked, "rover", "R1")
    bench.run()
    names = bench.readings()["line"].to_list()
    assert set(names[:300]) == {"L1"}
    assert names[450] == "R1-001"


def test_what_is_not_said_when_adding_again_stays(bench):
    text = [row.replace("Z,", ",").replace("time_utc", "time") for row in rover_text()]
    bench.add("R1.csv", text, "rover", "R1", time_zone="UTC")
    (again,) = bench.add("R1.csv", text, "rover", time_zone="-03:00").files
    assert (again.instrument, again.zone, again.stored_as) == ("R1", "-03:00", "raw/R1.csv")


def test_a_clock_decision_that_meets_nothing_is_told(bench):
    bench.add("R1.csv", rover_text(), "rover", "R1")
    append_decision(
        open_folder(bench.path),
        kind="clock",
        target={"instrument": "r1"},
        value={"offset_s": 18.0},
        reason="showed GPS time",
        who="AB",
    )
    bench.run()
    (found,) = bench.findings("decision without effect")
    assert found.text == "A decision of kind clock meets no reading: instrument r1."


def test_half_a_line_that_was_saved_does_not_save_the_other_half(bench):
    from lodewalk.services.check import check

    bench.add("base.csv", base_text(np.arange(-900.0, 310.0, 10.0)), "base", "B1")
    bench.add("R1.gpx", track_text(0.0, np.arange(0.0, 300.0)), "track", "R1")
    later = track_text(0.0, np.arange(0.0, 300.0)).replace("T14:0", "T15:0")
    assert "T15:0" in later
    bench.add("again.gpx", later, "track", "R1")
    bench.add("first.csv", rover_text(np.arange(0.0, 140.0)), "rover", "R1")
    second = [row.replace("T14:0", "T15:0") for row in rover_text(np.arange(150.0, 290.0))]
    bench.add("second.csv", second, "rover", "R1")
    found = check(open_folder(bench.path))
    assert [line.verdict for day in found.days for line in day.lines] == ["keep", "re-walk"]
    assert found.rewalk.length_m == pytest.approx(139, abs=1)


def test_two_bases_tell_the_activity_of_all_their_intervals(bench):
    from lodewalk.services.check import check

    bench.add("b1.csv", base_text(np.arange(-7200.0, 0.0, 10.0)), "base", "B1")
    bench.add("b2.csv", base_text(np.arange(-60.0, 9000.0, 10.0)), "base", "B2")
    (day,) = check(open_folder(bench.path)).days
    starts = [item["start_utc"] for item in day.base.activity]
    assert starts == ["2026-03-10T12:00:00Z", "2026-03-10T15:00:00Z"]
