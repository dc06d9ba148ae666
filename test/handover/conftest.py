"""The invented survey of the figures' tests, and a whole report made of it."""

import importlib.util
import sys
from pathlib import Path

import pytest

from lodewalk.handover.assemble import Records, assemble
from lodewalk.handover.content import Instrument, Job, Provenance, Setting, SourceFile, Step
from lodewalk.handover.report import build_report
from lodewalk.records.document import Document

_PATH = Path(__file__).parents[1] / "figures" / "conftest.py"
_SPEC = importlib.util.spec_from_file_location("invented_survey", _PATH)
_MODULE = importlib.util.module_from_spec(_SPEC)
sys.modules["invented_survey"] = _MODULE
_SPEC.loader.exec_module(_MODULE)

scenario = _MODULE.scenario
make = _MODULE.make


@pytest.fixture(scope="session")
def job():
    """Return the job of the invented survey; its name and purpose try to break the page."""
    return Job(
        name="Serra Quieta <b>block</b> & co",
        crs="EPSG:31982",
        crs_title="SIRGAS 2000 / UTM zone 22S (EPSG:31982)",
        zone="America/Sao_Paulo",
        local_zone="America/Sao_Paulo",
        purpose='To trace dykes <script>alert("no")</script> below soil.',
        convergence_deg=-0.42,
    )


@pytest.fixture(scope="session")
def provenance():
    """Return files, steps, versions and settings."""
    return Provenance(
        sources=(
            SourceFile("rover.csv", "rover", "a" * 64, "rover 1", "UTC", 9100, 512_345),
            SourceFile("base.csv", "base", "b" * 64, "base", "America/Sao_Paulo"),
        ),
        instruments=(Instrument("rover 1", "rover", "on a pole", "2.0 m above ground, assumed"),),
        steps=(Step("diurnal", "2", "c" * 64, "takes off the change with time"),),
        versions={"lodewalk": "0.1.0", "numpy": "2.4.6"},
        settings=(
            Setting("chord.limit", "4.0", "3.0", "nT", "largest departure from the chord"),
            Setting("grid.spacing", "6.0", "6.0", "m", "distance between nodes"),
        ),
    )


@pytest.fixture(scope="session")
def check(scenario):
    """Return the result of the check as a document."""
    lines = [
        {
            "line": row["line"],
            "verdict": "re-walk" if row["line"] == "L1300" else "keep",
            "reasons": ["the base had a gap"] if row["line"] == "L1300" else [],
            "length_m": 400.0,
            "day": row["day"],
            "instrument": row["instrument"],
            "start_utc": f"{row['start_utc']:%Y-%m-%dT%H:%M:%S}.000Z",
        }
        for row in scenario.lines.frame.iter_rows(named=True)
    ]
    verdicts = {"2026-03-09": "keep", "2026-03-10": "doubt", "2026-03-11": "keep"}
    days = [
        {
            "date": date,
            "verdict": verdict,
            "base": {
                "range_nT": 61.4,
                "worst_chord_nT": 5.1,
                "activity": [
                    {"start_utc": f"{date}T12:00:00Z", "activity": "quiet", "range_nT": 9.0}
                ],
            },
            "lines": [line for line in lines if line["day"] == date],
        }
        for date, verdict in verdicts.items()
    ]
    return Document({"days": days})


@pytest.fixture(scope="session")
def content(scenario, job, provenance, check):
    """Return the content of the whole report."""
    s = scenario
    records = Records(s.readings, s.lines, s.findings, s.base, s.grid, s.datum, s.site, check)
    return assemble(job, records, provenance=provenance, most_lines=2)


@pytest.fixture(scope="session")
def page(content):
    """Return the whole report."""
    return build_report(content)
