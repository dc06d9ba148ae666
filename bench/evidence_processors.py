"""A package of the demo, rebuilt as another processor would.

Run ``python bench/evidence_processors.py``; it prints one Markdown section.
"""

import json
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory

from common import LODEWALK
from processors import PROCESSORS, as_processor, can_pass_for


def packed(folder: Path) -> Path:
    """Return a package of the demo."""
    survey, package = folder / "demo", folder / "demo.zip"
    for command in (("demo", survey), ("pack", survey, package)):
        subprocess.run([LODEWALK, *map(str, command)], check=True, capture_output=True)
    return package


def row(package: Path, name: str) -> str:
    """Return how a package fares on one processor."""
    if not can_pass_for(name):
        return f"| {name} | this machine can't pass for it | | | | |"
    done = subprocess.run(
        [LODEWALK, "verify", str(package), "--json"],
        env=as_processor(name, package.parent / name),
        capture_output=True,
        text=True,
    )
    told = json.loads(done.stdout)
    found = told["differences"]
    far = [max((one["difference"] for one in found if one["unit"] == unit), default=0.0)
           for unit in ("nT", "m")]  # fmt: skip
    least = max((one["difference"] / one["limit"] for one in found if one["limit"]), default=0.0)
    return (
        f"| {name} | {told['grade'] or 'none'} | {told['equal']} of {told['products']} "
        f"| {far[0]:.1e} | {far[1]:.1e} | {least:.2g} |"
    )


def section() -> str:
    with TemporaryDirectory() as folder:
        package = packed(Path(folder))
        rows = [row(package, name) for name in PROCESSORS]
    lines = (
        "## Another processor",
        "",
        "The demo, packed on this machine and rebuilt by `lodewalk verify` with OpenBLAS, numpy "
        "and the compiled kernels told to work as on another x86 processor. Share: the largest "
        "difference in its limit.",
        "",
        "| processor | grade | equal digests | nT apart | m apart | share |",
        "|---|---:|---:|---:|---:|---:|",
        *rows,
    )
    return "\n".join(lines)


if __name__ == "__main__":
    print(section())
