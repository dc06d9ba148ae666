"""The map's colours are those of the figures, and what is chosen has one of its own."""

import base64
import colorsys
import re
from importlib.resources import files

import matplotlib as mpl
import numpy as np

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
