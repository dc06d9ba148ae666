"""Pages of tables and of short texts to read and to tick, on A4."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from lodewalk.figures.plan_frame import A4, RIM, write_title
from lodewalk.figures.style import (
    INK,
    RULE,
    SMALL_PT,
    TEXT_PT,
    canvas_mm,
    new_figure,
    styled,
    text_width_mm,
    wrapped,
)

#: Type of what is read in the field, its row, and the heading of a block [points, mm].
READ_PT: Final = 8.0
_ROW, _HEAD, _BOX, _GAP = 3.9, 5.6, 3.0, 6.0
_TOP: Final = 15.0
_COLUMN = (A4[0] - 2 * RIM - _GAP) / 2
_PAD, _CELL_ROW = 2.6, 3.3
#: Room that has to be left below a heading [mm].
_KEEP = 12.0


@dataclass(frozen=True)
class Block:
    """A heading with rows of label and text.

    `tick` puts an empty box before each row, `blanks` adds lines to write on, `note` is a
    sentence below the heading; one that is `together` isn't parted where a column holds it. One
    that is to `fill` begins a column and goes on with lines to write on to the foot of the page.
    """

    title: str
    rows: tuple[tuple[str, str], ...]
    tick: bool = False
    blanks: int = 0
    note: str = ""
    together: bool = False
    fill: bool = False


@dataclass(frozen=True)
class TextTable:
    """A table as text: headings, rows, and which columns stand to the right.

    A cell that is ``[ ]`` is drawn as an empty box; one that is ``...`` as a line to write on.
    """

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[bool, ...]


class _Pages:
    """Pages that are begun as they fill up; heights count from the foot of the writing area."""

    def __init__(self, title: str, under: str, *, draft: bool) -> None:
        self.words = title, under
        self.draft = draft
        self.figures: list[Figure] = []
        self.axes = self.begin()

    @property
    def top(self) -> float:
        """Height of the writing area [mm]."""
        return A4[1] - 2 * RIM - _TOP

    def begin(self) -> Axes:
        """Begin a page and return its writing area."""
        figure = new_figure(*A4)
        write_title(figure, *self.words, draft=self.draft)
        self.figures.append(figure)
        self.axes = canvas_mm(figure, RIM, RIM, A4[0] - 2 * RIM, self.top)
        return self.axes


@styled
def draw_table(table: TextTable, title: str, under: str, *, draft: bool = False) -> list[Figure]:
    """Draw a table on as many upright A4 pages as it needs.

    Parameters
    ----------
    table : TextTable
        Long words are broken, never cut.
    title, under : str
        Title and the smaller line below it.
    draft : bool
        Whether the pages say that it is a draft.

    Examples
    --------
    >>> table = TextTable(("Line", "Done"), (("L001", "[ ]"),) * 80, (False, False))
    >>> len(draw_table(table, "Day 1", "Hill"))
    2
    """
    widths = _widths(table)
    pages = _Pages(title, under, draft=draft)
    head = _cells(table.headings, widths, bold=True)
    y = _write_row(pages.axes, pages.top, head, widths, table, bold=True)
    for row in table.rows:
        cells = _cells(row, widths)
        if y - _height(cells) < 0:
            y = _write_row(pages.begin(), pages.top, head, widths, table, bold=True)
        y = _write_row(pages.axes, y, cells, widths, table)
    return pages.figures


def _widths(table: TextTable) -> list[float]:
    """Return the width of each column [mm]; the widest give way where the page is too narrow."""
    room = A4[0] - 2 * RIM
    natural = [
        max(
            max((text_width_mm(text, size_pt=SMALL_PT) for text in column), default=0.0),
            max(text_width_mm(w, size_pt=SMALL_PT, weight="bold") for w in name.split()),
        )
        + _PAD
        for name, column in zip(table.headings, _columns(table), strict=True)
    ]
    widest = max(natural)
    while sum(min(width, widest) for width in natural) > room:
        widest -= 0.5
    widths = [min(width, widest) for width in natural]
    spare = (room - sum(widths)) / len(widths)
    return [width + min(spare, 6.0) for width in widths]


def _columns(table: TextTable) -> list[list[str]]:
    """Return the texts of each column."""
    return [[row[index] for row in table.rows] for index in range(len(table.headings))]


def _cells(row: Sequence[str], widths: Sequence[float], *, bold: bool = False) -> list[list[str]]:
    """Return the lines of text in each cell of a row."""
    weight = "bold" if bold else "normal"
    return [
        [
            line
            for word in _lines(text, width - _PAD, weight)
            for line in _broken(word, width - _PAD)
        ]
        for text, width in zip(row, widths, strict=True)
    ]


def _lines(text: str, width: float, weight: str) -> list[str]:
    """Break a text at its blanks; a word that is too long stays whole."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        fits = text_width_mm(longer, size_pt=SMALL_PT, weight=weight) <= width
        if fits or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _broken(word: str, width: float) -> list[str]:
    """Break a word that is too long into pieces that fit."""
    if text_width_mm(word, size_pt=SMALL_PT) <= width + 0.3:
        return [word]
    pieces = [""]
    for letter in word:
        if pieces[-1] and text_width_mm(pieces[-1] + letter, size_pt=SMALL_PT) > width + 0.3:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def _height(cells: Sequence[Sequence[str]]) -> float:
    """Return the height of a row [mm]."""
    return _CELL_ROW * max(len(lines) for lines in cells) + 1.7


