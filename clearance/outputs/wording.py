"""The words of every output: kinds, standings, verdicts, evidence, what to do, cautions.

Written for somebody who has never driven a coach. Advice on how to act at a structure is common
practice, no source, unless something else stands beside it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from clearance.core.coach import Coach
from clearance.core.drive import (
    Drive,
    Finding,
    InOut,
    InOutAnswer,
    Obstacle,
    Stop,
    Unchecked,
    Unverified,
    Verdict,
)
from clearance.core.extract import ExtractInfo
from clearance.core.facility import Facility, FacilityKind
from clearance.core.knowledge import AreaKnown
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.standing import judge
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Standing, Structure
from clearance.outputs.measures import (
    Units,
    clearance_text,
    coach_text,
    distance_text,
    duration_text,
    gap_text,
    weight_text,
)

__all__ = [
    "CAUTIONS",
    "Units",
    "advice",
    "area_text",
    "aside_text",
    "clearance_or_none",
    "coach_line",
    "counted",
    "evidence_lines",
    "evidence_text",
    "facility_brief",
    "facility_text",
    "facility_title",
    "finding_title",
    "headroom_text",
    "in_out_text",
    "kind_text",
    "map_data_text",
    "obstacle_text",
    "off_road_text",
    "place_text",
    "plain",
    "standing_advice",
    "standing_text",
    "structure_text",
    "turn_off_text",
    "unchecked_text",
    "verdict_sentence",
    "verdict_word",
]

CAUTIONS = (
    "Map data may be wrong, incomplete or out of date. A structure missing from the map is missing here.",
    "Posted signs and local rules win over anything said here.",
    "Measure the loaded coach yourself at its tallest point, with the tires at travel pressure.",
    "Snow, ice and new paving make a clearance smaller. So does a dip or a hump under it, for a long coach.",
    "Some tunnels bar propane, shut off or not. Ask whoever runs the tunnel before you go.",
    "The margin to leave and the advice on how to act are common practice, not a published rule.",
)

_STANDING = {
    Standing.TOO_LOW: "TOO LOW",
    Standing.UNVERIFIED: "NOT VERIFIED",
    Standing.TIGHT: "TIGHT",
    Standing.CLEAR: "CLEAR",
}

_VERDICT = {Verdict.CLEAR: "CLEAR", Verdict.CARE: "TAKE CARE", Verdict.BLOCKED: "BLOCKED"}

#: Kinds whose value reads as a label; here as words in a sentence.
_KIND = {Kind.LIMIT: "height limit, structure not mapped"}

_PLURAL = {
    Kind.LIMIT: "height limits, structure not mapped",
    Kind.BUILDING: "buildings over the road",
    Kind.BARRIER: "barriers with a height",
    Kind.FUEL_CANOPY: "fuel canopies",
    Kind.UNKNOWN_CROSSING: "crossings of unknown order",
}

#: How not to pass a structure, and what to do instead.
_KEEP_OUT = {
    Kind.DRIVE_THROUGH: ("Do not enter the lane", "Park and walk in."),
    Kind.CAR_PARK: ("Do not drive in", "Park in the open instead."),
    Kind.FUEL_CANOPY: ("Do not pull under the canopy", "Use another station."),
    Kind.HEIGHT_BAR: ("Do not drive through", "Turn off before it."),
    Kind.BARRIER: ("Do not drive through", "Turn off before it."),
    Kind.TUNNEL: ("Do not drive in", "Turn off before it."),
    Kind.BUILDING_PASSAGE: ("Do not drive in", "Turn off before it."),
    Kind.COVERED: ("Do not drive in", "Turn off before it."),
    Kind.COVERED_BRIDGE: ("Do not drive in", "Turn off before it."),
}
_KEEP_OUT_ELSE = ("Do not go under", "Turn off before it.")
#: Places where a coach has no business even with a height that would do.
_NEVER = frozenset({Kind.DRIVE_THROUGH, Kind.CAR_PARK})


def plain(text: str) -> str:
    """A text of the map made safe to print: one line, no control or direction marks.

    >>> plain("Mill\\x1b[31m Street\\n")
    'Mill [31m Street'
    """
    kept = "".join(c if c.isprintable() else " " for c in text)
    return re.sub(r"\s+", " ", kept).strip()


def kind_text(kind: Kind) -> str:
    """The kind as a noun in a sentence."""
    return _KIND.get(kind, kind.value)


def counted(kinds: Iterable[Kind]) -> str:
    """Kinds with their number, the most frequent first: ``2 railway bridges, 1 tunnel``."""
    counts = sorted(Counter(kinds).items(), key=lambda item: (-item[1], item[0].value))
    return ", ".join(
        f"{n} {kind_text(kind) if n == 1 else _PLURAL.get(kind, f'{kind.value}s')}" for kind, n in counts
    )


def standing_text(standing: Standing) -> str:
    """The standing as a label, in capitals so that it shows without colour."""
    return _STANDING[standing]


def verdict_word(verdict: Verdict) -> str:
    """The verdict as a label, in capitals so that it shows without colour."""
    return _VERDICT[verdict]


def map_data_text(info: ExtractInfo) -> str:
    """Of which day the map data is, where it came from, and whose it is."""
    dated = f" of {plain(info.data_date)[:10]}" if info.data_date else ", date not known"
    return f"Map data{dated} from {plain(info.source)}. {info.attribution}."


def place_text(place: Place) -> str:
    """The name of a place, or its latitude and longitude."""
    return plain(place.name) or f"{place.lat:.5f},{place.lon:.5f}"


def coach_line(coach: Coach, units: Units = Units.FEET) -> str:
    """The coach and what it needs, in one line."""
    parts = [
        f"{coach_text(coach.height, units)} high",
        f"needs {coach_text(coach.need, units)} ({gap_text(coach.margin, units)} to spare)",
    ]
    if coach.comfort > coach.need:
        parts.append(f"would rather have {coach_text(coach.comfort, units)}")
    parts += [
        f"{coach_text(measure, units)} {word}"
        for measure, word in ((coach.width, "wide"), (coach.length, "long"))
        if measure is not None
    ]
    if coach.weight_kg is not None:
        parts.append(weight_text(coach.weight_kg, units))
    if coach.towing:
        parts.append("towing, cannot back up" if _cannot_back_up(coach) else "towing")
    parts.append("propane aboard" if coach.propane else "no propane aboard")
    return ", ".join(parts)


def structure_text(structure: Structure, road: str = "") -> str:
    """The structure in a few words: its kind, its name, the road it is on.

    `road` stands in for the road of the structure where the drive knows it better.
    """
    on = plain(road or structure.road)
    name = plain(structure.name)
    words = f"{kind_text(structure.kind)} ({name})" if name and name != on else kind_text(structure.kind)
    return f"{words}, {on}" if on else words


def clearance_or_none(finding: Finding, units: Units = Units.FEET) -> str:
    """The clearance of a finding, or that there is none to go by."""
    return "no height" if finding.clearance is None else clearance_text(finding.clearance, units)


def finding_title(finding: Finding, units: Units = Units.FEET) -> str:
    """One line for a finding: number, standing, what and where it is, how high."""
    what = structure_text(finding.structure, finding.road)
    return f"{finding.number}. {standing_text(finding.standing)}: {what}, {clearance_or_none(finding, units)}"


def headroom_text(finding: Finding, units: Units = Units.FEET) -> str:
    """How far the clearance is above or below the coach; empty where there is no figure."""
    if finding.headroom is None:
        return ""
    size = gap_text(finding.headroom, units)
    return f"{size} lower than the coach" if finding.headroom.tenths < 0 else f"{size} above the coach"


def evidence_text(evidence: Evidence, units: Units = Units.FEET) -> str:
    """One piece of evidence: how it is known, the figure, the tag as mapped, and its source.

    >>> evidence_text(Evidence(evidence_class=EvidenceClass.NONE, element="way/7", key="maxheight", raw="?"))
    'no figure from maxheight="?" on way/7 (OpenStreetMap)'
    """
    if evidence.evidence_class is EvidenceClass.IMPLIED:
        return f"general rule, no height: {plain(evidence.note)} ({_origin(evidence)})"
    about = "no figure" if evidence.figure is None else _figure_words(evidence, evidence.figure, units)
    if evidence.key:
        about += f' from {plain(evidence.key)}="{plain(evidence.raw)}"'
    if evidence.element:
        about += f" on {plain(evidence.element)}"
    if evidence.note:
        about += f"; {plain(evidence.note)}"
    return f"{about} ({_origin(evidence)})" if _origin(evidence) else about


def _origin(evidence: Evidence) -> str:
    return ", ".join(plain(s) for s in (evidence.source, evidence.date[:10]) if s)


def _figure_words(evidence: Evidence, figure: Length, units: Units) -> str:
    words = f"{evidence.evidence_class.value} {clearance_text(figure, units)}"
    if evidence.direction is not Direction.BOTH:
        words += f" going {evidence.direction.value} along the mapped way"
    if evidence.condition:
        words += f" only {plain(evidence.condition)}"
    return words


def evidence_lines(structure: Structure, units: Units = Units.FEET) -> list[str]:
    """Everything known of the height of a structure, then what else is amiss; never empty.

    What a general rule says is left out where a height verifies the structure.
    """
    lines = [
        evidence_text(e, units)
        for e in structure.evidence
        if e.evidence_class is not EvidenceClass.IMPLIED or not structure.verified()
    ]
    lines += [f"warning: {plain(w)}" for w in structure.warnings if not _said(w, structure.evidence)]
    return lines or ["no height in the map data"]


def _said(warning: str, evidence: Iterable[Evidence]) -> bool:
    """Whether a piece of evidence with its note says the same as `warning` of the same tag."""
    return any(
        e.note and (e.note in warning or warning.startswith(f"{e.element}: {e.key}=")) for e in evidence
    )


def _deciding(finding: Finding) -> Evidence | None:
    """The evidence whose figure is the clearance of the finding; one that always holds goes first."""
    told = [e for e in finding.structure.figures(finding.direction) if e.figure == finding.clearance]
    return min(told, key=lambda e: (bool(e.condition), not e.can_clear), default=None)


def _height_sentence(finding: Finding, clearance: Length, units: Units) -> str:
    """``Height posted: 12'6", 6 in lower than the coach.``"""
    evidence = _deciding(finding)
    how = "Height"
    if evidence is not None:
        how = {
            EvidenceClass.POSTED: "Height posted",
            EvidenceClass.MEASURED: "Height measured",
            EvidenceClass.IMPLIED: "Height by a general rule, not by a sign",
            EvidenceClass.NONE: "Height",
        }[evidence.evidence_class]
        if evidence.condition:
            how += f" at certain times ({plain(evidence.condition)})"
    headroom = headroom_text(finding, units)
    tail = f", {headroom}" if headroom else ""
    return f"{how}: {clearance_text(clearance, units)}{tail}."


