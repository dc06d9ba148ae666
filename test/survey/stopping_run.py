"""A run that stands still at its n-th moment, so that a test can kill it right there.

Called as ``stopping_run.py DIR N``: prints the name of each moment as it comes; at moment N it
prints ``stop`` and waits to be killed. A moment is the beginning of a step, a file that is
written but not flushed, flushed but not renamed, or just renamed.
"""

import sys
import time
from pathlib import Path

from lodewalk.survey import files
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import Runner, run


def watch(stop_at):
    """Put a moment before and after each thing that a kill could tear apart."""
    count = 0

    def moment(name):
        nonlocal count
        print(f"{count} {name}", flush=True)
        if count == stop_at:
            print("stop", flush=True)
            time.sleep(300)
        count += 1

    flush, replace, execute = files._flush, Path.replace, Runner._execute

    def watched_flush(path):
        if path.name.endswith(files.PART_SUFFIX):
            moment(f"write {path.name}")
        flush(path)

    def watched_replace(self, target):
        moment(f"rename {self.name}")
        result = replace(self, target)
        moment(f"renamed {Path(target).name}")
        return result

    def watched_execute(self, step, made):
        moment(f"step {step.name}")
        execute(self, step, made)

    files._flush, Path.replace, Runner._execute = watched_flush, watched_replace, watched_execute


if __name__ == "__main__":
    watch(int(sys.argv[2]))
    run(open_folder(Path(sys.argv[1])))