def _write_row(
    axes: Axes,
    y: float,
    cells: Sequence[Sequence[str]],
    widths: Sequence[float],
    table: TextTable,
    *,
    bold: bool = False,
) -> float:
    """Write a row with its top at a height; return the height of its foot."""
    foot = y - _height(cells)
    left = 0.0
    for lines, width, right in zip(cells, widths, table.right, strict=True):
        at = left + width - _PAD if right else left
        if lines[0] == "[ ]":
            _box(axes, left + 0.5, foot + 1.2)
        else:
            for index, line in enumerate(lines):
                axes.text(
                    at, y - _CELL_ROW * (index + 1) + 0.5, line, ha="right" if right else "left",
                    fontsize=SMALL_PT, weight="bold" if bold else "normal",
                )  # fmt: skip
        left += width
    rule = INK if bold else RULE
    axes.add_line(Line2D([0, left], [foot, foot], color=rule, lw=0.8 if bold else 0.4))
    return foot


def _box(axes: Axes, left: float, bottom: float) -> None:
    """Draw an empty box to tick."""
    place = (left, bottom)
    axes.add_patch(Rectangle(place, _BOX, _BOX, facecolor="white", edgecolor=INK, linewidth=0.7))


@styled
def draw_blocks(
    blocks: Sequence[Block], title: str, under: str, *, draft: bool = False
) -> list[Figure]:
    """Draw blocks of short texts in two columns on as many upright A4 pages as they need.

    Parameters
    ----------
    blocks : sequence of Block
        In order; the heading of a block stays with its first row.
    title, under : str
        Title and the smaller line below it.
    draft : bool
        Whether the pages say that it is a draft.

    Examples
    --------
    >>> block = Block("Whom to call", (("Office", "+00 000 000"),), blanks=2)
    >>> len(draw_blocks([block], "Day 1", "Hill"))
    1
    """
    pages = _Pages(title, under, draft=draft)
    pen = _Pen(pages, pages.top)
    for block in blocks:
        parts = list(_parts(block))
        whole = sum(part.height for part in parts)
        keep = whole if block.together and whole <= pages.top else 0.0
        if block.fill and (pen.column == 0 or pen.y < whole):
            pen.next_column()
        for index, part in enumerate(parts):
            pen.write(part, max(part.height + (_KEEP if part.heading else 0.0),
                                0.0 if index else keep))  # fmt: skip
        while block.fill and pen.has_room(_RULED):
            pen.write(_RULED, 0.0)
        pen.y -= 2.5
    return pages.figures


@dataclass(frozen=True)
class _Part:
    """Some rows of text that stay together."""

    lines: tuple[tuple[str, str], ...]
    indent: float = 0.0
    box: bool = False
    heading: bool = False
    rule: bool = False

    @property
    def height(self) -> float:
        """Height with the room below [mm]."""
        if self.rule:
            return 8.0
        return _HEAD if self.heading else _ROW * len(self.lines) + 1.3

    def write(self, axes: Axes, left: float, top: float) -> None:
        """Write the rows below a height."""
        if self.rule:
            axes.add_line(
                Line2D([left, left + _COLUMN], [top - 7.0, top - 7.0], color=RULE, lw=0.6)
            )
        if self.box:
            _box(axes, left + 0.3, top - 3.3)
        size = TEXT_PT + 2 if self.heading else READ_PT
        for index, (weight, line) in enumerate(self.lines):
            y = top - (_HEAD - 1.6 if self.heading else _ROW * (index + 1) - 0.9)
            axes.text(left + self.indent, y, line, fontsize=size, weight=weight)
        if self.heading:
            foot = top - _HEAD + 0.7
            axes.add_line(Line2D([left, left + _COLUMN], [foot, foot], color=INK, lw=0.6))


#: A line to write on.
_RULED: Final = _Part((), rule=True)


@dataclass
class _Pen:
    """Where the next part is written: page, height [mm] and column."""

    pages: _Pages
    y: float
    column: int = 0

    def has_room(self, part: _Part) -> bool:
        """Say whether the page has room for a part, in this column or the next."""
        return self.y >= part.height or self.column == 0

    def next_column(self) -> None:
        """Go to the head of the next column, on a new page after the second, unless at one."""
        if self.y == self.pages.top:
            return
        self.column += 1
        if self.column == 2:
            self.pages.begin()
            self.column = 0
        self.y = self.pages.top

    def write(self, part: _Part, need: float) -> None:
        """Write a part, in the next column where less than it needs is left."""
        if self.y < max(need, part.height):
            self.next_column()
        part.write(self.pages.axes, self.column * (_COLUMN + _GAP), self.y)
        self.y -= part.height


def _parts(block: Block) -> Iterator[_Part]:
    """Yield the parts of a block: heading, note, rows, lines to write on."""
    for line in wrapped(block.title, _COLUMN, size_pt=TEXT_PT + 2, weight="bold"):
        yield _Part((("bold", line),), heading=True)
    if block.note:
        yield _Part(tuple(("normal", line) for line in _fitted(block.note, _COLUMN)))
    indent = 5.0 if block.tick else 0.0
    for label, text in block.rows:
        lines = [("bold", line) for line in _fitted(label, _COLUMN - indent, "bold") if label]
        lines += [("normal", line) for line in _fitted(text, _COLUMN - indent) if text]
        yield _Part(tuple(lines), indent=indent, box=block.tick)
    for _ in range(block.blanks):
        yield _RULED


def _fitted(text: str, width: float, weight: str = "normal") -> list[str]:
    """Break a text into lines of a column."""
    return wrapped(text, width, size_pt=READ_PT, weight=weight)