def _why_unverified(finding: Finding, units: Units) -> str:
    structure = finding.structure
    if structure.ambiguous_order or structure.kind is Kind.UNKNOWN_CROSSING:
        first = "The map data does not tell which of the two is above here."
        if finding.clearance is None:
            return first
        return f"{first} {_height_sentence(finding, finding.clearance, units)}"
    if finding.clearance is not None:
        figure = clearance_text(finding.clearance, units)
        evidence = _deciding(finding)
        if evidence is not None and evidence.condition and not evidence.note:
            note = f"it holds only at certain times ({plain(evidence.condition)})"
        elif evidence is not None and evidence.evidence_class is EvidenceClass.IMPLIED:
            note = plain(evidence.note) or "it comes from a general rule, not from a sign"
        else:
            note = plain(evidence.note) if evidence is not None else ""
        return f"The only height in the map data, {figure}, cannot be relied on{f': {note}' if note else ''}."
    words = [e for e in structure.evidence if e.raw and e.figure is None]
    if words:
        said = words[0]
        return f'No height is known: the map data says only "{plain(said.raw)}" ({plain(said.key)}).'
    return "No height is posted in the map data."


def _rule_sentence(structure: Structure) -> str:
    """What the rules there say of a structure without a sign, the most special one; empty where none does."""
    rules = [e for e in structure.evidence if e.evidence_class is EvidenceClass.IMPLIED and e.note]
    if not rules:
        return ""
    # A rule with a figure is told after the general ones.
    return f" By a general rule, not by a height: {plain(rules[-1].note)}."


