import subprocess
import sys
import threading

import matplotlib as mpl
import numpy as np
import pytest

from lodewalk.figures.field import COLOUR_MAP
from lodewalk.figures.style import (
    CURVE,
    FILL,
    INK,
    MARKS,
    QUIET,
    drawing,
    multiples,
    text_width_mm,
    thinned,
    wrapped,
)


def linear(colour):
    """Return linear red, green, blue of an sRGB colour (IEC 61966-2-1)."""
    value = np.asarray(mpl.colors.to_rgb(colour))
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def luminance(colour):
    """Return relative luminance (WCAG 2.1, section 'relative luminance')."""
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one, two):
    """Return the contrast ratio (WCAG 2.1, success criterion 1.4.3)."""
    high, low = sorted((luminance(one), luminance(two)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("mark", MARKS.values(), ids=lambda mark: mark.word)
def test_verdicts_read_on_white_and_on_their_tint(mark):
    assert contrast(mark.colour, "white") >= 4.5
    assert contrast(mark.colour, mark.tint) >= 4.5


@pytest.mark.parametrize("colour", [INK, QUIET, CURVE])
def test_text_colours_read_on_white(colour):
    assert contrast(colour, "white") >= 4.5


def test_fill_is_seen_on_white():
    assert contrast(FILL, "white") >= 3  # WCAG 2.1, 1.4.11


def test_keep_and_doubt_differ_by_sign_and_word():
    verdicts = [MARKS[word] for word in ("keep", "doubt", "re-walk")]
    assert len({mark.sign for mark in verdicts}) == 3


def test_colour_map_rises_evenly_in_lightness():
    """Lightness alone orders the values, so no kind of colour vision loses them."""
    colours = mpl.colormaps[COLOUR_MAP](np.linspace(0, 1, 64))[:, :3]
    y = np.array([luminance(colour) for colour in colours])
    lightness = np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)  # CIE 15
    step = np.diff(lightness)
    assert step.min() > 0
    assert step.max() < 1.6 * step.mean()


def test_thinned_keeps_peaks_ends_and_breaks():
    along = np.arange(50_000.0)
    value = np.sin(along / 500)
    value[12_345], value[23_456], value[30_000] = 99.0, -99.0, np.nan
    x, y = thinned(along, value, bins=500)
    assert x.size < 2000
    assert np.nanmax(y) == 99.0
    assert np.nanmin(y) == -99.0
    assert np.isnan(y).sum() == 1
    assert (x[0], x[-1]) == (0.0, 49_999.0)
    assert (np.diff(x) > 0).all()


def test_wrapped_fits_and_cuts():
    text = "The absolute level of the map rests on one value at the base and on nothing else"
    rows = wrapped(text, 40)
    assert " ".join(rows) == text
    assert all(text_width_mm(row) <= 40 for row in rows)
    cut = wrapped(text, 40, most=1)
    assert len(cut) == 1
    assert cut[0].endswith("…")
    assert text_width_mm(cut[0]) <= 40
    assert text_width_mm(wrapped("x" * 200, 40)[0]) <= 40


def test_multiples_hold_their_ends():
    assert multiples(-100, 200, 100).tolist() == [-100, 0, 100, 200]
    assert multiples(0.05, 0.31, 0.1) == pytest.approx([0.1, 0.2, 0.3])


def test_settings_of_the_caller_come_back():
    before = dict(mpl.rcParams)
    with drawing():
        assert mpl.rcParams["pdf.fonttype"] == 42
    assert dict(mpl.rcParams) == before


def test_a_second_thread_waits_its_turn():
    before = dict(mpl.rcParams)
    entered = threading.Event()

    def work():
        with drawing():
            entered.set()

    thread = threading.Thread(target=work)
    with drawing():
        thread.start()
        assert not entered.wait(0.2)
    thread.join()
    assert entered.is_set()
    assert dict(mpl.rcParams) == before


def test_figures_never_load_pyplot():
    code = "import sys, lodewalk.figures; print('matplotlib.pyplot' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"
