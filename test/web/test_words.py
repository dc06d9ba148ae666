"""Every word that a page explains stands in the glossary, and the glossary comes at once."""

import re
import subprocess
import sys
import time
from importlib.resources import files
from pathlib import Path

STATIC = Path(str(files("lodewalk.web") / "static"))
#: Libraries that words, list of surveys and first page have no need of.
HEAVY = ("scipy", "numba", "matplotlib", "xarray", "rasterio", "shapely", "pyproj")


def words_used():
    """Return the words that scripts explain, with the script that does."""
    found = []
    for path in STATIC.rglob("*.js"):
        text = path.read_text(encoding="utf-8")
        found += [(word, path.name) for word in re.findall(r'\bterm\(\s*["`\']([^"`\']+)', text)]
    return found


def test_every_word_that_a_page_explains_stands_in_the_glossary(empty):
    _, client = empty
    known = {row["word"].lower() for row in client.get("/api/glossary").json()["words"]}
    missing = [(word, script) for word, script in words_used() if word.lower() not in known]
    assert not missing


def test_the_glossary_holds_each_word_once_by_its_letters_with_a_meaning(empty):
    _, client = empty
    rows = client.get("/api/glossary").json()["words"]
    words = [row["word"].lower() for row in rows]
    assert words == sorted(set(words))
    assert all(len(row["text"]) > 10 for row in rows)
    assert {"verdict", "datum", "tuning", "standard error", "structural index"} <= set(words)


def test_the_glossary_is_there_at_once(empty):
    _, client = empty
    client.get("/api/glossary")
    began = time.perf_counter()
    client.get("/api/glossary")
    assert time.perf_counter() - began < 0.25  # 0.05 s is wanted; a busy machine gets time


def test_the_first_page_and_the_glossary_bring_no_heavy_library(tmp_path):
    """In a process of its own, since other tests have brought them here already."""
    code = (
        "import sys; from pathlib import Path; from lodewalk.web.app import create_app;"
        "from lodewalk.web.guard import Keys; from lodewalk.web.session import Session;"
        "from lodewalk.services.glossary import glossary;"
        f"create_app(Session(Path({str(tmp_path)!r}), Keys(8123))); glossary();"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
