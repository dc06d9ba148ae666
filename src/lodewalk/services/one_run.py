"""Whether products belong together, so that their rows may be paired."""

from lodewalk.errors import FolderError
from lodewalk.steps.declarations import STEPS
from lodewalk.survey.folder import Folder
from lodewalk.survey.state import read_state


def check_one_run(folder: Folder, *products: str) -> None:
    """Raise where products are of different runs: their rows would pair with strangers.

    Each must have been made from the very others that are there now; the state tells by their
    digests. A run that goes only so far, or is stopped, leaves later products as they were.

    Parameters
    ----------
    folder : Folder
        The survey.
    *products : str
        Products that are paired row by row.

    Raises
    ------
    FolderError
        Where they don't belong together, or the state can't tell.
    """
    state = read_state(folder)
    makers = {name: step.name for step in STEPS for name in step.products if name in products}
    now: dict[str, str] = {}
    used = {}
    for step in set(makers.values()):
        made = state.get(step)
        if made is None or not made.complete:
            raise _other_runs()
        now |= {name: stored.digest for name, stored in made.products.items()}
        used[step] = made.parts.get("inputs", {})
    for inputs in used.values():
        if any(inputs[name] != now.get(name) for name in inputs if name in makers):
            raise _other_runs()


def _other_runs() -> FolderError:
    """Return what is said of products that don't belong together."""
    return FolderError(
        "These products are of different runs: one was stopped, went only so far, or is under "
        "way. Run the survey again."
    )
