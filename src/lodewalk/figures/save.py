"""Figures as bytes that are the same each time: no time, host or version inside."""

import io
from collections.abc import Sequence

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


def pdf_bytes(figures: Sequence[Figure], *, dpi: float = 300.0) -> bytes:
    """Return figures as the pages of one PDF, each at its true size; images at `dpi`.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> pdf_bytes([Figure(figsize=(1, 1))])[:4]
    b'%PDF'
    """
    if not figures:
        raise InputError("A PDF needs at least one figure.")
    buffer = io.BytesIO()
    nothing = {"Creator": None, "Producer": None, "CreationDate": None}
    with drawing(), PdfPages(buffer, metadata=nothing) as pages:
        for figure in figures:
            pages.savefig(figure, dpi=dpi)
    return buffer.getvalue()
