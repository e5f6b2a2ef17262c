"""Paper to draw on: fonts that hold most scripts, measured text, marks in black.

fpdf2 (LGPL-3.0) writes the PDF: maintained, pure Python with wheels of all it needs on every platform,
and the only one of the common writers that falls back to a second font letter by letter and shapes
Arabic (through HarfBuzz) without more work here.
"""

from __future__ import annotations

import unicodedata
from contextlib import ExitStack
from datetime import datetime
from enum import StrEnum
from importlib.resources import as_file, files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fpdf import FPDF
    from fpdf.fonts import TTFFont

__all__ = ["MISSING", "Canvas", "Mark", "Paper", "joins"]

#: Stands for a letter that neither font has.
MISSING = "□"

_FAMILY, _FALLBACK = "sheet", "other"
_FONTS = (
    (_FAMILY, "", "fonts/plex/Regular.ttf"),
    (_FAMILY, "B", "fonts/plex/Bold.ttf"),
    (_FALLBACK, "", "fonts/dejavu/DejaVuSans.ttf"),
)
_MM_PER_POINT = 25.4 / 72
_LEADING = 1.24


class Paper(StrEnum):
    """What the sheet is printed on."""

    A4 = "a4"
    LETTER = "letter"


class Mark(StrEnum):
    """The shapes that stand beside findings and stops; the page draws the same."""

    TOO_LOW = "too-low"
    UNVERIFIED = "unverified"
    TIGHT = "tight"
    CLEAR = "clear"
    STOP = "stop"
    FACILITY = "facility"
    FULL_TANK = "full-tank"


#: Outlines on a square of 40; those of the page's template.
_OUTLINES: dict[Mark, tuple[tuple[float, float], ...]] = {
    Mark.TOO_LOW: (
        (13, 1), (20, 7), (27, 1), (39, 13), (33, 20), (39, 27),
        (27, 39), (20, 33), (13, 39), (1, 27), (7, 20), (1, 13),
    ),
    Mark.TIGHT: ((20, 1), (39, 38), (1, 38)),
    Mark.FULL_TANK: ((20, 2), (38, 20), (20, 38), (2, 20)),
    Mark.STOP: ((5, 2), (35, 2), (35, 29), (27, 29), (20, 39), (13, 29), (5, 29)),
}  # fmt: skip
#: Where the text of a mark has its middle, from the top of the square.
_TEXT_MIDDLE = {Mark.TIGHT: 28.0, Mark.STOP: 16.0}


