"""The surface of a general-purpose mapping program (GMT), where it is installed.

`make bench-tools` installs it from Debian. It reads and writes files; their time is taken apart:
readings go to memory as binary before the clock runs, and the grid is read after it stopped.
"""

import shutil
import subprocess
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

TENSION = "0.25"


def is_here() -> bool:
    """Tell whether the program is installed."""
    return shutil.which("gmt") is not None


def surface(
    easting: np.ndarray, northing: np.ndarray, value: np.ndarray, side_m: float, nodes: int
) -> tuple[np.ndarray, float, float]:
    """Return the grid from its south-west node, the time of gridding and that of files [s].

    ``blockmedian | surface -T0.25`` with its default convergence, in a folder in memory.
    """
    room = Path("/dev/shm")
    with TemporaryDirectory(dir=room if room.is_dir() else None) as folder:
        raw, means, grid, out = (Path(folder, name) for name in ("raw", "means", "grid.nc", "out"))
        begin = time.perf_counter()
        np.column_stack([easting, northing, value]).tofile(raw)
        written = time.perf_counter()
        where = [f"-R0/{side_m}/0/{side_m}", f"-I{float(side_m / (nodes - 1))!r}"]
        with means.open("wb") as target:
            run(folder, "blockmedian", raw, *where, "-bi3d", "-bo3d", stdout=target)
        run(folder, "surface", means, *where, "-bi3d", f"-T{TENSION}", f"-G{grid}")
        made = time.perf_counter()
        with out.open("wb") as target:
            run(folder, "grd2xyz", grid, "-ZBLd", stdout=target)
        values = np.fromfile(out).reshape(nodes, nodes)
        ended = time.perf_counter()
    return values, made - written, (written - begin) + (ended - made)


def run(folder: str, module: str, *options: object, stdout: object = subprocess.DEVNULL) -> None:
    """Run one module of the program, quietly, in a folder where it may leave its own files."""
    command = ["gmt", module, *map(str, options), "-Ve"]
    subprocess.run(command, check=True, stdout=stdout, stderr=subprocess.PIPE, cwd=folder)  # type: ignore[call-overload]
