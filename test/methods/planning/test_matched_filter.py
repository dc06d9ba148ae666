"""The detector is held against closed forms and noise that is drawn another way."""

from dataclasses import replace

import numpy as np
import pytest

from detection_survey import Case, Ground, noise_of, prepared, within_tolerance
from lodewalk.errors import InputError
from lodewalk.methods.bodies.target import Body, body_anomaly
from lodewalk.methods.planning.line_layout import parallel_lines, readings_on
from lodewalk.methods.planning.matched_filter import make_detector, scan_survey
from lodewalk.methods.planning.survey_noise import SurveyNoise

SPHERE = Case(
    "sphere", Body("sphere", 10.0, radius_m=4.0), (0.02, 0.02), 40_000, -50, 10,
    azimuth_deg=0.0, spacing_m=16.0, depth_factor=1.0, size_m=(96.0, 96.0),
)  # fmt: skip


def detector_of(case, readings=None, **changed):
    return make_detector(
        readings or parallel_lines(case.area, case.layout), case.area, prepared=prepared(case),
        noise=changed.get("noise", case.noise), spacing_m=case.spacing_m,
    )  # fmt: skip


def anomaly_of(case, readings, place):
    return body_anomaly(
        case.body, readings.easting_m - place[0], readings.northing_m - place[1],
        np.full(readings.line.size, case.height_m), ambient_nT=case.ambient,
        susceptibility=case.susceptibility[0],
    )  # fmt: skip


def test_white_noise_on_one_line_gives_the_signal_of_the_closed_form():
    # One line, no diurnal noise, no ground: s^2 = n sum (a - mean a)^2 / sigma^2 over blocks.
    readings = readings_on([(48.0, 0.0, 48.0, 96.0)], reading_interval_m=2.0)
    quiet = SurveyNoise(0.3, 0.4, 0.0)
    detector = detector_of(SPHERE, readings, noise=quiet)
    place = detector.places(np.array([[8, 8]]))[0]
    found = detector.templates(place, np.array([[8, 8]]), np.array([0]), (200.0, 200.0))
    blocks = detector.blocks
    template = body_anomaly(
        SPHERE.body, blocks.easting_m - place[0], blocks.northing_m - place[1],
        np.full(blocks.count.size, 2.0), ambient_nT=SPHERE.ambient, susceptibility=0.02,
    )  # fmt: skip
    mean = np.average(template, weights=blocks.count)
    signal = np.sqrt(np.sum(blocks.count * (template - mean) ** 2) / 0.25)
    assert found.gain[0] == pytest.approx(signal, rel=5e-3)


def test_the_level_of_each_line_is_free():
    readings = parallel_lines(SPHERE.area, SPHERE.layout)
    detector = detector_of(SPHERE, readings)
    value = anomaly_of(SPHERE, readings, (50.0, 40.0))
    levels = np.random.default_rng(1).normal(0, 30.0, readings.line.max() + 1)[readings.line]
    plain = scan_survey(detector, value)
    shifted = scan_survey(detector, value + levels + 500.0)
    assert np.abs(shifted.score - plain.score).max() < 0.15
    assert plain.score.max() > 10


def test_the_highest_score_lies_at_the_body():
    readings = parallel_lines(SPHERE.area, SPHERE.layout)
    detector = detector_of(SPHERE, readings)
    for place in ((50.0, 40.0), (33.0, 71.0), (60.0, 20.0)):
        scan = scan_survey(detector, anomaly_of(SPHERE, readings, place))
        assert np.hypot(*(scan.place_m[scan.score.argmax()] - place)) < 6.0


def test_noise_drawn_another_way_has_scores_of_unit_variance():
    case = replace(SPHERE, tie_spacing_m=48.0, soil=(0.5, 4.0))
    readings = parallel_lines(case.area, case.layout)
    detector = detector_of(case, readings)
    ground = Ground(case, readings.easting_m, readings.northing_m)
    rng = np.random.default_rng(4)
    noise = np.array([noise_of(case, readings, ground, rng) for _ in range(600)])
    means = detector.blocks.means(noise - 40.0)
    scores = np.hstack([tile.scores(means) for tile in detector.tiles()])
    assert np.sqrt(np.mean(scores**2)) == pytest.approx(1.0, abs=0.03)
    assert np.abs(np.mean(scores, axis=0)).max() < 5 / np.sqrt(600)


def test_nodes_near_a_place_are_those_within_the_tolerance():
    detector = detector_of(SPHERE)
    tiles = np.vstack([tile.place_m for tile in detector.tiles()])
    for place in ((50.0, 40.0), (3.0, 90.0)):
        near = detector.places(detector.nodes_near(place))
        own = tiles[within_tolerance(detector, tiles, np.array(place))]
        assert len(near) == len(own)
        assert np.sort(near, axis=0) == pytest.approx(np.sort(own, axis=0))


def test_an_area_without_size_is_told():
    readings = parallel_lines(SPHERE.area, SPHERE.layout)
    with pytest.raises(InputError, match="must have a size"):
        make_detector(
            readings, [(0, 0), (1, 1), (2, 2)], prepared=prepared(SPHERE), noise=SPHERE.noise,
            spacing_m=10.0,
        )  # fmt: skip


def test_a_place_without_readings_has_no_templates():
    detector = detector_of(SPHERE, readings_on([(0.0, 0.0, 0.0, 10.0)]))
    node = np.array([[15, 15]])
    assert detector.templates(detector.places(node)[0], node, np.array([0]), (1.0, 1.0)) is None