def advice(finding: Finding, coach: Coach, units: Units = Units.FEET) -> str:
    """What to do at a finding, in plain words for somebody who has never driven a coach."""
    kind = finding.structure.kind
    need = coach_text(coach.need, units)
    keep_out, instead = _KEEP_OUT.get(kind, _KEEP_OUT_ELSE)
    height = (
        "No height is known."
        if finding.clearance is None
        else _height_sentence(finding, finding.clearance, units)
    )
    match finding.standing:
        case Standing.TOO_LOW:
            unhitch = " Unhitch what you tow before you back up." if _cannot_back_up(coach) else ""
            return (
                f"{keep_out}. {height} The coach needs {need}. {instead} "
                f"If you have come up to it, stop, do not try, and get help to back out.{unhitch}"
            )
        case _ if kind in _NEVER:
            return f"{keep_out}, whatever the sign says: it is no place for a coach. {instead} {height}"
        case Standing.UNVERIFIED:
            return (
                f"{_why_unverified(finding, units)}{_rule_sentence(finding.structure)} "
                "Stop before it where it is safe, get out and read the sign. "
                f"Go on only if it says {need} or more. {keep_out} if there is no sign or you are not sure."
            )
        case Standing.TIGHT:
            return (
                f"Slow down and keep to the middle of your lane. {height} "
                f"Read the sign before you go on: it must say {need} or more."
            )
        case Standing.CLEAR:
            return f"{height} Read the sign all the same as you come up to it."


