"""Time the demo from start to end with compiled kernels kept and with none.

Run ``python bench/bench_demo.py``; it prints one Markdown table. Nothing general-purpose does the
same, so the two stand beside each other. Once each: the demo takes long enough to be even.
"""

import json
import os
import resource
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from common import LODEWALK, Row, show

PARTS = ("write", "run", "report")


@dataclass(frozen=True)
class Demo:
    """Time of one demo on the clock and of its processor [s], and what it says of itself."""

    clock_s: float
    processor_s: float
    told: dict[str, float]


def demo(folder: Path, kernels: Path) -> Demo:
    """Run the demo with this folder for compiled kernels."""
    begin, used = time.perf_counter(), processor_s()
    done = subprocess.run(
        [LODEWALK, "demo", folder, "--json"],
        env={**os.environ, "NUMBA_CACHE_DIR": str(kernels)},
        check=True,
        capture_output=True,
        text=True,
    )
    clock_s = time.perf_counter() - begin
    return Demo(clock_s, processor_s() - used, json.loads(done.stdout))


def processor_s() -> float:
    """Return the processor time of all processes that were started here and ended [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def rows() -> list[Row]:
    """Return one row: warm beside empty."""
    with TemporaryDirectory() as folder:
        path = Path(folder)
        empty = demo(path / "first", path / "kernels")
        warm = demo(path / "second", path / "kernels")
    parts = ", ".join(f"{warm.told[f'{name}_seconds']:.1f} s {name}" for name in PARTS)
    note = (
        f"{parts}; {empty.told['compile_seconds']:.1f} s of compiling where none were; processor "
        f"{warm.processor_s:.0f} s against {empty.processor_s:.0f} s"
    )
    title = f"demo of {warm.told['readings_total']:,} readings, compiled kernels kept"
    return [Row(title, warm.clock_s, "the same, none compiled yet", empty.clock_s, note)]


if __name__ == "__main__":
    show(rows())
