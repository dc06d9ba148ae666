"""Settings: one table checks, writes and documents them."""

import re
import tomllib

import pytest

from lodewalk.errors import SettingsError
from lodewalk.survey.settings import check_settings, picked, read_settings, settings_text
from lodewalk.survey.settings_table import SECTIONS, Instrument, OlderSurvey

LEAST = {"survey": {"name": "North hill", "crs": "EPSG:31982"}}


def written(tmp_path, text):
    path = tmp_path / "survey.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_written_settings_read_back(tmp_path):
    values = LEAST | {
        "instruments": {"R 1": {"sensor_height_m": 1.8}},
        "datum": {"value_nT": 22900},
    }
    settings = read_settings(written(tmp_path, settings_text(values)))
    assert settings.survey.name == "North hill"
    assert settings.instrument("R 1").sensor_height_m == 1.8
    assert settings.instrument("other").sensor_height_m == 2.0
    assert settings.datum.value_nT == 22900


def test_each_default_in_the_written_file_is_the_true_default():
    lines = [line.removeprefix("# ") for line in settings_text(LEAST).splitlines()]
    kept = [line for line in lines if re.match(r"\[|\w+ = .", line)]
    shown = check_settings(tomllib.loads("\n".join(kept)))
    assert shown.instruments == {"NAME": Instrument()}
    assert shown.older == {"NAME": OlderSurvey()}
    named = {"instruments", "older"}
    assert shown.model_dump(exclude=named) == check_settings(LEAST).model_dump(exclude=named)


def test_every_setting_has_help_and_stands_in_the_file():
    text = settings_text(LEAST)
    for section in SECTIONS.values():
        for name, field in section.model_fields.items():
            assert field.description
            assert f"{name} =" in text


@pytest.mark.parametrize(
    ("addition", "message"),
    [
        (
            "[diurnal]\nmax_gap_s = -4",
            r"survey\.toml, line 5: Setting diurnal\.max_gap_s: .*Found -4",
        ),
        (
            '[fits]\nmagnetisation = "given"\n[transforms]\nmagnetisation_inclination_deg = 40.0',
            r"survey\.toml, line 5: Setting fits\.magnetisation: .*needs its direction.*"
            r"Set magnetisation_declination_deg in \[transforms\]",
        ),
        (
            "[diurnal]\ngap = 4",
            r"line 5: .*no such setting.*Names here are interpolation, max_gap_s",
        ),
        ('[diurnal]\ninterpolation = "spline"', r"line 5.*'linear', 'akima' or 'monotone'"),
        ("[grids]\n", r"Setting grids: There is no such setting"),
        (
            "[instruments.R1]\nsensor_height_m = 40",
            r"line 5: Setting instruments\.R1\.sensor_height_m",
        ),
        ("x = ", r"survey\.toml.*not valid TOML"),
    ],
)
def test_a_wrong_setting_is_one_clear_error(tmp_path, addition, message):
    text = f'[survey]\nname = "A"\ncrs = "EPSG:31982"\n{addition}\n'
    with pytest.raises(SettingsError, match=message):
        read_settings(written(tmp_path, text))


def test_a_missing_name_is_told():
    with pytest.raises(SettingsError, match=r"survey\.crs: This setting is needed"):
        check_settings({"survey": {"name": "A"}})


def test_picked_settings_follow_the_star():
    settings = check_settings(
        LEAST | {"instruments": {"b": {"site_tie_nT": 2.0}, "a": {"sensor_height_m": 1.0}}}
    )
    assert picked(settings, ("instruments.*.site_tie_nT",)) == {
        "instruments.*.site_tie_nT": {"*": None, "a": None, "b": 2.0}
    }


@pytest.mark.parametrize(
    ("grid", "rule"),
    [
        ({"height_m": 20.0}, "height_m has an effect with method"),
        ({"method": "cubic", "tension": 0.5}, "tension has an effect with method"),
        ({"method": "equivalent sources", "damping_m2": 1.0}, "damping_m2 has an effect"),
    ],
)
def test_a_setting_that_the_engine_would_ignore_is_refused(grid, rule):
    with pytest.raises(SettingsError, match=rule):
        check_settings(LEAST | {"grid": grid})
    check_settings(LEAST | {"grid": {"method": "equivalent sources", "height_m": 20.0}})


@pytest.mark.parametrize(
    ("own", "error"),
    [({}, 0.3), ({"sensor_height_m": 2.0}, 0.1), ({"sensor_height_sd_m": 0.05}, 0.05)],
)
def test_a_height_that_nobody_measured_is_less_sure(own, error):
    """Common practice: 0.1 m for a measured height, 0.3 m for the usual one."""
    name = "instruments.*.sensor_height_sd_m"
    told = picked(
        check_settings(
            {"survey": {"name": "A", "crs": "EPSG:31982"}, "instruments": {"rover": own}}
        ),
        (name,),
    )
    assert told[name] == {"*": 0.3, "rover": error}
