"""What a step of the processing graph declares."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Step:
    """One pure piece of the processing graph.

    Parameters
    ----------
    name, text : str
        Name and one sentence of what it does.
    version : int
        Raised when the numbers it makes may change.
    products : tuple of str
        Names of the records it returns.
    inputs : tuple of str
        Names of the records it reads.
    settings : tuple of str
        Dotted names of the settings it reads; ``*`` stands for each instrument.
    decisions : tuple of str
        Kinds of decisions it reads.
    role : str
        Role of the raw files that it reads; only ingest steps have one.
    before_going : bool
        Whether it serves the time before the survey: a run that names no step leaves it out.
    """

    name: str
    text: str
    version: int
    products: tuple[str, ...]
    inputs: tuple[str, ...] = ()
    settings: tuple[str, ...] = ()
    decisions: tuple[str, ...] = ()
    role: str = ""
    before_going: bool = False

    @property
    def module(self) -> str:
        """Module that implements the step."""
        return "lodewalk.survey.ingest" if self.role else f"lodewalk.steps.{self.name}"


def ingest(role: str, text: str, *, before_going: bool = False) -> Step:
    """Declare the step that reads all raw files of one role."""
    products = (f"{role}_files", f"{role}_recorded")
    return Step(f"ingest_{role}", text, 1, products, role=role, before_going=before_going)
