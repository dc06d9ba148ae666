"""Faults and culture planted into seeded walks over spheres and dykes, and found again.

Fields are closed forms written here: the projected total-field anomaly of a dipole magnetised
along the inducing field, 100 m (3 cos^2 - 1) / r^3 nT, of an upright dipole of any moment, and of
a thick dyke that strikes across the lines (Reford 1964 and others).
"""

from dataclasses import dataclass, field

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.culture import CAUSES, Notes, classify_rover

NOISE = 0.25
SENSOR = 1.8
IRON = ("surface iron", "compact source", "fence or power line")


@dataclass
class Walk:
    """A walk over parallel lines, and what was planted in it."""

    time: np.ndarray
    east: np.ndarray
    north: np.ndarray
    line: np.ndarray
    clean: np.ndarray
    value: np.ndarray
    quality: np.ndarray
    planted: dict = field(default_factory=dict)

    def given(self, **more):
        """Return the arguments of `classify_rover`."""
        names = {"easting_m": self.east, "northing_m": self.north, "sensor_height_m": SENSOR}
        return classify_rover(self.time, self.value, self.line, **{**names, **more})


def dipole(east, north, at, below, peak, direction):
    """Return a dipole's field, its largest value at the sensor's height being `peak`."""
    to = np.stack([east - at[0], north - at[1], np.full(east.size, -below)], axis=-1)
    distance = np.linalg.norm(to, axis=-1)
    cosine = to @ direction / distance
    return peak * below**3 / 2 * (3 * cosine**2 - 1) / distance**3


def dyke(north, at, half, top, size, dip, slant):
    """Return the field of a thick dyke; `slant` is twice the angle of the field in its plane."""
    one, two = north - at - half, north - at + half
    angle = np.arctan2(two, top) - np.arctan2(one, top)
    ratio = np.log(np.hypot(one, top) / np.hypot(two, top))
    return size * (angle * np.sin(slant - dip) + ratio * np.cos(slant - dip))


def walk(seed, *, lines=6, length=250.0, spacing=20.0, bodies=12):
    """Return a walk at 1 Hz and about 1.1 m/s over spheres and two dykes, before any fault."""
    rng = np.random.default_rng(seed)
    steps = 1.1 * (1 + 0.06 * rng.normal(size=(lines, int(length / 1.05))))
    along = np.cumsum(steps, axis=1) - 5
    count = along.shape[1]
    along[1::2] = along[1::2, ::-1]
    north = along.ravel()
    line = np.repeat(np.arange(lines), count)
    east = line * spacing + np.tile(0.4 * np.sin(np.arange(count) / 30), lines)
    time = np.arange(line.size) + 60.0 * line
    inclination = np.deg2rad(rng.uniform(-80, 80))
    direction = np.array([0.3 * np.cos(inclination), 0.95 * np.cos(inclination), 0])
    direction[2] = np.sqrt(1 - direction @ direction) * np.sign(inclination)
    clean = 23_000 + 5 * np.sin(time / 900)
    for _ in range(bodies):
        radius = rng.uniform(0.3, 1.2)
        below = SENSOR + radius + rng.exponential(1.5)
        place = rng.uniform([0, 0], [lines * spacing, length])
        clean = clean + dipole(east, north, place, below, rng.uniform(5, 150), direction)
    for _ in range(2):
        top = SENSOR + rng.uniform(1, 8)
        size = rng.uniform(20, 150)
        parts = (rng.uniform(1, 8), top, size, rng.uniform(0.8, 2.3), rng.uniform(0, 6))
        clean = clean + dyke(north, rng.uniform(0, length), *parts)
    value = clean + rng.normal(scale=NOISE, size=clean.size)
    quality = np.round(rng.normal(0.97, 0.005, clean.size), 2)
    return Walk(time, east, north, line, clean, value, quality)


def plant(found, seed, *, spikes=12):
    """Plant spikes, a dropout with noisy edges, a burst and a shift, well apart."""
    rng = np.random.default_rng([seed, 1])
    count = found.value.size
    places = rng.permutation(np.arange(40, count - 80, 60))
    steps = np.diff(found.line[np.clip(places[:, np.newaxis] + [-12, 45], 0, count - 1)]).ravel()
    places = places[steps == 0]
    spike = np.zeros(count, dtype=bool)
    for at in places[3 : 3 + spikes]:
        width = rng.integers(1, 3)
        near = found.clean[at - 4 : at + 5]
        rough = np.abs(np.diff(near, 2)).max()
        size = max(10 * NOISE, 3 * rough) * np.exp(rng.uniform(0, 2.5)) * rng.choice([-1, 1])
        found.value[at : at + width] += size
        spike[at : at + width] = True
    lost = slice(places[0], places[0] + 30)
    found.value[lost] = 0.0
    found.quality[lost] = 0.0
    edges = np.r_[places[0] - 6 : places[0], places[0] + 30 : places[0] + 36]
    found.value[edges] += rng.normal(scale=60, size=12)
    found.quality[edges] = rng.uniform(0.1, 0.35, 12)
    burst = slice(places[1], places[1] + 14)
    found.value[burst] += rng.normal(scale=20, size=14)
    shift = slice(places[2], places[2] + rng.integers(4, 40))
    found.value[shift] += rng.choice([-1, 1]) * rng.uniform(60, 400)
    gone = np.zeros(count, dtype=bool)
    gone[lost] = gone[edges] = True
    found.planted = {"spike": spike, "dropout": gone}
    for name, part in (("burst", burst), ("shift", shift)):
        found.planted[name] = np.zeros(count, dtype=bool)
        found.planted[name][part] = True
    return found


