"""The map's colours are those of the figures, and what is chosen has one of its own."""

import base64
import colorsys
import re
from importlib.resources import files

import matplotlib as mpl
import numpy as np
import pytest

from lodewalk.figures.field import COLOUR_MAP


def test_the_pages_have_the_colours_of_the_figures():
    text = (files("lodewalk.web") / "static" / "colours.js").read_text()
    held = np.frombuffer(base64.b64decode(re.search(r'"([^"]+)"', text)[1]), dtype=np.uint8)
    wanted = np.array([mpl.colormaps[COLOUR_MAP](place)[:3] for place in range(256)])
    assert np.array_equal(held.reshape(256, 3), np.round(255 * wanted).astype(np.uint8))


def test_in_the_dark_what_is_chosen_has_no_hue_of_a_verdict():
    text = (files("lodewalk.web") / "static" / "base.css").read_text()
    dark = dict(re.findall(r"--(\w+): (#\w{6});", text.split('data-theme="dark"')[1].split("}")[0]))
    hue = {
        name: 360
        * colorsys.rgb_to_hsv(*(int(dark[name][n : n + 2], 16) / 255 for n in (1, 3, 5)))[0]
        for name in ("mark", "good", "doubt", "bad")
    }
    own = hue.pop("mark")
    assert min(abs((own - other + 180) % 360 - 180) for other in hue.values()) > 40


def contrast(one, other):
    """Return the ratio of the lightness of two opaque colours, as WCAG 2 defines it."""
    shares = np.array([one, other], dtype=float) / 255
    linear = np.where(shares <= 0.03928, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)
    low, high = sorted(linear @ (0.2126, 0.7152, 0.0722))
    return (high + 0.05) / (low + 0.05)


def rgba(text):
    """Return the parts of a colour written ``#rrggbb`` or ``#rrggbbaa``, and how opaque it is."""
    parts = np.frombuffer(bytes.fromhex(text.removeprefix("#").ljust(8, "f")), dtype=np.uint8)
    return parts[:3].astype(float), parts[3] / 255


def test_errors_have_colours_of_their_own_pale_to_dark():
    text = (files("lodewalk.web") / "static" / "colours.js").read_text()
    held = base64.b64decode(re.search(r'ERROR_TEXT = "([^"]+)"', text)[1])
    places = 1 - (0.12 + 0.88 * np.arange(256) / 255)
    wanted = np.round(255 * mpl.colormaps["magma"](places)[:, :3]).astype(np.uint8)
    assert np.array_equal(np.frombuffer(held, dtype=np.uint8).reshape(256, 3), wanted)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_bands_are_seen_on_the_sheet_and_told_apart(theme):
    text = (files("lodewalk.web") / "static" / "base.css").read_text()
    own = dict(re.findall(r"--([\w-]+): (#\w+);", text.split("}")[0 if theme == "light" else 1]))
    sheet, _ = rgba(own["sheet"])
    fills = []
    for band in ("band", "band-2"):
        colour, share = rgba(own[band])
        fills.append(share * colour + (1 - share) * sheet)
        assert contrast(fills[-1], sheet) > 1.4
        assert contrast(rgba(own[f"{band}-edge"])[0], sheet) > 3
    assert np.abs(fills[0] - fills[1]).max() > 40
