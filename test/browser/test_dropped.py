"""Files that are dropped: into the survey on the room of the evening, lost from no page."""

import re

import pytest
from playwright.sync_api import expect

from lodewalk.services.new import new_survey

#: Files from names and bytes, as the page itself would hold them.
TRANSFER = """(files) => {
  const held = new DataTransfer();
  for (const [name, text] of files) held.items.add(new File([text], name));
  return held;
}"""
#: Drop on an element; tells whether the page kept the browser from leaving for the file.
DROP = """(element, held) => {
  const how = { dataTransfer: held, bubbles: true, cancelable: true };
  const over = element.dispatchEvent(new DragEvent("dragover", how));
  return !over && !element.dispatchEvent(new DragEvent("drop", how));
}"""


def record(day, value):
    """A base's record of twenty minutes."""
    rows = "".join(f"2026-03-{day}T12:{m:02d}:00Z,{value}.{m:02d}\n" for m in range(20))
    return f"time_utc,total_field_nT\n{rows}"


@pytest.fixture
def hill(tmp_path, opened):
    """A survey without files, served."""
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    return opened(tmp_path / "hill")


def held(there, **files):
    """Return what a drag would hold: names with dots for underlines, and their text."""
    named = [(name.replace("_", "."), text) for name, text in files.items()]
    return there.page.evaluate_handle(TRANSFER, named)


def raw(served):
    """Return the files of the survey by name, but for the ledger and what is hidden."""
    files = (served.place / "raw").iterdir()
    return {one.name: one.read_text() for one in files if one.name[0] not in ".l"}


def drag_from_disk(there, element, *paths):
    """Drop files and folders of the disk on an element, as a person does."""
    box = element.bounding_box()
    at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
    data = {"items": [], "files": [str(path) for path in paths], "dragOperationsMask": 1}
    session = there.page.context.new_cdp_session(there.page)
    for kind in ("dragEnter", "dragOver", "drop"):
        session.send("Input.dispatchDragEvent", {"type": kind, **at, "data": data})


def test_two_files_dropped_on_the_zone_go_in_as_they_are(hill, visit):
    there = visit(hill, "/days")
    one, two = record(10, 22950), record(11, 22960)
    zone = there.page.locator("div.drop")
    zone.dispatch_event("dragover", {"dataTransfer": held(there, B1_csv=one)})
    expect(zone).to_contain_class("over")
    zone.dispatch_event("drop", {"dataTransfer": held(there, B1_csv=one, B2_csv=two)})
    expect(zone).not_to_contain_class("over")
    expect(
        there.seen("article", "File B1.csv").get_by_text("delimited text, 20 rows")
    ).to_be_visible()
    there.seen("button", "Add all 2 that are understood").click()
    expect(there.page.get_by_role("row", name=re.compile(r"B2\.csv base"))).to_be_visible()
    expect(there.page.get_by_role("article", name=re.compile("File B"))).to_have_count(0)
    assert raw(hill) == {"B1.csv": one, "B2.csv": two}


def test_beside_the_zone_they_are_taken_too_and_another_room_says_where_they_go(hill, visit):
    there = visit(hill, "/days")
    there.page.get_by_label("choose them").set_input_files(
        {"name": "B1.csv", "mimeType": "text/csv", "buffer": record(10, 22950).encode()}
    )
    there.seen("article", "File B1.csv").get_by_label("Instrument").fill("M7")
    banner = there.page.get_by_role("banner")
    assert banner.evaluate(DROP, held(there, B2_csv=record(11, 22960)))
    expect(
        there.seen("article", "File B2.csv").get_by_text("delimited text, 20 rows")
    ).to_be_visible()
    expect(there.seen("article", "File B1.csv").get_by_label("Instrument")).to_have_value("M7")

    there.go("/settings")
    typed = there.page.locator('form[data-name="fits.window"] [name=value]')
    typed.fill("7")
    assert there.page.locator("main").evaluate(DROP, held(there, B3_csv="x"))
    expect(there.page.get_by_text("Files go into the survey in Days")).to_be_visible()
    expect(typed).to_have_value("7")
    there.go("/handover")  # a field for files takes what is dropped on it by itself
    field = there.page.locator("input[type=file]").first
    assert not field.evaluate(DROP, held(there, day_zip="x"))
    assert raw(hill) == {}


def test_a_folder_gives_its_files_and_what_is_no_record_is_refused(hill, visit, tmp_path):
    card = tmp_path / "card" / "DCIM"
    card.mkdir(parents=True)
    (card.parent / "B1.csv").write_text(record(10, 22950))
    (card / "B2.csv").write_text(record(11, 22960))
    (card / ".hidden").write_text("the system's own")
    (card / "none.csv").write_text("")
    (card / "photo.csv").write_bytes(b"ab\n\x00\x01\x02" * 99)
    bare = tmp_path / "bare"
    bare.mkdir()
    there = visit(hill, "/days")
    drag_from_disk(there, there.page.get_by_role("banner"), card.parent, bare)
    for name, words in (
        ("B1.csv", "delimited text, 20 rows"),
        ("B2.csv", "delimited text, 20 rows"),
        ("none.csv", "The file is empty."),
        ("photo.csv", "The file is binary, not text."),
    ):
        expect(there.seen("article", f"File {name}").get_by_text(words)).to_be_visible()
    expect(there.page.get_by_role("article", name=re.compile("^File "))).to_have_count(4)
    expect(there.page.get_by_text("The folder bare holds no file.")).to_be_visible()
    for name in ("none.csv", "photo.csv"):
        button = there.seen("article", f"File {name}").get_by_role("button", name="Add", exact=True)
        expect(button).to_be_disabled()
    there.seen("button", "Add all 2 that are understood").click()
    expect(there.page.get_by_role("row", name=re.compile(r"B2\.csv base"))).to_be_visible()
    assert raw(hill) == {"B1.csv": record(10, 22950), "B2.csv": record(11, 22960)}


def test_a_folder_without_an_end_is_left_once_enough_files_are_found(hill, visit):
    """Each folder holds seven files and one more folder, which only ends where nobody looks on."""
    there = visit(hill, "/days")
    held = there.page.evaluate("""async () => {
      const file = (name) => ({ name, file: (done) => done(new File(["x"], name)) });
      const folder = (depth) => {
        const one = { name: "inside", isDirectory: true, createReader };
        function createReader() {
          if (depth > 500) throw new Error("too deep");
          const parts = [["a", "b", "c", "d", "e", "f", "g"].map(file), [folder(depth + 1)], []];
          return { readEntries: (done) => done(parts.shift()) };
        }
        return one;
      };
      const items = [1, 2].map(() => ({ kind: "file", webkitGetAsEntry: () => folder(0) }));
      const dropped = new Event("drop", { bubbles: true, cancelable: true });
      Object.defineProperty(dropped, "dataTransfer", { value: { types: ["Files"], items } });
      const { takeDropped } = await import("/static/dropped.js");
      return new Promise((done) => {
        setTimeout(() => done(-1), 5000);
        takeDropped({ taken: (files) => done(files.length), over() {} });
        document.body.dispatchEvent(dropped);
      });
    }""")
    assert held == 200
    expect(there.page.get_by_text("more than 200 files in folders")).to_be_visible()