def add_fence(found, seed, *, north=120.0, skew=0.03, every=3.0):
    """Stand a fence of steel posts across all lines; return where it runs."""
    rng = np.random.default_rng([seed, 2])
    for east in np.arange(-20, found.east.max() + 20, every):
        up = np.array([0, 0, 1.0])
        peak = 200 * rng.normal(1.6, 0.5) / 1.1**3
        found.value += dipole(found.east, found.north, (east, north + skew * east), 1.1, peak, up)
    return found


def share(seeds, make):
    """Return the share of planted readings that are dropped, by kind, and of sound ones."""
    counts = {}
    for seed in seeds:
        found = make(seed)
        events = found.given(quality=found.quality)
        bad = np.logical_or.reduce(list(found.planted.values()))
        steep = np.abs(np.gradient(found.clean))
        sound = ~bad
        steepest = sound & (steep >= np.quantile(steep[sound], 0.9))
        for name, marks in {**found.planted, "sound": sound, "steepest": steepest}.items():
            hit, all_ = counts.get(name, (0, 0))
            counts[name] = (hit + events.dropped[marks].sum(), all_ + marks.sum())
    return {name: hit / all_ for name, (hit, all_) in counts.items()}


def test_planted_faults_are_found_and_sound_readings_kept():
    found = share(range(12), lambda seed: plant(walk(seed), seed))
    assert found["spike"] >= 0.95
    assert found["dropout"] >= 0.99
    assert found["burst"] >= 0.85
    assert found["shift"] >= 0.85
    assert found["sound"] <= 0.001
    assert found["steepest"] <= 0.02


def test_no_body_below_ground_is_cut_or_called_iron():
    for seed in range(20, 26):
        found = walk(seed, bodies=30)
        events = found.given()
        assert events.dropped.mean() <= 0.0005
        assert not np.isin(events.cause, ["fence or power line", "loss of lock"]).any()
        assert (events.cause == "surface iron").sum() <= 1


def test_a_fence_is_one_course():
    found = add_fence(walk(3, lines=10), 3)
    events = found.given()
    assert len(events.features) == 1
    assert events.features.lines[0] >= 7
    north = events.features.start_northing_m[0], events.features.end_northing_m[0]
    east = events.features.start_easting_m[0], events.features.end_easting_m[0]
    assert np.allclose(north, 120 + 0.03 * np.array(east), atol=3)
    fence = events.cause == "fence or power line"
    assert not events.drop[fence].any()
    assert (events.feature[fence] == 0).all()
    assert np.array_equal(fence, events.features.member == 0)


def test_fences_across_five_lines_and_none_where_there_is_none():
    """Readings right above a post look like spikes; in a course they are part of it."""
    with_one = [add_fence(walk(s, lines=5), s).given() for s in range(714, 724)]
    without = [walk(s).given() for s in range(714, 724)]
    assert sum(len(events.features) == 1 for events in with_one) >= 9
    assert all(len(events.features) == 0 for events in without)
    fence = [events.cause == "fence or power line" for events in with_one]
    assert not any(events.drop[own].any() for events, own in zip(with_one, fence, strict=True))


def test_iron_beside_the_path_is_told_by_its_width_and_kept():
    found = walk(5, bodies=0)
    at = 400
    place = (found.east[at] + 0.2, found.north[at] + 0.3)
    found.value += dipole(found.east, found.north, place, 1.2, 150.0, np.array([0, 0, 1.0]))
    events = found.given()
    number = events.event_of_row[at]
    assert events.cause[number] == "surface iron"
    assert events.probability[number] > 0.9
    assert not events.dropped[at]
    assert events.depth_m[number] == pytest.approx(1.22, rel=0.2)
    # An upright dipole's full width is 1.0014 of its distance (z = 1.997 half widths); readings
    # 1.1 m apart leave it uncertain, but never as wide as a source below ground.
    assert 0.6 <= events.width_m[number] <= SENSOR


