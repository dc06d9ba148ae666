"""The map's colours are those of the figures."""

import base64
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
