"""A drive as GPX 1.1: waypoints for stops, findings, turn-offs and facilities, a route of turns, a track.

Elements stand in the order of the schema (topografix.com/GPX/1/1/gpx.xsd), which is a sequence.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import chain

from clearance import __version__
from clearance.core.drive import Drive, Finding, Stop
from clearance.core.extract import ATTRIBUTION
from clearance.core.facility import Facility
from clearance.core.structure import Standing
from clearance.outputs.directions import AT_ONCE, directions, length_text, step_text
from clearance.outputs.legs import halts, legs, lines, stop_letter
from clearance.outputs.marks import FACILITY_MARK, FULL_TANK_MARK, MARKS, PLACE_MARK, TURN_OFF_MARK
from clearance.outputs.measures import Units, distance_text, duration_text
from clearance.outputs.times import stop_text
from clearance.outputs.wording import (
    CAUTIONS,
    advice,
    clearance_or_none,
    coach_line,
    evidence_lines,
    facility_text,
    facility_title,
    finding_title,
    in_out_text,
    obstacle_text,
    off_road_text,
    place_text,
    plain,
    standing_text,
    turn_off_text,
    unchecked_text,
    verdict_sentence,
    verdict_word,
)

__all__ = ["drive_gpx"]

_NAMESPACE = "http://www.topografix.com/GPX/1/1"
_SCHEMA = "http://www.topografix.com/GPX/1/1/gpx.xsd"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
_ODBL = "https://opendatacommons.org/licenses/odbl/1-0/"

#: What XML 1.0 cannot hold, escaped or not (section 2.2, Characters).
_NO_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

Point = tuple[float, float]


def drive_gpx(drive: Drive, units: Units = Units.FEET, *, made: datetime | None = None) -> str:
    """The drive as one GPX 1.1 document.

    Each leg is a segment of the track, more where gaps part it; parts of an inspected line that were not
    checked are tracks of their own. `made` is the time of writing, with a zone; the present where it is
    None. A blocked drive has waypoints only: what is in the way.
    """
    root = ET.Element(
        "gpx",
        {
            "xmlns": _NAMESPACE,
            "xmlns:xsi": _XSI,
            "xsi:schemaLocation": f"{_NAMESPACE} {_SCHEMA}",
            "version": "1.1",
            "creator": f"clearance {__version__}",
        },
    )
    title = _title(drive)
    _metadata(root, drive, units, title, (made or datetime.now(UTC)).astimezone(UTC))
    for index, stop in enumerate(halts(drive)):
        _stop(root, drive, stop, index, units)
    for finding in chain(drive.findings, drive.in_the_way):
        _finding(root, drive, finding, units)
    for facility in drive.along:
        _facility(root, drive, facility, units)
    if drive.pieces:
        _route(root, drive, units, title)
        _track(root, drive, units, title)
    for part in drive.unchecked:
        track = _child(root, "trk")
        _child(track, "name", "Not checked")
        _child(track, "desc", unchecked_text(part, units))
        _segment(track, part.points)
    ET.indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(root, encoding="unicode")}\n'


def _title(drive: Drive) -> str:
    if not drive.places:
        return f"Drive for {plain(drive.coach.name)}"
    first, last = drive.places[0], drive.places[-1]
    return f"{place_text(first)} to {place_text(last)}"


def _metadata(root: ET.Element, drive: Drive, units: Units, title: str, made: datetime) -> None:
    metadata = _child(root, "metadata")
    _child(metadata, "name", title)
    _child(metadata, "desc", "\n".join([*_summary(drive, units), *CAUTIONS]))
    holder = _child(metadata, "copyright")
    holder.set("author", _clean(plain(drive.info.attribution)))
    if drive.info.attribution == ATTRIBUTION:
        _child(holder, "license", _ODBL)
    _child(metadata, "time", f"{made:%Y-%m-%dT%H:%M:%SZ}")


def _summary(drive: Drive, units: Units) -> Iterator[str]:
    yield f"{verdict_word(drive.verdict)}: {verdict_sentence(drive, units)}"
    yield f"Coach: {coach_line(drive.coach, units)}."
    if drive.pieces:
        yield f"{distance_text(drive.distance_m, units)}, {duration_text(drive.duration_s)}."
    for obstacle in drive.obstacles:
        yield f"Closed by {obstacle_text(obstacle)}."
    for part in drive.unchecked:
        yield unchecked_text(part, units)
    yield from (plain(note) for note in drive.notes)
    yield f"Map data of {plain(drive.info.data_date)[:10] or 'unknown date'}."


def _stop(root: ET.Element, drive: Drive, stop: Stop, index: int, units: Units) -> None:
    lines = [
        stop_text(drive, stop, units),
        "" if stop.in_out is None else in_out_text(stop.in_out, units),
        off_road_text(stop, units),
    ]
    _waypoint(
        root,
        (stop.lon, stop.lat),
        name=f"{stop_letter(index)} {place_text(stop.place)}",
        desc=lines,
        sym=PLACE_MARK.symbol,
        kind="stop",
    )


def _finding(root: ET.Element, drive: Drive, finding: Finding, units: Units) -> None:
    label = f"{finding.number} {standing_text(finding.standing)}"
    lines = [
        finding_title(finding, units),
        advice(finding, drive.coach, units),
        turn_off_text(finding, units),
    ]
    lines += evidence_lines(finding.structure, units)
    _waypoint(
        root,
        (finding.lon, finding.lat),
        name=f"{label} {clearance_or_none(finding, units)}",
        desc=lines,
        sym=MARKS[finding.standing][0].symbol,
        kind=f"finding: {finding.standing}",
    )
    off = finding.turn_off
    if off is not None and finding.standing is not Standing.CLEAR:
        _waypoint(
            root,
            (off.lon, off.lat),
            name=f"Turn-off for {label}",
            desc=[turn_off_text(finding, units)],
            sym=TURN_OFF_MARK.symbol,
            kind="turn-off",
        )


def _facility(root: ET.Element, drive: Drive, facility: Facility, units: Units) -> None:
    text = facility_text(facility, drive.coach, units)
    _waypoint(
        root,
        (facility.lon, facility.lat),
        name=facility_title(facility),
        desc=[f"{text[0].upper()}{text[1:]}"],
        sym=(FULL_TANK_MARK if facility.full_tank else FACILITY_MARK).symbol,
        kind=f"facility: {facility.kind}",
    )


def _waypoint(root: ET.Element, at: Point, *, name: str, desc: Iterable[str], sym: str, kind: str) -> None:
    point = _point(root, "wpt", at)
    _child(point, "name", name)
    if text := "\n".join(line for line in desc if line):
        _child(point, "desc", text)
    _child(point, "sym", sym)
    _child(point, "type", kind)


def _route(root: ET.Element, drive: Drive, units: Units, title: str) -> None:
    route = _child(root, "rte")
    _child(route, "name", title)
    _child(route, "desc", f"{verdict_word(drive.verdict)}: {verdict_sentence(drive, units)}")
    for step in directions(drive):
        point = _point(route, "rtept", (step.lon, step.lat))
        _child(point, "name", plain(step_text(step)))
        if length := length_text(step, units):
            _child(
                point, "desc", "The next step follows at once." if length == AT_ONCE else f"Then {length}."
            )
        _child(point, "type", str(step.turn or step.kind))


def _track(root: ET.Element, drive: Drive, units: Units, title: str) -> None:
    track = _child(root, "trk")
    _child(track, "name", title)
    _child(track, "desc", f"{verdict_word(drive.verdict)}: {verdict_sentence(drive, units)}")
    for leg in legs(drive):
        for line in lines(leg):
            _segment(track, line)


def _segment(track: ET.Element, points: Iterable[Point]) -> None:
    segment = _child(track, "trkseg")
    for point in points:
        _point(segment, "trkpt", point)


def _point(parent: ET.Element, tag: str, at: Point) -> ET.Element:
    # The schema lets longitude go from -180 to below 180.
    lon = -180.0 if at[0] >= 180 else at[0]
    return ET.SubElement(parent, tag, {"lat": f"{at[1]:.7f}", "lon": f"{lon:.7f}"})


def _child(parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
    child = ET.SubElement(parent, tag)
    if text is not None:
        child.text = _clean(text)
    return child


def _clean(text: str) -> str:
    return _NO_XML.sub("", text)
