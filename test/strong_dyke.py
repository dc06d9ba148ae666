"""The field of a strongly magnetic upright dyke, from its magnetic poles, in closed form.

A line of poles of strength s makes 200 s r / r^2 nT; the top of a bottomless dyke carries the
poles of the magnetisation down, its sides those of the one across. What an instrument tells is the
magnitude of the whole field less that of the ambient one. Invented numbers.
"""

from dataclasses import dataclass

import numpy as np

DEEP = 1e6


@dataclass(frozen=True)
class StrongDyke:
    """Depth below the sensor and half width [m]; magnetisation across and down [A/m]."""

    depth: float
    half: float
    across: float
    down: float
    strength: float
    inclination: float
    azimuth: float

    def field(self, x):
        """Return the field across and down [nT]."""
        left, right = x + self.half, x - self.half
        pole = -self.down
        across = 100.0 * pole * np.log((left**2 + self.depth**2) / (right**2 + self.depth**2))
        down = -200.0 * pole * (np.arctan(left / self.depth) - np.arctan(right / self.depth))
        for u, side in ((right, self.across), (left, -self.across)):
            across = across + 200.0 * side * (np.arctan2(u, self.depth) - np.arctan2(u, DEEP))
            down = down - 100.0 * side * np.log((u**2 + DEEP**2) / (u**2 + self.depth**2))
        return across, down

    def anomaly(self, x):
        """Return the difference of magnitudes [nT]."""
        across, down = self.field(x)
        tilt, turn = np.radians([self.inclination, self.azimuth])
        level = self.strength * np.cos(tilt)
        main = (level * np.cos(turn), level * np.sin(turn), self.strength * np.sin(tilt))
        return (
            np.sqrt((main[0] + across) ** 2 + main[1] ** 2 + (main[2] + down) ** 2) - self.strength
        )


def strong_dyke(rng, *, peak=(0.2, 0.4)):
    """Return a dyke whose largest anomaly is a share of the field between two."""
    half = float(np.exp(rng.uniform(np.log(1.0), np.log(15.0))))
    angle = rng.uniform(0.0, 2.0 * np.pi)
    about = (float(rng.uniform(25e3, 60e3)), float(rng.uniform(20.0, 80.0) * rng.choice([-1, 1])),
             float(rng.uniform(-60.0, 60.0)))  # fmt: skip
    x = np.linspace(-60.0, 60.0, 241)
    wanted, low, high = rng.uniform(*peak) * about[0], 0.01, 1e4
    for _ in range(60):
        size = float(np.sqrt(low * high))
        made = StrongDyke(10.0, half, size * np.cos(angle), size * np.sin(angle), *about)
        found = abs(made.anomaly(x)).max()
        low, high = (size, high) if found < wanted else (low, size)
    return made
