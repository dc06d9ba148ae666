"""Handing over: the report and its content."""

from lodewalk.handover.assemble import Records, assemble
from lodewalk.handover.content import (
    Instrument,
    Job,
    Provenance,
    ReportContent,
    Setting,
    SourceFile,
    Step,
)
from lodewalk.handover.report import build_report

__all__ = [
    "Instrument",
    "Job",
    "Provenance",
    "Records",
    "ReportContent",
    "Setting",
    "SourceFile",
    "Step",
    "assemble",
    "build_report",
]
