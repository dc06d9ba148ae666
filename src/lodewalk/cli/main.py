"""The program `lodewalk`."""

import getpass
import os
import sys
import tempfile
from pathlib import Path
from typing import Annotated

import typer

from lodewalk import __version__
from lodewalk.cli.activity import activity
from lodewalk.cli.add import add
from lodewalk.cli.check import check
from lodewalk.cli.decide import decide, tick
from lodewalk.cli.demo import demo
from lodewalk.cli.feasibility import feasibility
from lodewalk.cli.new import new
from lodewalk.cli.open import open_pages
from lodewalk.cli.pack import pack
from lodewalk.cli.pick import pick, refuse
from lodewalk.cli.plan import plan
from lodewalk.cli.report import report
from lodewalk.cli.rocks import depth, fit, trace
from lodewalk.cli.run import run
from lodewalk.cli.site import site
from lodewalk.cli.verify import verify
from lodewalk.cli.why import why
from lodewalk.errors import InputError, LodewalkError

app = typer.Typer(
    name="lodewalk",
    help="Ground magnetic surveys on foot: raw base, rover and GPS files go in; a corrected map "
    "and a report that another person can check come out.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
)
for command in (
    demo, new, add, site, activity, feasibility, plan, check, decide, tick, run, trace, fit,
    depth, pick, refuse, why, report, pack, verify,
):  # fmt: skip
    app.command()(command)
app.command("open")(open_pages)


#: The code that the command line ends with after Ctrl-C: 128 and the number of the signal.
INTERRUPTED = 130


def _show_version(wanted: bool) -> None:
    """Print the version and end."""
    if wanted:
        typer.echo(f"lodewalk {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool,
        typer.Option("--version", help="Print the version.", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    del version


def _keep_kernels() -> None:
    """Let compiled kernels be kept in a temporary folder where neither package nor home can."""
    usual = (Path(__file__).parents[1], Path.home())
    if not any(os.access(place, os.W_OK) for place in usual):
        fallback = Path(tempfile.gettempdir()) / f"lodewalk-kernels-{getpass.getuser()}"
        os.environ.setdefault("NUMBA_CACHE_DIR", str(fallback))


def _options_of(error: LodewalkError) -> str:
    """Return the options by which the remedy of an error is given, as a sentence to append."""
    means = error.means if isinstance(error, InputError) else ()
    if not means:
        return ""
    return f" Option{'s' if len(means) > 1 else ''}: {', '.join(f'--{name}' for name in means)}."


def main() -> None:
    """Run the program: exit code 0 done, 1 a problem with data or settings, 2 usage."""
    _keep_kernels()
    try:
        app()
    except LodewalkError as error:
        typer.echo(f"lodewalk: {error}{_options_of(error)}", err=True)
        sys.exit(1)
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        typer.echo(f"lodewalk: {error.strerror or error}{where}.", err=True)
        sys.exit(1)
    except SystemExit as ended:
        if ended.code == INTERRUPTED:
            typer.echo("lodewalk: stopped; finished products are kept.", err=True)
        raise


if __name__ == "__main__":
    main()
