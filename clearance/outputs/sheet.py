"""A drive as a printable sheet: large, black on white, on one page or two."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from clearance.core.drive import Drive, Finding, InOutAnswer, Stop
from clearance.core.facility import Facility
from clearance.core.structure import Standing
from clearance.outputs.directions import Step, StepKind, directions, length_text, step_text
from clearance.outputs.legs import halts, stop_letter
from clearance.outputs.measures import (
    Units,
    clearance_text,
    clock_text,
    coach_text,
    distance_text,
    duration_text,
)
from clearance.outputs.sheet_canvas import MISSING, Canvas, Mark, Paper, joins
from clearance.outputs.times import times_text
from clearance.outputs.turns import ROTATION
from clearance.outputs.wording import (
    CAUTIONS,
    advice,
    area_text,
    clearance_or_none,
    coach_line,
    facility_brief,
    facility_text,
    facility_title,
    headroom_text,
    in_out_text,
    obstacle_text,
    off_road_text,
    place_text,
    plain,
    standing_advice,
    standing_text,
    structure_text,
    turn_off_text,
    unchecked_text,
    verdict_sentence,
    verdict_word,
)

__all__ = ["Paper", "drive_sheet"]

_MARKS = {
    Standing.TOO_LOW: Mark.TOO_LOW,
    Standing.UNVERIFIED: Mark.UNVERIFIED,
    Standing.TIGHT: Mark.TIGHT,
    Standing.CLEAR: Mark.CLEAR,
}
#: How much larger than the smallest size the letters may be, where two pages hold them.
_LARGER = (1.25, 1.12)
_PAGES = 2
#: Millimetres between the two columns of directions, and below an entry.
_GUTTER, _GAP = 7.0, 2.2
#: Room in millimetres for a heading and what little is lost at the foot of a page before it.
_HEADING = 16.0
#: Widths in millimetres of the figure on the right of an entry, and of the mark on its left.
_FIGURE, _MARK = 33.0, 13.0


def drive_sheet(
    drive: Drive, units: Units = Units.FEET, *, paper: Paper = Paper.A4, made: datetime | None = None
) -> bytes:
    """The sheet of a drive as a PDF.

    It has two pages at most, unless the findings alone need more: none of them is ever left out. Where
    room is short, facilities along the way are told in brief or left out, those with the longest detour
    first, the best of each kind and the one for a full tank never; then steps of the directions far from
    every stop and structure are left out. The sheet says how many, where, and where to find them. `made` is
    the time of writing; the present where it is None.
    """
    shaped = any(joins(text) for text in _map_texts(drive))
    made = made or datetime.now(UTC)

    def drawn(scale: float) -> tuple[bool, bytes]:
        with Canvas(paper, _title(drive), made, shaped=shaped) as canvas:
            sheet = _Sheet(drive, units, canvas, scale)
            sheet.draw()
            return sheet.whole, canvas.bytes()

    whole, smallest = drawn(1.0)
    larger = map(drawn, _LARGER) if whole else iter(())
    return next((data for whole, data in larger if whole), smallest)


def _title(drive: Drive) -> str:
    names = [place_text(place) for place in drive.places]
    return f"{names[0]} to {names[-1]}" if len(names) > 1 else "".join(names) or "Drive"


def _map_texts(drive: Drive) -> Iterator[str]:
    yield from (piece.road for piece in drive.pieces)
    yield from (place.name for place in drive.places)
    for finding in (*drive.findings, *drive.in_the_way):
        yield from (finding.road, finding.structure.name, finding.structure.road)
        if finding.turn_off is not None:
            yield from (finding.turn_off.road, finding.turn_off.onto)
    yield from (obstacle.road for obstacle in drive.obstacles)
    for facility in drive.along:
        yield from (facility.place.name, *facility.notes)
    yield from drive.notes


@dataclass(frozen=True)
class _Row:
    """One line of a list in two columns: a step, how many were left out here, or a facility in brief."""

    text: str
    length: str
    step: Step | None = None
    bold: bool = False


class _Sheet:
    """Draws the parts of the sheet from the top down."""

    def __init__(self, drive: Drive, units: Units, canvas: Canvas, scale: float) -> None:
        self._c = canvas
        self._drive = drive
        self._units = units
        self._y = canvas.margin
        self._wide = canvas.right - canvas.left
        self._body, self._small, self._step, self._bold = (
            10.5 * scale,
            9.0 * scale,
            10.0 * scale,
            12.0 * scale,
        )
        self._heads = 14.0 * scale
        self._length = 17.0 * scale
        self._times_wide = 58.0 * scale
        self._shortened = False

    @property
    def whole(self) -> bool:
        """Whether everything stands on the pages there may be, nothing shortened."""
        return not self._shortened and self._c.pages <= _PAGES

    def draw(self) -> None:
        """Every part, from the top down."""
        self.head()
        self.findings()
        self.stops()
        self.along()
        self.steps()
        self.end()
        self.foot()

    # --- head -----------------------------------------------------------------------------------------

    def head(self) -> None:
        """The verdict on the left, the coach's height on the right, the drive below."""
        c, drive, units = self._c, self._drive, self._units
        top, left = self._y, c.left
        height = coach_text(drive.coach.height, units)
        box = max(76.0, min(c.width(height, 64, bold=True) + 10, self._wide * 0.55))
        wide = self._wide - box - 8

        y = top + c.text(_title(drive), left, top, wide, 11)
        when = self._departure()
        y += c.text(when, left, y, wide, 11)
        y += 2.5
        y += c.text(verdict_word(drive.verdict), left, y, wide, 30, bold=True) + 1
        y += c.text(verdict_sentence(drive, units), left, y, wide, 13)

        x, inner = c.right - box, box - 8
        by = top + 3
        by += c.text("YOUR COACH IS", x + 4, by, inner, 10, bold=True) + 1
        size = 64.0
        while c.width(height, size, bold=True) > inner and size > 24:
            size -= 1
        by += c.text(height, x + 4, by, inner, size, bold=True)
        need = f"needs {coach_text(drive.coach.need, units)}"
        by += c.text(need, x + 4, by, inner, 22, bold=True)
        other = Units.METRES if units is Units.FEET else Units.FEET
        if units is not Units.BOTH:
            also = f"{coach_text(drive.coach.height, other)}, needs {coach_text(drive.coach.need, other)}"
            by += c.text(also, x + 4, by, inner, 10.5)
        by += 3
        c.box(x, top, box, by - top, 1.0)

        y = max(y, by) + 3
        y += c.text(" · ".join(self._facts()), left, y, self._wide, 13, bold=True)
        y += c.text(f"Coach: {coach_line(drive.coach, units)}.", left, y, self._wide, self._small)
        self._y = y + 2

    def _departure(self) -> str:
        leaves = self._drive.departure
        return "" if leaves is None else f"{leaves:%Y-%m-%d}, leaving {clock_text(leaves, self._units)}"

    def _facts(self) -> Iterator[str]:
        drive, units = self._drive, self._units
        if drive.pieces:
            yield distance_text(drive.distance_m, units)
            yield f"{duration_text(drive.duration_s)} at the wheel"
        if drive.ceiling is not None:
            yield f"lowest known on the way {clearance_text(drive.ceiling, units)}"

    # --- findings -------------------------------------------------------------------------------------

    def findings(self) -> None:
        """Every structure in driving order; what to do at those that do not stand clear."""
        drive = self._drive
        if drive.findings:
            self._heading("On the way, in order")
        elif not drive.in_the_way and drive.pieces:
            self._heading("On the way")
            self._paragraph("No structure over or across the road is known on this drive.")
        self._entries(drive.findings)
        for part in drive.unchecked:
            where = distance_text(part.distance_m, self._units)
            self._paragraph(f"At {where}: {unchecked_text(part, self._units)}", bold=True)
        if drive.in_the_way or drive.obstacles:
            self._heading("What stands in the way")
            self._entries(drive.in_the_way)
            for obstacle in drive.obstacles:
                self._paragraph(f"Limit: {obstacle_text(obstacle)}")

    def _entries(self, found: Sequence[Finding]) -> None:
        brief = self._brief(found)
        if brief:
            self._shortened = True
            for standing in (Standing.TOO_LOW, Standing.UNVERIFIED, Standing.TIGHT):
                if any(f.standing is standing for f in found):
                    what = standing_advice(standing, self._drive.coach, self._units)
                    self._paragraph(f"{standing_text(standing)}: {what}")
            self._y += 1
        clear: list[Finding] = []
        small = False
        for finding in found:
            if finding.standing is not Standing.CLEAR:
                self._y += 1.5 if small else 0.0
                self._entry(finding, brief=brief)
                small = False
            elif brief:
                clear.append(finding)
            else:
                self._clear(finding)
                small = True
        if clear:
            self._paragraph(f"Clear, between those: {'; '.join(map(self._clear_words, clear))}.")

    def _brief(self, found: Sequence[Finding]) -> bool:
        """Whether advice in full would take more than the first page."""
        wide = self._wide - _MARK - _FIGURE
        watched = [f for f in found if f.standing is not Standing.CLEAR]
        need = sum(
            self._c.height(advice(f, self._drive.coach, self._units), wide, self._body) + 16 for f in watched
        )
        return need + 6.5 * (len(found) - len(watched)) > self._c.bottom - self._y

    def _clear_words(self, finding: Finding) -> str:
        what = structure_text(finding.structure, finding.road)
        return f"{finding.number} {what}, {clearance_or_none(finding, self._units)} {self._distance(finding)}"

    def _clear(self, finding: Finding) -> None:
        c = self._c
        what = _capital(structure_text(finding.structure, finding.road))
        wide = self._wide - _MARK - _FIGURE - 26
        high = max(7.2, c.height(what, wide, self._body) + 1.5)
        self._room(high)
        drop = (7.2 - 0.6 - c.line_height(self._body)) / 2
        c.mark(Mark.CLEAR, c.left + 1.9, self._y, 6.8, str(finding.number))
        c.text(what, c.left + _MARK, self._y + drop, wide, self._body)
        x = c.right - _FIGURE
        c.text(self._distance(finding), x - 26, self._y + drop, 26, self._body, right=True)
        figure = clearance_or_none(finding, self._units)
        size = self._fitting(figure, _FIGURE - 2, 13.0)
        c.text(
            figure, x + 2, self._y + (6.6 - c.line_height(size)) / 2, _FIGURE - 2, size, bold=True, right=True
        )
        self._y += high

    def _fitting(self, text: str, width: float, size: float) -> float:
        """The size at which a bold text fits into a width: the given one, or smaller."""
        while self._c.width(text, size, bold=True) > width and size > 7:
            size -= 0.5
        return size

    def _distance(self, finding: Finding) -> str:
        return f"at {distance_text(finding.distance_m, self._units)}" if self._drive.pieces else ""

    def _entry(self, finding: Finding, *, brief: bool) -> None:
        c, units = self._c, self._units
        x, wide = c.left + _MARK, self._wide - _MARK - _FIGURE
        what = _capital(structure_text(finding.structure, finding.road))
        title = f"{standing_text(finding.standing)} · {what}"
        text = headroom_text(finding, units) if brief else advice(finding, self._drive.coach, units)
        turn_off = turn_off_text(finding, units) if self._drive.pieces else ""
        if brief:
            text, turn_off = " · ".join(t for t in (_capital(text), turn_off) if t), ""
        high = c.height(title, wide, self._bold, bold=True) + 0.6
        high += c.height(text, wide, self._body) + c.height(turn_off, wide, self._body, bold=True)
        high = max(high, 13.0)
        self._room(high + _GAP)
        y = self._y
        c.mark(_MARKS[finding.standing], c.left, y + 0.2, 10.5, str(finding.number))
        figure = clearance_or_none(finding, units)
        size = self._fitting(figure, _FIGURE - 2, 19.0 if finding.clearance is not None else 13.0)
        down = c.text(figure, c.right - _FIGURE + 2, y, _FIGURE - 2, size, bold=True, right=True)
        c.text(self._distance(finding), c.right - _FIGURE, y + down, _FIGURE, self._body, right=True)
        y += c.text(title, x, y, wide, self._bold, bold=True) + 0.6
        y += c.text(text, x, y, wide, self._body)
        c.text(turn_off, x, y, wide, self._body, bold=True)
        self._y += high + _GAP
        c.rule(self._y - 1.2, 0.15, x=x)

    # --- stops ----------------------------------------------------------------------------------------

    def stops(self) -> None:
        """Each place with its times and its way in and out, where something is to be told of it."""
        found = halts(self._drive)
        plain_ = not any(s.in_out or off_road_text(s) for s in found)
        if plain_ and len(found) < 3 and self._drive.departure is None:
            return
        together = 14 + sum(self._stop_height(stop) for stop in found)
        if together < self._c.bottom / 2:
            self._room(together)
        self._heading("Stops")
        for index, stop in enumerate(found):
            self._stop(index, stop)

    def _stop_height(self, stop: Stop) -> float:
        wide = self._wide - _MARK
        text = self._stop_words(stop)
        high = self._c.height(place_text(stop.place), wide - self._times_wide, self._bold, bold=True)
        return max(high + self._c.height(text, wide, self._body), 8) + 1

    def _stop(self, index: int, stop: Stop) -> None:
        c, x, wide = self._c, self._c.left + _MARK, self._wide - _MARK
        high = self._stop_height(stop)
        self._room(high)
        y = self._y
        c.mark(Mark.STOP, c.left + 1.5, y, 7.5, stop_letter(index))
        c.text(self._times(stop), c.right - self._times_wide, y, self._times_wide, self._body, right=True)
        y += c.text(place_text(stop.place), x, y, wide - self._times_wide, self._bold, bold=True)
        c.text(self._stop_words(stop), x, y, wide, self._body)
        self._y += high

    def _stop_words(self, stop: Stop) -> str:
        told = ["" if stop.in_out is None else in_out_text(stop.in_out, self._units)]
        told.append(off_road_text(stop, self._units))
        return " ".join(text for text in told if text)

    def _times(self, stop: Stop) -> str:
        if not self._drive.pieces:
            return ""
        where = f"at {distance_text(stop.distance_m, self._units)}" if stop.distance_m > 0 else ""
        clock, stay = times_text(self._drive, stop, self._units), stop.leaves_s - stop.arrives_s
        if not clock and stay >= 60:
            clock = f"{duration_text(stay)} there"
        return ", ".join(text for text in (where, clock) if text)

    # --- along the way --------------------------------------------------------------------------------

    def along(self) -> None:
        """Facilities, as many and as fully as leave the directions their room."""
        found = self._drive.along
        if not found:
            return
        tank = [f for f in found if f.full_tank]
        others = [f for f in found if not f.full_tank]
        steps = directions(self._drive)
        rows = [self._row(step) for step in steps]
        end = self._end_height()
        if self._fits(rows, end, below=_HEADING + sum(map(self._facility_height, found))):
            self._heading("Along the way")
            for facility in found:
                self._facility(facility)
            return
        self._shortened = True
        first = _HEADING + sum(map(self._facility_height, tank))
        kept = _most_useful(others)
        best = len({f.kind for f in others})
        # Steps that may go make room for the best of each kind, those that may not do not.
        needed = self._rows(steps, [step for step in steps if step.kind is not StepKind.TURN])
        while kept and not self._fits(
            rows if len(kept) > best else needed, end, below=first + self._brief_height(others, kept)
        ):
            kept.pop()
        self._heading("Along the way")
        for facility in tank:
            self._facility(facility)
        if words := self._left_out_words(len(others) - len(kept)):
            self._paragraph(words)
        self._columns([self._brief_row(f) for f in others if f in kept])

    def _facility_height(self, facility: Facility) -> float:
        c, wide = self._c, self._wide - _MARK
        high = c.height(facility_title(facility), wide, self._body, bold=True)
        return max(high + c.height(self._facility_words(facility), wide, self._small), 6) + 1

    def _facility(self, facility: Facility) -> None:
        c, x, wide = self._c, self._c.left + _MARK, self._wide - _MARK
        high = self._facility_height(facility)
        self._room(high)
        c.mark(Mark.FULL_TANK if facility.full_tank else Mark.FACILITY, c.left + 2.4, self._y + 0.3, 5.6, "")
        y = self._y + c.text(facility_title(facility), x, self._y, wide, self._body, bold=True)
        c.text(self._facility_words(facility), x, y, wide, self._small)
        self._y += high

    def _facility_words(self, facility: Facility) -> str:
        return _capital(facility_text(facility, self._drive.coach, self._units))

    def _brief_row(self, facility: Facility) -> _Row:
        text = facility_brief(facility, self._drive.coach, self._units)
        return _Row(text, distance_text(facility.distance_m, self._units))

    def _brief_height(self, others: Sequence[Facility], kept: Sequence[Facility]) -> float:
        rows = [self._row_height(self._brief_row(f)) for f in kept]
        words = self._left_out_words(len(others) - len(kept))
        # Columns are equal to within a row.
        return sum(rows) / 2 + max(rows, default=0) + self._c.height(words, self._wide, self._body) + _GAP

    @staticmethod
    def _left_out_words(count: int) -> str:
        if not count:
            return ""
        some = "1 facility is" if count == 1 else f"{count} facilities are"
        return (
            f"{some} not printed here, of longer detours or harder to get out of. "
            "The HTML page and the GPX file of this drive have them all."
        )

    # --- directions -----------------------------------------------------------------------------------

    def steps(self) -> None:
        """The directions in two columns, shortened where they would need more than the pages left."""
        steps = directions(self._drive)
        if not steps:
            return
        c = self._c
        if self._y + 40 > c.bottom:
            self._new_page()
        end = self._end_height()
        rows, left_out = [self._row(step) for step in steps], 0
        kept = list(steps)
        for dropped in _far_first(self._drive, steps):
            if self._fits(rows, end):
                break
            kept = [step for step in kept if step is not dropped]
            left_out += 1
            rows = self._rows(steps, kept)
        self._heading("Directions")
        self._columns(rows)
        if left_out:
            self._shortened = True
            some = "1 step is" if left_out == 1 else f"{left_out} steps are"
            self._paragraph(
                f"{some} not printed here, of {len(steps)}: those far from every stop and structure. "
                "The HTML page and the GPX file of this drive have them all.",
                bold=True,
            )

    def _row(self, step: Step) -> _Row:
        text = plain(step_text(step))
        if step.findings:
            text += f" (passes\u00a0{', '.join(map(str, step.findings))})"
        return _Row(
            text, length_text(step, self._units), step, bold=step.kind in (StepKind.STOP, StepKind.ARRIVE)
        )

    def _rows(self, steps: Sequence[Step], kept: Sequence[Step]) -> list[_Row]:
        keep = {id(step) for step in kept}
        rows: list[_Row] = []
        gap: list[Step] = []
        for step in steps:
            if id(step) not in keep:
                gap.append(step)
                continue
            if gap:
                rows.append(self._gap_row(gap))
                gap = []
            rows.append(self._row(step))
        return rows

    def _gap_row(self, gap: Sequence[Step]) -> _Row:
        some = "1 step" if len(gap) == 1 else f"{len(gap)} steps"
        length = distance_text(sum(step.length_m for step in gap), self._units)
        return _Row(f"... {some} not printed", length, bold=True)

    def _row_height(self, row: _Row) -> float:
        return self._c.height(row.text, self._column - 8 - self._length, self._step, bold=row.bold) + 1.6

    @property
    def _column(self) -> float:
        return (self._wide - _GUTTER) / 2

    def _fits(self, rows: Sequence[_Row], end: float, below: float = 0.0) -> bool:
        """Whether the rows, their heading and the end of the sheet fit on the pages there may be.

        `below`: millimetres that are still to be drawn before the rows.
        """
        room = [self._c.bottom - self._y - 12]
        room += [self._c.bottom - self._c.margin] * max(0, _PAGES - self._c.pages)
        room[-1] -= end + 12
        while below > 0 and room:
            room[0] -= below
            if room[0] >= 0:
                break
            below = -room.pop(0)
        if not room:
            return False
        heights = [self._row_height(row) for row in rows]
        start = 0
        for high in room:
            start += _filled(heights[start:], high)[1]
        return start >= len(rows)

    def _columns(self, rows: Sequence[_Row]) -> None:
        heights = [self._row_height(row) for row in rows]
        start = 0
        while start < len(rows):
            first, both = _filled(heights[start:], self._c.bottom - self._y)
            if both >= len(rows) - start:
                # All the rest fits: the columns are made equal.
                rest = heights[start:]
                high = next(h for h in _heights(rest) if _filled(rest, h)[1] >= len(rest))
                first, both = _filled(rest, high)
            if not both:
                self._new_page()
                continue
            tops = []
            for column, (a, b) in enumerate(((start, start + first), (start + first, start + both))):
                x, y = self._c.left + column * (self._column + _GUTTER), self._y
                for row, high in zip(rows[a:b], heights[a:b], strict=True):
                    self._draw_row(row, x, y)
                    y += high
                tops.append(y)
            start += both
            self._y = max(tops) + _GAP
            if start < len(rows):
                self._new_page()

    def _draw_row(self, row: _Row, x: float, y: float) -> None:
        c, step = self._c, row.step
        middle = y + c.line_height(self._step) / 2
        if step is not None and step.turn is not None:
            c.arrow(x + 3, middle, 4.4, ROTATION[step.turn])
        elif step is not None:
            c.dot(x + 3, middle, 1.1)
        elif not row.bold:
            c.mark(Mark.FACILITY, x + 1, middle - 2, 4.0, "")
        high = c.text(row.text, x + 8, y, self._column - 8 - self._length, self._step, bold=row.bold)
        c.text(row.length, x + self._column - self._length, y, self._length, self._step, right=True)
        c.rule(y + high + 0.7, 0.1, x=x, to=x + self._column)

    # --- end ------------------------------------------------------------------------------------------

    def _end_texts(self) -> list[str]:
        known = area_text(self._drive.area)
        return [*filter(None, [known]), *CAUTIONS, *(plain(note) for note in self._drive.notes)]

    def _end_height(self) -> float:
        return 12 + sum(self._c.height(t, self._wide - 4, self._small) + 0.6 for t in self._end_texts())

    def end(self) -> None:
        """Cautions and notes, kept together."""
        if self._y + self._end_height() > self._c.bottom:
            self._new_page()
        self._heading("Before you drive")
        for text in self._end_texts():
            self._c.dot(self._c.left + 1.2, self._y + self._c.line_height(self._small) / 2, 0.6)
            self._y += self._c.text(text, self._c.left + 4, self._y, self._wide - 4, self._small) + 0.6

    def foot(self) -> None:
        """Data date and attribution at the foot of every page."""
        info = self._drive.info
        texts = [f"Map data of {plain(info.data_date)[:10] or 'a date not known'}", plain(info.attribution)]
        if self._c.missing:
            texts.append(f"{MISSING} is a letter this sheet cannot print")
        self._c.foot(texts)

    # --- common ---------------------------------------------------------------------------------------

    def _new_page(self) -> None:
        self._c.add_page()
        self._y = self._c.margin

    def _room(self, high: float) -> None:
        if self._y + high > self._c.bottom:
            self._new_page()

    def _heading(self, text: str) -> None:
        self._room(24)
        self._y += 2
        self._c.rule(self._y, 0.6)
        self._y += 1.8
        self._y += self._c.text(text, self._c.left, self._y, self._wide, self._heads, bold=True) + 1.6

    def _paragraph(self, text: str, *, bold: bool = False) -> None:
        self._room(self._c.height(text, self._wide, self._body, bold=bold))
        self._y += self._c.text(text, self._c.left, self._y, self._wide, self._body, bold=bold) + 1


