"""A survey over a dipole: what a total-field instrument tells of it, in closed form, anew."""

import numpy as np

from dyked_survey import Dyke
from lodewalk.methods.bodies import ambient_vector
from small_survey import SOUTH, WEST

#: Depth below the sensor [m], moment towards north, east and down, off the field [A m2].
DEPTH, MOMENT = 16.0, np.array([4000.0, 3000.0, 500.0])
PLACE = (WEST + 47.0, SOUTH + 118.0)
#: The field there by the independent library [nT, degrees].
STRENGTH, INCLINATION, DECLINATION = 22_950.0, -38.8, -19.6


class Ball(Dyke):
    """A dipole in place of the dyke; `times` its moment."""

    times = 1.0

    def across(self, east, north):
        return east, north

    def curve(self, x):
        """mu0 / 4 pi (3 (m.r) r / r^5 - m / r^3) in nT, and the difference of magnitudes."""
        away = np.stack([x[1] - PLACE[1], x[0] - PLACE[0], np.full(x[0].shape, -DEPTH)])
        far, moment = np.linalg.norm(away, axis=0), self.times * MOMENT
        field = 100.0 * (3 * away * (moment @ away) / far**5 - moment[:, None] / far**3)
        main = ambient_vector(
            strength_nT=STRENGTH, inclination_deg=INCLINATION, declination_deg=DECLINATION
        )
        return np.linalg.norm(main[:, None] + field, axis=0) - STRENGTH


class StrongBall(Ball):
    """One whose anomaly is over 5 % of the field."""

    times = 25.0