def test_a_beat_has_its_aliased_frequency():
    found = walk(6, lines=1, length=900.0, bodies=2)
    rng = np.random.default_rng(6)
    stretch = slice(200, 500)
    # Mains of 50.31 Hz, read each second: 50.31 - 50 f_s.
    found.value[stretch] += 2 * np.sin(2 * np.pi * 0.31 * found.time[stretch] + rng.uniform(0, 6))
    events = found.given()
    beat = events.cause == "mains beating"
    assert beat.sum() == 1
    assert events.frequency_Hz[beat] == pytest.approx(0.31, abs=0.01)
    assert not events.drop[beat].any()
    assert events.first[beat] < 300
    assert events.last[beat] > 400


def test_notes_multiply_odds_by_ten_and_name_the_cause():
    found = walk(5, bodies=0)
    found.value[200] += 40
    east, north = found.east[200] + 5, found.north[200]
    plain = found.given()
    noted = found.given(notes=Notes(["fence"], [east], [north]))
    far = found.given(notes=Notes(["fence"], [east + 100], [north]))
    number = plain.event_of_row[200]
    assert plain.cause[number] == "isolated spike"
    before, after = plain.probability[number], noted.probability[number]
    assert before / (1 - before) == pytest.approx(10 * after / (1 - after))
    assert far.probability[number] == before
    at = 400
    place = (found.east[at] + 0.2, found.north[at] + 0.3)
    found.value += dipole(found.east, found.north, place, 1.7, 150.0, np.array([0, 0, 1.0]))
    when = Notes(["car"], [np.nan], [np.nan], [found.time[at] + 20])
    plain, noted = found.given(), found.given(notes=when)
    number = plain.event_of_row[at]
    assert noted.note[number] == "car"
    before, after = plain.probability[number], noted.probability[number]
    assert after / (1 - after) == pytest.approx(10 * before / (1 - before))


def test_a_dead_zone_keeps_to_one_heading():
    found = walk(7, lines=8, bodies=2)
    rng = np.random.default_rng(7)
    for number in range(1, 8, 2):
        for start in np.flatnonzero(found.line == number)[30::60]:
            found.quality[start : start + 8] = 0.2
            found.value[start : start + 8] += rng.normal(scale=30, size=8)
    events = found.given(quality=found.quality)
    assert (events.cause[events.drop] == "dead zone").mean() > 0.9
    assert events.dropped[found.quality < 0.5].all()


def test_undo_order_and_instruments():
    found = add_fence(plant(walk(8, lines=10), 8), 8, every=5.0)
    before = found.value.copy()
    events = found.given(quality=found.quality)
    assert np.array_equal(found.value, before)
    assert set(events.cause) <= set(CAUSES)
    assert (np.diff(events.first) >= 0).all()
    # Two instruments whose rows are shuffled together give the same marks.
    two = (found.line >= 5).astype(int)
    mixed = np.random.default_rng(1).permutation(found.value.size)
    parts = {
        "easting_m": found.east,
        "northing_m": found.north,
        "quality": found.quality,
        "instrument": two,
    }
    columns = {name: part[mixed] for name, part in parts.items()}
    shuffled = classify_rover(
        found.time[mixed], found.value[mixed], found.line[mixed], sensor_height_m=SENSOR, **columns
    )
    straight = found.given(quality=found.quality, instrument=two)
    assert np.array_equal(shuffled.dropped, straight.dropped[mixed])
    assert len(shuffled) == len(straight)
    assert len(shuffled.features) == len(straight.features) == 1


def test_missing_values_places_and_short_records():
    found = plant(walk(9), 9)
    found.value[50:53] = np.nan
    nowhere = np.full(found.value.size, np.nan)
    events = found.given(easting_m=nowhere, northing_m=nowhere, quality=nowhere)
    assert events.dropped[found.planted["dropout"]].mean() > 0.7
    assert len(events.features) == 0
    for count in (0, 1, 4):
        few = np.arange(float(count))
        none = classify_rover(few, few, few, easting_m=few, northing_m=few, sensor_height_m=SENSOR)
        assert none.dropped.tolist() == [False] * count or (few == 0).any()
    gone = classify_rover([0, 1], [np.nan] * 2, [0, 0], easting_m=[0, 1], northing_m=[0, 0],
                          sensor_height_m=SENSOR)  # fmt: skip
    assert len(gone) == 0


def test_bad_input():
    parts = {"easting_m": [0, 1], "northing_m": [0, 0], "sensor_height_m": 1.8}
    with pytest.raises(InputError, match="same length"):
        classify_rover([0, 1], [1], [0, 0], **parts)
    with pytest.raises(InputError, match="must increase"):
        classify_rover([0, 0], [1, 1], [0, 0], **parts)
    with pytest.raises(InputError, match="above zero"):
        classify_rover([0, 1], [1, 1], [0, 0], **{**parts, "sensor_height_m": 0})
    with pytest.raises(InputError, match="one of fence"):
        Notes(["cow"], [0], [0])
    with pytest.raises(InputError, match="same length"):
        Notes(["car"], [0, 1], [0])