def standing_advice(standing: Standing, coach: Coach, units: Units = Units.FEET) -> str:
    """What to do at any structure of a standing, for lists too long to say it at each."""
    need = coach_text(coach.need, units)
    return {
        Standing.TOO_LOW: "Do not pass. Turn off before it. If you have come up to it, stop and get help.",
        Standing.UNVERIFIED: (
            "Stop before it where it is safe, get out and read the sign. "
            f"Go on only if it says {need} or more. Turn off if there is no sign or you are not sure."
        ),
        Standing.TIGHT: (
            "Slow down and keep to the middle of your lane. "
            f"Read the sign before you go on: it must say {need} or more."
        ),
        Standing.CLEAR: "Read the sign all the same as you come up to it.",
    }[standing]


def _cannot_back_up(coach: Coach) -> bool:
    return coach.towing and not coach.tow_reversible


def turn_off_text(finding: Finding, units: Units = Units.FEET) -> str:
    """The last place to leave the road before a finding; empty where it stands clear and none is told."""
    off = finding.turn_off
    if off is None:
        return "" if finding.standing is Standing.CLEAR else "No turn-off before it: no other way leads on."
    road = f"from {plain(off.road)} " if off.road else ""
    onto = f"onto {plain(off.onto)}" if off.onto else "onto another road"
    if off.road and off.onto == off.road:
        # The planned way leaves the road there; the other one keeps to it.
        road, onto = "", f"staying on {plain(off.road)}"
    if not off.leads_on:
        return (
            f"Last turn-off {distance_text(off.before_m, units)} before it, {road}{onto}: "
            "that way leads back, none leads on to the stop."
        )
    extra = duration_text(off.extra_s) if off.extra_s > 0 else "no time"
    return (
        f"Last turn-off {distance_text(off.before_m, units)} before it, {road}{onto}: "
        f"that way takes {extra} more."
    )