def _most_useful(facilities: Sequence[Facility]) -> list[Facility]:
    """The best of each kind, then the others, each by what getting there and out again asks."""

    def asks(facility: Facility) -> tuple[bool, float]:
        return facility.in_out.answer is not InOutAnswer.DRIVES_THROUGH, facility.detour_s

    by_use = sorted(facilities, key=asks)
    best = list({f.kind: f for f in reversed(by_use)}.values())
    return [*sorted(best, key=asks), *(f for f in by_use if f not in best)]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _filled(heights: Sequence[float], room: float) -> tuple[int, int]:
    """How many rows fit into the first of two columns of a height, and how many into both."""
    counts, used, column = [0, 0], 0.0, 0
    for high in heights:
        if used + high > room:
            column, used = column + 1, 0.0
            if column > 1 or high > room:
                break
        counts[column] += 1
        used += high
    return counts[0], counts[0] + counts[1]


def _heights(rows: Sequence[float]) -> Iterator[float]:
    """Heights of a column worth trying, from half of all rows upwards."""
    high = sum(rows) / 2
    while True:
        yield high
        high += 2


def _far_first(drive: Drive, steps: Sequence[Step]) -> list[Step]:
    """The steps that may be left out, those farthest from anything that matters first."""
    matters = [s.distance_m for s in steps if s.kind is not StepKind.TURN]
    for finding in drive.findings:
        if finding.standing is not Standing.CLEAR:
            matters.append(finding.distance_m)
            if finding.turn_off is not None:
                matters.append(finding.turn_off.distance_m)
    turns = [s for s in steps if s.kind is StepKind.TURN]
    return sorted(turns, key=lambda s: -min(abs(s.distance_m - m) for m in matters))
