"""`lodewalk verify`: rebuild a delivery package and compare."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lodewalk.cli.output import AsJson, columns, emit, progress

if TYPE_CHECKING:
    from lodewalk.services.verify import VerifyResult


def verify(
    package: Annotated[Path, typer.Argument(metavar="OUT.zip", help="Package to verify.")],
    as_json: AsJson = False,
) -> None:
    """Check every sum of a package, rebuild its survey from the raw files and compare.

    Grade 1 is equal digests; grade 2 the same text, flags and verdicts, and numbers within
    1e-6 nT and 1e-6 m (1e-3 nT for grids). The exit code is 1 where neither is met.
    """
    from lodewalk.services.verify import verify as verify_service

    with progress() as reporter:
        result = verify_service(package, reporter=reporter)
    emit(result, as_json=as_json, lines=_lines(result))
    if result.grade is None:
        typer.echo(f"lodewalk: {result.package}: {result.text}", err=True)
        raise typer.Exit(1)


def _lines(result: "VerifyResult") -> Iterator[str]:
    """Yield what came out, for a person."""
    yield f"{result.survey}, {result.crs}: {result.files} files"
    yield result.text
    if result.faults:
        yield from columns([["file", "what is wrong"], *([f.file, f.fault] for f in result.faults)])
    if result.differences:
        rows = [
            ["product", "column", "row", "place", "packaged", "rebuilt", "differs by", "allowed"]
        ]
        rows += [
            [
                row.product,
                row.column,
                "" if row.row is None else str(row.row),
                row.place,
                row.packaged,
                row.rebuilt,
                "" if row.difference is None else f"{row.difference:.3g} {row.unit}",
                "yes" if row.within else "no",
            ]
            for row in result.differences
        ]
        yield from columns(rows)
    if result.versions:
        yield "Versions that differ:"
        rows = [["name", "package", "here"]]
        yield from columns([*rows, *([v.name, v.packaged, v.here] for v in result.versions)])
