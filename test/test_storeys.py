"""The storeys of the house: an import goes down only, methods import numbers only."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "src" / "lodewalk"
GROUND = {"errors", "units", "validation", "zones"}
STOREYS = [
    ("cli", "web"),
    ("services",),
    ("handover",),
    ("survey",),
    ("steps", "formats"),
    ("adapters",),
    ("figures",),
    ("records", "methods"),
    ("errors", "units", "validation", "zones"),
]
RANK = {room: rank for rank, rooms in enumerate(STOREYS) for room in rooms}
#: Sideways or far imports that are meant, each with its reason.
ALLOWED = {
    ("validation", "errors"): "checks raise the package's error",
    ("zones", "errors"): "checks raise the package's error",
    ("cli", "web"): "the command `open` starts the pages",
}
#: Imports that go down but not through the door.
CLOSED = {("cli", room) for room in RANK if room not in {"services", "errors", "web"}} | {
    ("web", room) for room in RANK if room not in {"services", "errors"}
}
METHOD_LIBRARIES = {"numpy", "scipy", "numba"} | {
    "collections", "dataclasses", "datetime", "enum", "functools", "itertools", "math", "types",
    "typing",
}  # fmt: skip
#: Names that would let a method read, write, print or look at the clock.
FORBIDDEN_CALLS = {"open", "print", "input", "exec", "eval", "now", "today", "utcnow"}


def room_of(path):
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


def fault(room, module):
    """Return what is wrong with `room` importing `module`, or None."""
    head, *rest = module.split(".")
    if head == "lodewalk" and rest and rest[0] in RANK:
        other = rest[0]
        if other == room or (room, other) in ALLOWED:
            return None
        if RANK[other] <= RANK[room]:
            return f"{room} may not import {other}: it lies above or beside"
        if (room, other) in CLOSED:
            return f"{room} may not import {other}: it goes through services only"
        return None
    if room == "methods" and head not in METHOD_LIBRARIES:
        return f"methods may not import {head}" if head != "lodewalk" else None
    return None


MODULES = sorted(path for path in PACKAGE.rglob("*.py") if room_of(path) in RANK)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_go_down_only(path):
    faults = [fault(room_of(path), m) for m in imports(ast.parse(path.read_text()))]
    assert not [text for text in faults if text]


def called_names(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            target = node.func
            yield target.id if isinstance(target, ast.Name) else getattr(target, "attr", "")


@pytest.mark.parametrize(
    "path", [p for p in MODULES if room_of(p) == "methods"], ids=lambda path: path.stem
)
def test_methods_neither_read_nor_print_nor_look_at_the_clock(path):
    assert not FORBIDDEN_CALLS & set(called_names(ast.parse(path.read_text())))


def test_every_room_is_known():
    rooms = {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").exists()}
    assert rooms <= set(RANK)


@pytest.mark.parametrize(
    ("room", "module"),
    [
        ("methods", "lodewalk.records.table"),
        ("records", "lodewalk.methods.checks"),
        ("formats", "lodewalk.steps.time"),
        ("steps", "lodewalk.formats.gpx"),
        ("survey", "lodewalk.services.run"),
        ("cli", "lodewalk.survey.folder"),
        ("figures", "lodewalk.adapters.projection"),
        ("methods", "polars"),
        ("methods", "time"),
        ("methods", "pathlib"),
    ],
)
def test_a_wrong_import_is_noticed(room, module):
    assert fault(room, module)


def test_files_and_functions_stay_short():
    too_long, lengths = [], []
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text()
        if text.count("\n") > 500:
            too_long.append(path.name)
        lengths += [length for _, length in function_lengths(ast.parse(text))]
    lengths.sort()
    assert not too_long
    assert lengths[len(lengths) // 2] < 12
    assert lengths[int(0.9 * len(lengths))] < 40
    assert lengths[-1] <= 80


def function_lengths(tree):
    """Yield name and length, docstring left out, of each function."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            doc = node.body[0] if ast.get_docstring(node) else None
            skipped = doc.end_lineno - doc.lineno + 1 if doc else 0
            yield node.name, node.end_lineno - node.lineno + 1 - skipped