_IN_OUT = {
    InOutAnswer.DRIVES_THROUGH: "Drives through: in and out forward.",
    InOutAnswer.NEEDS_ROOM: "Needs room to turn.",
    InOutAnswer.DO_NOT_ENTER: "Do not enter with the coach.",
}


def in_out_text(in_out: InOut, units: Units = Units.FEET) -> str:
    """Whether the coach gets in and out of a stop forward, why, and where it can turn."""
    parts = [_IN_OUT[in_out.answer]]
    if reason := plain(in_out.reason):
        parts.append(f"{reason[0].upper()}{reason[1:]}{'' if reason.endswith('.') else '.'}")
    if in_out.dead_end_m > 0:
        parts.append(f"The dead end is {distance_text(in_out.dead_end_m, units)} long.")
    if in_out.serious:
        parts.append("Serious: what you tow cannot be backed up. Unhitch first, or stop elsewhere.")
    if in_out.turn_kind:
        away = f" {distance_text(in_out.turn_m, units)} away" if in_out.turn_m > 0 else " there"
        parts.append(f"Nearest place to turn: a {plain(in_out.turn_kind)}{away}.")
    elif in_out.answer is InOutAnswer.NEEDS_ROOM:
        parts.append("No place to turn is mapped within reach.")
    return " ".join(parts)


#: A place nearer to the road than this is beside it. Judgement, no source.
_BESIDE_M = 50.0


def off_road_text(stop: Stop, units: Units = Units.FEET) -> str:
    """How far the road is from a place that does not lie beside it; else empty."""
    return aside_text(stop.off_road_m, units)


def aside_text(off_road_m: float, units: Units = Units.FEET) -> str:
    """How far the road is from a place, by the metres between them; empty where it lies beside the road."""
    if off_road_m <= _BESIDE_M:
        return ""
    return f"The nearest road for the coach is {distance_text(off_road_m, units)} from it."


_FACILITY = {
    FacilityKind.FUEL: "Fuel",
    FacilityKind.DUMP: "Dump station",
    FacilityKind.CAMP: "Camp",
    FacilityKind.WATER: "Water",
    FacilityKind.PROPANE: "Propane",
}


def facility_title(facility: Facility) -> str:
    """What it is and what it is called."""
    kind = "Full tank before the end" if facility.full_tank else _FACILITY[facility.kind]
    name = plain(facility.place.name)
    return f"{kind}: {name or 'no name'}"


def facility_text(facility: Facility, coach: Coach, units: Units = Units.FEET) -> str:
    """How far along and aside a facility is, how to get in and out, and what its tags tell."""
    parts = [f"after {distance_text(facility.distance_m, units)}, {_detour_text(facility)}"]
    parts += [text for text in (_canopy_text(facility, coach, units),) if text]
    parts += [plain(note) for note in facility.notes]
    return f"{'; '.join(parts)}. {in_out_text(facility.in_out, units)}"


def facility_brief(facility: Facility, coach: Coach, units: Units = Units.FEET) -> str:
    """A facility in as few words as can be without hiding a danger; its distance stands beside it."""
    parts = [
        facility_title(facility),
        _detour_text(facility),
        _canopy_text(facility, coach, units),
        "" if facility.in_out.answer is InOutAnswer.DRIVES_THROUGH else facility.in_out.answer.value,
        "serious" if facility.in_out.serious else "",
    ]
    return ", ".join(part for part in parts if part)


