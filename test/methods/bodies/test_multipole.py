"""The compact body from afar against blocks, and its derivatives."""

import numpy as np

from lodewalk.methods.bodies import prisms_field
from lodewalk.methods.bodies.multipole import shaped_dipole_field, shaped_dipole_slopes

POINT = (np.array([-35.0, 3.0, 14.5, 60.0]), np.array([2.0, -41.0, 6.0, 33.0]), np.zeros(4))
CENTRE, MOMENT = np.array([4.0, -3.0, -25.0]), np.array([800.0, -350.0, 1200.0])
SHAPE = np.array([9.0, -4.0, 5.0, -6.0, 3.0])


def test_far_from_a_block_the_rest_falls_as_the_fourth_order():
    rest = []
    for far in (40.0, 80.0):
        own = np.array([0.3, -0.8, 1.0])
        where = far * np.array([[0.3, -0.6], [0.4, 0.5], [0.8, 0.7]])
        block = prisms_field(*where, bounds=[[-4, 4, -7, 7, -3, 3]], magnetisation=own)
        mean = np.array([49.0, 16.0, 9.0]) / 3.0
        shape = [*(mean[:2] - mean.mean()), 0.0, 0.0, 0.0]
        field = shaped_dipole_field(
            *where, centre=[0, 0, 0], moment=own * 8 * 14 * 6, shape_m2=shape
        )
        rest.append(np.abs(np.array(field) - np.array(block)).max() / np.abs(block).max())
    assert rest[1] < 3e-4
    assert 12.0 < rest[0] / rest[1] < 20.0


def test_slopes_by_differences():
    values = np.concatenate([CENTRE, MOMENT, SHAPE])

    def field(v):
        return np.array(shaped_dipole_field(*POINT, centre=v[:3], moment=v[3:6], shape_m2=v[6:]))

    found = shaped_dipole_slopes(*POINT, centre=CENTRE, moment=MOMENT, shape_m2=SHAPE)
    for i in range(11):
        step = np.zeros(11)
        step[i] = 1e-3
        parts = [field(values + k * step) for k in (-2, -1, 1, 2)]
        expected = (parts[0] - 8 * parts[1] + 8 * parts[2] - parts[3]) / 12e-3
        largest = np.abs(expected).max()
        np.testing.assert_allclose(found[i], expected, rtol=1e-6, atol=1e-8 * largest)
