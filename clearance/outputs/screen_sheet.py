"""A screening as a sheet for the glove box: one page for each coach, black on white."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import Enum

from clearance.core.drive import InOutAnswer, Verdict
from clearance.core.screening import Row, Screening, Totals, Trip, totals
from clearance.core.structure import Standing, Structure
from clearance.outputs.measures import Units, clearance_text, coach_text, distance_text
from clearance.outputs.screen_geojson import mark_of
from clearance.outputs.screen_words import (
    by_key,
    clock_span,
    coach_names,
    common_bar_text,
    driven_text,
    reason_parts,
    verdict_of_row,
)
from clearance.outputs.sheet_canvas import Canvas, Mark, Paper, joins
from clearance.outputs.wording import CAUTIONS, coach_line, place_text, plain

__all__ = ["screen_sheet"]

_MARKS = {
    Standing.TOO_LOW: (Mark.TOO_LOW, "×"),
    Standing.UNVERIFIED: (Mark.UNVERIFIED, "?"),
    Standing.TIGHT: (Mark.TIGHT, "!"),
    Standing.CLEAR: (Mark.CLEAR, ""),
}
_WORST_FIRST = (Verdict.BLOCKED, Verdict.CARE, Verdict.CLEAR)


class _Reasons(Enum):
    """Of which destinations the reasons are told."""

    ALL = "all"
    FLAGGED = "flagged"
    NONE = "none"


#: Sizes of the letters in points and what is told, the most readable first.
_LEVELS = (
    (11.0, _Reasons.ALL),
    (9.5, _Reasons.ALL),
    (10.5, _Reasons.FLAGGED),
    (9.5, _Reasons.FLAGGED),
    (8.5, _Reasons.FLAGGED),
    (8.5, _Reasons.NONE),
)
#: Widths in millimetres of the mark, and of the columns on the right.
_MARK = 8.0
_COLUMNS = (
    ("verdict", 24.0, False),
    ("there", 26.0, True),
    ("back", 26.0, True),
    ("extra", 13.0, True),
    ("lowest", 18.0, True),
    ("not verified", 12.0, True),
)
_SMALL = 8.5
_LEGEND = (
    "Times are h:mm; extra is time beyond a car's; lowest is the lowest known height; "
    "not verified counts structures of unknown height."
)
#: The most lines that name what could not be screened.
_NAMED_LINES = 2


def screen_sheet(
    screening: Screening, units: Units = Units.FEET, *, paper: Paper = Paper.A4, made: datetime | None = None
) -> bytes:
    """A PDF with one page for each coach: its height, the totals, and the destinations, worst first.

    Where room is short the reasons of clear destinations go first, then clear destinations themselves, then
    the other reasons. The page says how many destinations are left out, and of which verdicts. `made` is the
    time of writing; the present where it is None.
    """
    shaped = any(joins(text) for text in _map_texts(screening))
    title = f"Destinations from {place_text(screening.home)}"
    sums, names = totals(screening), coach_names(screening)
    with Canvas(paper, title, made or datetime.now(UTC), shaped=shaped) as canvas:
        for number in range(len(screening.coaches)):
            if number:
                canvas.add_page()
            _Page(screening, number, names[number], sums[number], units=units, canvas=canvas).draw()
        info = screening.info
        dated = f"of {plain(info.data_date)[:10]}" if info.data_date else "of a date not known"
        canvas.foot([f"Map data {dated}", plain(info.attribution), plain(info.source)])
        return canvas.bytes()


def _map_texts(screening: Screening) -> Iterator[str]:
    yield screening.home.name
    yield from (row.place.name for row in screening.rows)
    for structure in screening.structures:
        yield from (structure.name, structure.road)


@dataclass(frozen=True, slots=True)
class _Line:
    """A destination as it is drawn: its cells by column, and its reason."""

    row: Row
    name: str
    cells: Mapping[str, str]
    why: str
    #: What blocks it, for the place of the figures that it does not have.
    block: str

    @property
    def flagged(self) -> bool:
        """Whether there is anything to mind."""
        return self.row.verdict is not Verdict.CLEAR

    def told(self, reasons: _Reasons) -> str:
        """Its reason where it is told."""
        return self.why if reasons is _Reasons.ALL or (reasons is _Reasons.FLAGGED and self.flagged) else ""


class _Page:
    """Draws the page of one coach from the top down."""

    def __init__(
        self, screening: Screening, number: int, name: str, sums: Totals, *, units: Units, canvas: Canvas
    ) -> None:
        self._c, self._units, self._sums, self._name = canvas, units, sums, name
        self._screening, self._coach = screening, screening.coaches[number]
        self._y = canvas.margin
        self._wide = canvas.right - canvas.left
        # The worst first, whatever the order of the list; alike as the list has them.
        rows = sorted(screening.of_coach(number), key=lambda row: _WORST_FIRST.index(row.verdict))
        known = by_key(screening)
        self._lines = [self._line(row, known) for row in rows]
        self._foot = " ".join([_LEGEND, *CAUTIONS[:3]])
        self._bar = common_bar_text(screening, number, self._one)
        self._unscreened = self._names_of_unscreened(number)

    def _line(self, row: Row, known: Mapping[str, Structure]) -> _Line:
        units = self._units
        cells = {
            "verdict": verdict_of_row(row),
            "there": self._trip(row.there),
            "back": self._trip(row.back),
            "extra": "" if row.extra_s is None else clock_span(max(row.extra_s, 0.0)),
            "lowest": "" if row.ceiling is None else clearance_text(row.ceiling, self._one),
            "not verified": str(len(row.unverified)) if row.trips else "",
        }
        name = place_text(row.place)
        if row.in_out is not None and row.in_out.answer is not InOutAnswer.DRIVES_THROUGH:
            name += f" ({row.in_out.answer.value})"
        parts = reason_parts(row, known, units)
        block = parts[min(1, len(parts) - 1)] if row.verdict is Verdict.BLOCKED else ""
        return _Line(row, name, cells, " ".join(parts), block)

    def _names_of_unscreened(self, number: int) -> str:
        """The destinations that could not be screened, by name where they have one, in a few lines."""
        names = [
            plain(problem.name) or plain(problem.where)
            for problem in self._screening.problems
            if problem.coach in (None, number)
        ]
        told = ""
        for count in range(1, len(names) + 1):
            more = f"; {len(names) - count} more" if count < len(names) else ""
            text = f"Not screened, so nothing is known of the way there: {'; '.join(names[:count])}{more}."
            high = self._c.height(text, self._wide, _SMALL)
            if told and high > self._c.line_height(_SMALL) * _NAMED_LINES + 0.1:
                break
            told = text
        return told

    @property
    def _one(self) -> Units:
        """Units of what has room for one figure alone."""
        return Units.METRES if self._units is Units.METRES else Units.FEET

    def _trip(self, trip: Trip | None) -> str:
        if trip is None:
            return ""
        return f"{clock_span(trip.duration_s)}  {distance_text(trip.distance_m, self._one)}"

    # --- parts

    def draw(self) -> None:
        """Draw it all; the place of what stands at the foot is kept free."""
        self._head()
        low = self._c.bottom - self._c.height(self._foot, self._wide, _SMALL) - 2
        foot = low + 2
        if self._unscreened:
            low -= self._c.height(self._unscreened, self._wide, _SMALL) + 1.5
        size, reasons = self._level(low)
        self._columns(size)
        self._rows(low, size, reasons)
        self._c.text(self._unscreened, self._c.left, low + 2, self._wide, _SMALL)
        self._c.text(self._foot, self._c.left, foot, self._wide, _SMALL)

    def _head(self) -> None:
        c = self._c
        figure = coach_text(self._coach.height, self._one)
        wide = c.width(figure, 46, bold=True) + 4
        c.text(figure, c.right - wide, self._y - 2, wide, 46, bold=True, right=True)
        left = self._wide - wide - 4
        y = self._y
        title = f"Destinations from {place_text(self._screening.home)}"
        y += c.text(title, c.left, y, left, 16, bold=True)
        y += c.text(f"{self._name}: {coach_line(self._coach, self._units)}", c.left, y, left, 10.5)
        y = max(y, self._y + c.line_height(46)) + 2
        sums = self._sums
        counts = f"{sums.blocked} BLOCKED · {sums.care} TAKE CARE · {sums.clear} CLEAR"
        if sums.problems:
            counts += f" · {sums.problems} not screened"
        y += c.text(counts, c.left, y, self._wide, 13, bold=True)
        y += c.text(driven_text(sums, self._units), c.left, y, self._wide, 9.5)
        y += c.text(self._bar, c.left, y, self._wide, 9.5, bold=True) + 3.5
        self._y = y

    def _level(self, low: float) -> tuple[float, _Reasons]:
        """The most readable way in which all destinations fit; where none does, in which the flagged do."""
        room = low - self._y - 10
        flagged = [line for line in self._lines if line.flagged]
        for lines in (self._lines, flagged):
            for size, reasons in _LEVELS:
                saying_so = 0.0 if lines is self._lines else self._height_of_left_out(size)
                if sum(self._height(line, size, reasons) for line in lines) + saying_so <= room:
                    return size, _Reasons.FLAGGED if lines is flagged and reasons is _Reasons.ALL else reasons
        return _LEVELS[-1]

    def _height_of_left_out(self, size: float) -> float:
        """The room for telling what is left out, whatever that will be."""
        longest = _left_out_text([line.row for line in self._lines])
        return self._c.height(longest, self._wide, size, bold=True)

    def _columns(self, size: float) -> None:
        c, x = self._c, self._c.right - sum(width for _, width, _ in _COLUMNS)
        high = c.line_height(_SMALL) * 2
        c.text("destination", c.left + _MARK, self._y + high / 2, 40, _SMALL)
        for name, width, right in _COLUMNS:
            lines = c.height(name, width - 2, _SMALL)
            c.text(name, x, self._y + high - lines, width - (0 if right else 2), _SMALL, right=right)
            x += width
        self._y += high + 0.6
        c.rule(self._y, 0.4)
        self._y += 0.8 + (size - 8) * 0.05

    def _name_width(self) -> float:
        return self._wide - _MARK - sum(width for _, width, _ in _COLUMNS) - 2

    def _height(self, line: _Line, size: float, reasons: _Reasons) -> float:
        c = self._c
        high = max(c.height(line.name, self._name_width(), size, bold=True), c.line_height(size))
        return high + c.height(line.told(reasons), self._wide - _MARK, max(size - 1.5, 7.5)) + 1.4

    def _rows(self, low: float, size: float, reasons: _Reasons) -> None:
        c = self._c
        left_out: list[Row] = []
        heights = [self._height(line, size, reasons) for line in self._lines]
        # The line that tells what is left out has its room kept, where anything is.
        kept = 0.0 if self._y + sum(heights) <= low else self._height_of_left_out(size)
        for line, high in zip(self._lines, heights, strict=True):
            if left_out or self._y + high + kept > low:
                left_out.append(line.row)
                continue
            self._row(line, size, reasons)
            self._y += high
            c.rule(self._y - 0.7, 0.1)
        if left_out:
            c.text(_left_out_text(left_out), c.left, self._y, self._wide, size, bold=True)

    def _row(self, line: _Line, size: float, reasons: _Reasons) -> None:
        c, y = self._c, self._y
        mark, sign = _MARKS[mark_of(line.row)]
        square, small = c.line_height(size) * 1.1, max(size - 1.5, 7.5)
        c.mark(mark, c.left + 0.4, y, square, sign, share=0.6)
        x = c.right - sum(width for _, width, _ in _COLUMNS)
        for name, width, right in _COLUMNS:
            c.text(line.cells[name], x, y, width, size, bold=name == "verdict", right=right)
            x += width
        why = line.told(reasons)
        if line.block and not why:
            x = c.right - sum(width for _, width, _ in _COLUMNS[1:])
            c.text(c.cut(line.block, c.right - x, small), x, y, c.right - x, small)
        down = c.text(line.name, c.left + _MARK, y, self._name_width(), size, bold=True)
        c.text(why, c.left + _MARK, y + max(down, c.line_height(size)), self._wide - _MARK, small)


def _left_out_text(rows: Sequence[Row]) -> str:
    words = {Verdict.BLOCKED: "blocked", Verdict.CARE: "to take care at", Verdict.CLEAR: "clear"}
    counts = {verdict: sum(row.verdict is verdict for row in rows) for verdict in _WORST_FIRST}
    told = ", ".join(f"{number} {words[verdict]}" for verdict, number in counts.items() if number)
    return f"Not on this page for want of room: {told}. They are in every other file of this screening."
