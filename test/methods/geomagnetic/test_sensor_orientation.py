"""How to carry sensors, by vectors."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic.sensor_orientation import proton_axis, pumped_tilt


def field(inclination):
    dip = np.radians(inclination)
    return np.array([np.cos(dip), 0.0, np.sin(dip)])


@pytest.mark.parametrize("inclination", [-80.0, -40.0, 0.0, 30.0, 60.0, 90.0])
def test_worst_signal_of_a_coil_by_turning_it(inclination):
    """|axis x field|^2 for all facings of a level axis, and for an upright one."""
    found = proton_axis(inclination)
    facings = np.radians(np.arange(0, 360, 1.0))
    if found.any_facing == "level":
        axes = np.column_stack([np.cos(facings), np.sin(facings), np.zeros(360)])
    else:
        axes = np.array([[0.0, 0.0, 1.0]])
    signal = np.sum(np.cross(axes, field(inclination)) ** 2, axis=1)
    assert found.any_facing_signal == pytest.approx(signal.min(), abs=1e-9)
    assert signal.min() >= 0.5 - 1e-9
    east = np.cross([0.0, 1.0, 0.0], field(inclination))
    assert np.sum(east**2) == pytest.approx(1.0)


@pytest.mark.parametrize("inclination", [-70.0, -25.0, 0.0, 20.0, 45.0, 68.0, 89.0])
@pytest.mark.parametrize("line", [0.0, 30.0, 90.0, 150.0])
def test_angles_of_a_tilted_sensor_by_rotating_it(inclination, line):
    found = pumped_tilt(inclination, line_from_magnetic_north_deg=line)
    angles = []
    for facing in (line, line + 180.0):
        turn = np.radians(facing + (90.0 if found.towards == "sideways" else 0.0))
        tilt = np.radians(found.tilt_deg)
        axis = [np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)]
        angle = np.degrees(np.arccos(np.clip(np.dot(axis, field(inclination)), -1, 1)))
        angles.append(min(angle, 180.0 - angle))
    assert [found.angle_out_deg, found.angle_back_deg] == pytest.approx(angles, abs=1e-6)
    assert found.usable == (min(angles) > 20.0 and max(angles) < 70.0)


def test_at_45_degrees_upright_is_right():
    found = pumped_tilt(45.0, line_from_magnetic_north_deg=17.0)
    assert (found.tilt_deg, found.towards) == (0.0, "none")
    assert found.angle_out_deg == pytest.approx(45.0)


@pytest.mark.parametrize("inclination", [50.0, -65.0, 80.0])
def test_on_steep_fields_a_tilt_across_the_meridian_gives_45_both_ways(inclination):
    """cos 45 = cos(tilt) sin I, by hand; sideways on north lines, ahead on east lines."""
    tilt = np.degrees(np.arccos(np.cos(np.pi / 4) / abs(np.sin(np.radians(inclination)))))
    for line, towards in ((0.0, "sideways"), (90.0, "ahead")):
        found = pumped_tilt(inclination, line_from_magnetic_north_deg=line)
        assert found.towards == towards
        # The least tilt within a degree of the best angle: a little less than the exact one.
        assert tilt - 3.0 < found.tilt_deg < tilt + 0.5
        assert found.angle_out_deg == pytest.approx(45.0, abs=1.5)
        assert found.usable


def test_at_the_equator_45_degrees_towards_north():
    found = pumped_tilt(0.0, line_from_magnetic_north_deg=0.0)
    assert found.towards == "ahead"
    assert found.tilt_deg == pytest.approx(45.0, abs=1.5)
    assert found.angle_back_deg == pytest.approx(found.angle_out_deg)


def test_bad_inclination():
    with pytest.raises(InputError, match="Inclination must lie"):
        proton_axis(100.0)
    with pytest.raises(InputError, match="Inclination must lie"):
        pumped_tilt(-100.0, line_from_magnetic_north_deg=0.0)
