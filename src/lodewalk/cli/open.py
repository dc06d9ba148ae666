"""`lodewalk open`: the local pages."""

import json
from pathlib import Path
from typing import Annotated

import typer

from lodewalk.cli.output import AsJson


def open_pages(
    directory: Annotated[
        Path,
        typer.Argument(
            metavar="[DIR]",
            help="Survey folder, or a folder in which surveys lie or will be made.",
        ),
    ] = Path(),
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port of this machine; 0 takes a free one.")
    ] = 0,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Print the address only.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Open the local pages: the whole job in a browser, on this machine alone."""
    from lodewalk.web.serve import serve

    def ready(address: str, taken: int, token: str) -> None:
        if as_json:
            typer.echo(json.dumps({"address": address, "port": taken, "token": token}))
        else:
            typer.echo(address)
            typer.echo("Stop with Ctrl-C. The address holds a key: keep it to yourself.", err=True)

    serve(directory, port=port, browser=not no_browser, ready=ready)
