"""A small survey with a decision, packed; and packages that someone has changed.

Lists of a changed package are put right here without lodewalk's own code.
"""

import hashlib
import io
import json
import zipfile

from lodewalk.services.add import add_files
from lodewalk.services.decide import decide
from lodewalk.services.new import new_survey
from lodewalk.services.report_state import note_report
from lodewalk.survey.folder import open_folder
from small_survey import CRS, write_small_survey


def make_small(root, *, lines=4):
    """Return the folder of a small survey that never ran, with one reading dropped."""
    root.mkdir(parents=True, exist_ok=True)
    truth = write_small_survey(root, lines=lines)
    new_survey(root / "survey", name="Small", crs=CRS)
    folder = open_folder(root / "survey")
    add_files(folder, [truth.base], role="base", instrument="B1")
    add_files(folder, [truth.rover], role="rover", instrument="R1")
    span = {"start": "2026-03-10T14:02:00", "end": "2026-03-10T14:02:10"}
    decide(folder, kind="drop", instrument="R1", reason="a fence", who="KM", **span)
    return folder


def short_report(folder, *, scale=None, reporter=None, cancelled=None):
    """Stand in for the report where a test isn't about it: without any figure."""
    folder.report.mkdir(exist_ok=True)
    (folder.report / "report.html").write_text(f"<h1>{folder.settings.survey.purpose}</h1>")
    note_report(folder, scale=scale)


def contents(package):
    """Return the bytes of each file of a package."""
    with zipfile.ZipFile(package) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def write_zip(path, files):
    """Write a zip of these files."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in files.items():
            made.writestr(name, content)
    return path


def changed(package, out, change, *, lists=True):
    """Write a changed copy of a package; with `lists` its sums are put right again."""
    files = contents(package)
    change(files)
    if lists:
        set_lists_right(files)
    return write_zip(out, files)


def set_lists_right(files):
    """Let manifest and sums tell what the files are now."""
    manifest = json.loads(files["MANIFEST.json"])
    own = {"MANIFEST.json", "SHA256SUMS"}
    manifest["files"] = [
        {"name": name, "size": len(content), "sha256": hashlib.sha256(content).hexdigest()}
        for name, content in files.items()
        if name not in own
    ]
    files["MANIFEST.json"] = json.dumps(manifest).encode()
    files["SHA256SUMS"] = "".join(
        f"{hashlib.sha256(content).hexdigest()}  {name}\n"
        for name, content in sorted(files.items())
        if name != "SHA256SUMS"
    ).encode()


def parquet(content):
    """Return a table from its bytes."""
    import polars as pl

    return pl.read_parquet(io.BytesIO(content))


def parquet_bytes(frame):
    """Return the bytes of a table."""
    stream = io.BytesIO()
    frame.write_parquet(stream)
    return stream.getvalue()