class Canvas:
    """One PDF, drawn in millimetres from the upper left corner of the page."""

    margin = 13.0

    def __init__(self, paper: Paper, title: str, made: datetime, *, shaped: bool) -> None:
        """Open the first page; `made` is the time written into the file.

        `shaped` is for text whose letters join or run from right to left; setting it takes longer.
        """
        self._files = ExitStack()
        self._pdf = _blank(paper, title, made, self._files)
        self._pdf.set_text_shaping(shaped)
        self._letters = _letters(self._pdf)
        self.missing = False
        self._widths: dict[tuple[str, bool], float] = {}
        self._broken: dict[tuple[str, float, float, bool], list[str]] = {}
        self.add_page()

    def __enter__(self) -> Canvas:
        """The canvas itself; leaving it closes the font files, which are read until the file is made."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the font files."""
        self._files.close()

    @property
    def left(self) -> float:
        """The left edge of what may be drawn on."""
        return self.margin

    @property
    def right(self) -> float:
        """The right edge of what may be drawn on."""
        return float(self._pdf.w) - self.margin

    @property
    def bottom(self) -> float:
        """The lower edge of what may be drawn on, above the foot of the page."""
        return float(self._pdf.h) - self.margin - 6

    @property
    def pages(self) -> int:
        """How many pages there are."""
        return int(self._pdf.pages_count)

    def add_page(self) -> None:
        """Go on to a new page."""
        self._pdf.add_page()

    def line_height(self, size: float) -> float:
        """Millimetres from one line of text of `size` points to the next; large figures stand closer."""
        return size * _MM_PER_POINT * (_LEADING if size < 40 else 1.0)

    def width(self, text: str, size: float, *, bold: bool = False) -> float:
        """The width of a text set in one line."""
        return sum(self._word(word, bold) for word in _words(self.printable(text))) * size

    def height(self, text: str, width: float, size: float, *, bold: bool = False) -> float:
        """The height of a text broken into lines of `width`; 0 where there is none."""
        return len(self._lines(text, width, size, bold)) * self.line_height(size)

    def text(
        self,
        text: str,
        x: float,
        y: float,
        width: float,
        size: float,
        *,
        bold: bool = False,
        right: bool = False,
    ) -> float:
        """Write a text, broken into lines of `width`, its first line from `y` down; return its height."""
        lines = self._lines(text, width, size, bold)
        high = self.line_height(size)
        self._set(size, bold=bold)
        for number, line in enumerate(lines):
            self._pdf.set_xy(x, y + number * high)
            self._pdf.cell(width, high, line, align="R" if right else "L")
        return len(lines) * high

    def _word(self, word: str, bold: bool) -> float:
        """The width of a word at one point, in millimetres."""
        key = (word, bold)
        if key not in self._widths:
            self._set(100, bold=bold)
            self._widths[key] = float(self._pdf.get_string_width(word)) / 100
        return self._widths[key]

    def _lines(self, text: str, width: float, size: float, bold: bool) -> list[str]:
        """The text broken at spaces into lines of `width`; a longer word is broken anywhere."""
        key = (text, width, size, bold)
        if key in self._broken:
            return self._broken[key]
        lines: list[str] = []
        line, used = "", 0.0
        for word in _words(self.printable(text)):
            part, wide = word, self._word(word, bold) * size
            if used + wide > width + 0.01 and line:
                lines.append(line)
                line, used = "", 0.0
                part, wide = word.lstrip(), self._word(word.lstrip(), bold) * size
            while wide > width + 0.01 and len(part) > 1:
                fits = len(part) - 1
                while fits > 1 and self._word(part[:fits], bold) * size > width:
                    fits -= 1
                lines.append(part[:fits])
                part = part[fits:]
                wide = self._word(part, bold) * size
            line += part
            used += wide
        if line:
            lines.append(line)
        self._broken[key] = lines
        return lines

    def rule(
        self, y: float, thickness: float = 0.25, *, x: float | None = None, to: float | None = None
    ) -> None:
        """A line across the page."""
        self._pdf.set_line_width(thickness)
        self._pdf.line(self.left if x is None else x, y, self.right if to is None else to, y)
        self._pdf.set_draw_color(0)

    def box(self, x: float, y: float, width: float, height: float, thickness: float = 0.8) -> None:
        """A frame."""
        self._pdf.set_line_width(thickness)
        self._pdf.rect(x, y, width, height)

    def dot(self, x: float, y: float, radius: float) -> None:
        """A full circle round a point."""
        self._pdf.circle(x, y, radius, style="F")

    def arrow(self, x: float, y: float, size: float, degrees: float) -> None:
        """An arrow in a square of `size` round (x, y), turned clockwise from straight up."""
        self._pdf.set_line_width(size / 9)
        half, head = size * 0.42, size * 0.28
        with self._pdf.rotation(-degrees, x, y):
            self._pdf.line(x, y + half, x, y - half)
            self._pdf.polyline([(x - head, y - half + head), (x, y - half), (x + head, y - half + head)])

    def cut(self, text: str, width: float, size: float) -> str:
        """As many words of a text as one line of `width` holds, with dots where some are left out."""
        if self.width(text, size) <= width:
            return text
        words = text.split(" ")
        while len(words) > 1 and self.width(f"{' '.join(words)} …", size) > width:
            words.pop()
        return f"{' '.join(words)} …"

    def mark(self, mark: Mark, x: float, y: float, size: float, text: str, *, share: float = 0.36) -> None:
        """A mark in a square of `size` with its text; one or two letters are `share` of it high."""
        pdf, unit = self._pdf, size / 40
        if mark in _OUTLINES:
            pdf.set_fill_color(0)
            pdf.polygon([(x + a * unit, y + b * unit) for a, b in _OUTLINES[mark]], style="F")
            pdf.set_text_color(255)
        elif mark is Mark.UNVERIFIED:
            pdf.set_line_width(3 * unit)
            # The writer's square caps add half a line width to both ends of a dash.
            pdf.set_dash_pattern(dash=3.5 * unit, gap=6.214 * unit)
            pdf.rect(x + 3 * unit, y + 3 * unit, 34 * unit, 34 * unit)
            pdf.set_dash_pattern()
        elif mark is Mark.FACILITY:
            pdf.set_line_width(2.2 * unit)
            pdf.polygon([(x + a * unit, y + b * unit) for a, b in _OUTLINES[Mark.FULL_TANK]], style="D")
        else:
            pdf.set_line_width(2.2 * unit)
            pdf.circle(x + 20 * unit, y + 20 * unit, 16 * unit)
        points = size / _MM_PER_POINT * (share if len(text) <= 2 else 0.3)
        high = self.line_height(points)
        middle = y + _TEXT_MIDDLE.get(mark, 20.0) * unit
        self._set(points, bold=True)
        pdf.set_xy(x, middle - high / 2)
        pdf.cell(size, high, self.printable(text), align="C")
        pdf.set_text_color(0)

    def foot(self, texts: list[str]) -> None:
        """Write the foot of every page: left, and the number of pages on the right."""
        size, y = 8.5, self.bottom + 3
        for number in range(1, self.pages + 1):
            self._pdf.page = number
            # Turning back a page, the writer forgets which font the page had; setting it anew tells it.
            self._pdf.set_font(_FAMILY, "B", size)
            self.rule(y - 1)
            self.text(" · ".join(texts), self.left, y, self.right - self.left - 24, size)
            self.text(f"page {number} of {self.pages}", self.right - 24, y, 24, size, right=True)
        self._pdf.page = self.pages

    def bytes(self) -> bytes:
        """The file."""
        return bytes(self._pdf.output())

    def printable(self, text: str) -> str:
        """The text with a box for each letter that neither font has."""
        known = self._letters
        if all(c in known for c in text):
            return text
        self.missing = True
        return "".join(c if c in known else MISSING for c in text)

    def _set(self, size: float, *, bold: bool) -> None:
        self._pdf.set_font(_FAMILY, "B" if bold else "", size)


