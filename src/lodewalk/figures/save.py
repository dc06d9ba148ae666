"""Figures as bytes that are the same each time: no time, host or version inside."""

import io
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from lodewalk.errors import InputError
from lodewalk.figures.style import drawing


def png_bytes(figure: Figure, *, dpi: float = 200.0) -> bytes:
    """Return a figure as PNG, its size in pixels being its size in inches times `dpi`.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> png_bytes(Figure(figsize=(1, 1)), dpi=20)[1:4]
    b'PNG'
    """
    if not 20 <= dpi <= 1200:
        raise InputError("The resolution must lie in 20 to 1200 dots an inch.", value=dpi)
    buffer = io.BytesIO()
    with drawing():
        figure.savefig(buffer, format="png", dpi=dpi, metadata={"Software": None})
    return buffer.getvalue()


def pdf_bytes(figures: Iterable[Figure], *, dpi: float = 300.0) -> bytes:
    """Return figures as the pages of one PDF, each at its true size; images at `dpi`.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> pdf_bytes([Figure(figsize=(1, 1))])[:4]
    b'%PDF'
    """
    buffer = io.BytesIO()
    write_pdf(buffer, figures, dpi=dpi)
    return buffer.getvalue()


def write_pdf(target: Path | BinaryIO, figures: Iterable[Figure], *, dpi: float = 300.0) -> None:
    """Write figures as the pages of one PDF, one after the other, so that none is kept.

    Parameters
    ----------
    target : path or binary file
        Where to write; a path is not touched before the first page.
    figures : iterable of Figure
        One for each page; a generator draws a page when the one before it has been written.
    dpi : float
        Resolution of images [dots an inch].

    Raises
    ------
    InputError
        When there is no figure.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> buffer = io.BytesIO()
    >>> write_pdf(buffer, (Figure(figsize=(1, 1)) for _ in range(2)))
    >>> buffer.getvalue().count(b"/Type /Page ")
    2
    """
    nothing = {"Creator": None, "Producer": None, "CreationDate": None}
    with drawing(), PdfPages(target, metadata=nothing) as pages:
        written = False
        for figure in figures:
            pages.savefig(figure, dpi=dpi)
            written = True
        if not written:
            raise InputError("A PDF needs at least one figure.")