def _detour_text(facility: Facility) -> str:
    return f"{duration_text(facility.detour_s) if facility.detour_s >= 30 else 'no'} detour"


def _canopy_text(facility: Facility, coach: Coach, units: Units) -> str:
    if facility.canopy is None:
        return ""
    stands = judge(facility.canopy, verified=True, coach=coach)
    return f"height told {clearance_text(facility.canopy, units)}, {standing_text(stands).lower()}"


def area_text(area: AreaKnown | None) -> str:
    """How much is known of the area at large; empty where nobody counted or there is nothing to count.

    >>> area_text(AreaKnown(75, 12))
    'In this area 75 bridges and tunnels stand over roads; a height to rely on is known for 12 (16 %).'
    """
    if area is None or not area.crossings:
        return ""
    # Down, so that 99.6 % is not shown as all.
    percent = 100 * area.known // area.crossings
    some = (
        "1 bridge or tunnel stands" if area.crossings == 1 else f"{area.crossings} bridges and tunnels stand"
    )
    return f"In this area {some} over roads; a height to rely on is known for {area.known} ({percent} %)."


def unchecked_text(part: Unchecked, units: Units = Units.FEET) -> str:
    """A part of an inspected line of which nothing is known."""
    reason = f": {plain(part.reason)}" if part.reason else ""
    return f"Not checked for {distance_text(part.length_m, units)}{reason}."


def obstacle_text(obstacle: Obstacle) -> str:
    """A limit other than height that closes the way: what, where, the tag as mapped."""
    where = f" on {plain(obstacle.road)}" if obstacle.road else ""
    raw = f": {plain(obstacle.raw)}" if obstacle.raw else ""
    return f"{plain(obstacle.kind)}{where}{raw} ({obstacle.element})"


def verdict_sentence(drive: Drive, units: Units = Units.FEET) -> str:
    """The answer in one or two sentences.

    What is promised is rounded down, what is demanded up: no rounding makes a sentence say too much.
    """
    if drive.verdict is Verdict.BLOCKED:
        return _blocked_sentence(drive, units)
    promised = clearance_text(drive.coach.comfort_or_need, units)
    if drive.verdict is Verdict.CLEAR:
        if not drive.findings:
            return "The map data shows nothing over or across the road on this drive."
        return (
            "Everything that the map data shows over or across this drive has a posted or measured height "
            f"of {promised} or more."
        )
    standings = Counter(f.standing for f in drive.findings)
    parts = [
        _some(standings[standing], one, many)
        for standing, one, many in (
            (
                Standing.UNVERIFIED,
                "structure with no height to rely on",
                "structures with no height to rely on",
            ),
            (Standing.TIGHT, "tight structure", "tight structures"),
        )
        if standings[standing]
    ]
    found = " and ".join(parts) or "something on it needs your care"
    known = clearance_text(drive.coach.need, units)
    return f"Nothing on this drive is known to be lower than {known}, but there is care to take: {found}."


def _blocked_sentence(drive: Drive, units: Units) -> str:
    need = coach_text(drive.coach.need, units)
    low = sum(f.standing is Standing.TOO_LOW for f in drive.findings)
    if low:
        return f"{_some(low, 'structure on this line is', 'structures on this line are')} lower than {need}."
    if drive.obstacles and drive.pieces:
        return "Limits other than height close this line to the coach."
    if drive.obstacles and not drive.in_the_way:
        return "No way was found that the coach may take: limits other than height close it."
    sure = "posted or measured " if drive.unverified is Unverified.REFUSE else ""
    first = f"No way was found that keeps a {sure}height of {need} from start to end."
    if drive.gets_through is None or drive.gets_through >= drive.coach.need:
        return first
    return f"{first} The most that gets through is {clearance_text(drive.gets_through, units)}."


def _some(n: int, one: str, many: str) -> str:
    return f"{n} {one if n == 1 else many}"