def joins(text: str) -> bool:
    """Whether letters of the text join, stack or run from right to left."""
    return not text.isascii() and any(
        unicodedata.bidirectional(c) in {"R", "AL", "NSM"} or unicodedata.category(c) == "Mc" for c in text
    )


def _words(text: str) -> list[str]:
    """The words of a text, each but the first with the space before it."""
    first, *others = text.split(" ")
    return [first, *(f" {word}" for word in others)]


def _blank(paper: Paper, title: str, made: datetime, opened: ExitStack) -> FPDF:
    from fpdf import FPDF

    pdf = FPDF(format=paper.value)
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.c_margin = 0
    pdf.set_creation_date(made)
    pdf.set_title(title)
    pdf.set_creator("clearance")
    pdf.set_lang("en")
    for family, style, name in _FONTS:
        path = opened.enter_context(as_file(files("clearance.outputs") / "assets" / name))
        pdf.add_font(family, style, str(path))
    for font in _fonts(pdf):
        opened.callback(font.close)
    pdf.set_fallback_fonts([_FALLBACK], exact_match=False)
    return pdf


def _fonts(pdf: FPDF) -> list[TTFFont]:
    from fpdf.fonts import TTFFont

    return [font for font in pdf.fonts.values() if isinstance(font, TTFFont)]


def _letters(pdf: FPDF) -> frozenset[str]:
    """Every letter that one of the fonts can print."""
    return frozenset(chr(code) for font in _fonts(pdf) for code in font.cmap if code >= 0x20)
