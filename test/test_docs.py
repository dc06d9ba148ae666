"""Documents that are generated from the code must not drift from it."""

import importlib.util
import re
from pathlib import Path

import pytest

from lodewalk.survey.settings_table import SECTIONS

DOC = Path(__file__).parents[1] / "doc"


@pytest.fixture(scope="module")
def generate():
    spec = importlib.util.spec_from_file_location("generate", DOC / "generate.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_generated_pages_are_those_of_the_code(generate):
    for path, text in generate.pages().items():
        assert path.read_text() == text, f"{path.name} is stale; run: make docs"


def test_no_schema_is_left_over(generate):
    made = {path.name for path in generate.pages()}
    assert {path.name for path in (DOC / "schema").glob("*.json")} <= made


def test_every_command_and_setting_is_documented():
    commands = (DOC / "reference" / "commands.rst").read_text()
    names = (
        "demo",
        "new",
        "add",
        "site",
        "plan",
        "activity",
        "check",
        "run",
        "why",
        "report",
        "pack",
        "verify",
    )
    assert all(f"lodewalk {name}\n" in commands for name in names)
    settings = (DOC / "reference" / "settings.rst").read_text()
    for section in SECTIONS.values():
        assert all(f"``{name}``" in settings for name in section.model_fields)


def test_links_of_the_readme_lead_somewhere():
    readme = (DOC.parent / "README.md").read_text()
    for target in re.findall(r"\]\(([^)]+)\)", readme):
        assert (DOC.parent / target).exists(), target
