from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.coach import Coach
from clearance.core.drive import Drive, Finding, Obstacle, Unverified, Verdict
from clearance.core.extract import ExtractInfo
from clearance.core.knowledge import AreaKnown
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.standing import standing
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Standing, Structure
from clearance.outputs.elements import elements_of
from clearance.outputs.measures import Units
from clearance.outputs.wording import (
    CAUTIONS,
    advice,
    area_text,
    coach_line,
    counted,
    evidence_lines,
    evidence_text,
    finding_title,
    headroom_text,
    kind_text,
    obstacle_text,
    place_text,
    plain,
    standing_text,
    structure_text,
    verdict_sentence,
    verdict_word,
)

COACH = Coach(height=Length.from_feet(13))  # needs 13'6", would rather have 14'0"


def _evidence(figure: Length | None, **more: object) -> Evidence:
    told = EvidenceClass.NONE if figure is None else EvidenceClass.POSTED
    given_: dict[str, object] = {"evidence_class": told, "figure": figure, "element": "way/7"} | more
    return Evidence(**given_)  # type: ignore[arg-type]


def _finding(
    *evidence: Evidence, kind: Kind = Kind.RAIL_BRIDGE, coach: Coach = COACH, **more: bool
) -> Finding:
    structure = Structure(key="k", kind=kind, lon=0, lat=0, evidence=evidence, **more)  # type: ignore[arg-type]
    lowest = structure.lowest(Direction.FORWARD)
    return Finding(
        number=1,
        structure=structure,
        standing=standing(structure, Direction.FORWARD, coach),
        direction=Direction.FORWARD,
        distance_m=0,
        seconds=0,
        lon=0,
        lat=0,
        road="Mill Street",
        clearance=lowest,
        headroom=None if lowest is None else lowest - coach.height,
    )


def _drive(verdict: Verdict, *findings: Finding, **more: object) -> Drive:
    values: dict[str, object] = {
        "places": (Place(lon=0, lat=0, name="A"), Place(lon=1, lat=1)),
        "coach": COACH,
        "unverified": Unverified.AVOID,
        "verdict": verdict,
        "info": ExtractInfo(source="x.osm"),
        "findings": findings,
    } | more
    return Drive(**values)  # type: ignore[arg-type]


# ------------------------------------------------------------------------------------------ advice


def test_too_low_says_do_not_with_the_height_and_the_need() -> None:
    text = advice(_finding(_evidence(Length.from_feet(12, 6))), COACH)
    assert text.startswith("Do not go under. Height posted: 12'6\", 6 in lower than the coach.")
    assert "needs 13'6\"" in text
    assert "Unhitch" not in text


def test_too_low_though_above_the_coach_says_by_how_little() -> None:
    text = advice(_finding(_evidence(Length.from_feet(13, 2))), COACH)
    assert text.startswith(
        "Do not go under. Height posted: 13'2\", 2 in above the coach. The coach needs 13'6\""
    )


def test_who_tows_what_cannot_be_backed_is_told_to_unhitch() -> None:
    low = _finding(_evidence(Length.from_feet(12, 6)))
    assert "Unhitch" in advice(low, replace(COACH, towing=True))
    assert "Unhitch" not in advice(low, replace(COACH, towing=True, tow_reversible=True))


def test_no_figure_says_stop_get_out_and_read() -> None:
    text = advice(_finding(), COACH)
    assert text.startswith("No height is posted in the map data. Stop before it")
    assert "get out and read the sign" in text
    assert "13'6\" or more" in text
    assert "Do not go under if there is no sign" in text


def test_a_word_or_unreadable_text_is_quoted() -> None:
    for raw in ("default", "see sign"):
        text = advice(_finding(_evidence(None, key="maxheight", raw=raw)), COACH)
        assert f'says only "{raw}" (maxheight)' in text


def test_a_figure_that_cannot_clear_says_why() -> None:
    text = advice(
        _finding(_evidence(Length.from_feet(15), can_clear=False, note="said of the bridge")), COACH
    )
    assert "The only height in the map data, 15'0\", cannot be relied on: said of the bridge." in text


def test_a_figure_at_certain_times_says_when() -> None:
    only = advice(_finding(_evidence(Length.from_feet(15), condition="Mo-Fr 07:00-19:00")), COACH)
    assert "holds only at certain times (Mo-Fr 07:00-19:00)" in only
    low = _finding(
        _evidence(Length.from_feet(14, 6)), _evidence(Length.from_feet(12, 9), condition="Mo-Fr 07:00-19:00")
    )
    assert "Height posted at certain times (Mo-Fr 07:00-19:00): 12'9\"" in advice(low, COACH)


def test_an_implied_figure_is_told_as_a_rule_not_a_sign() -> None:
    implied = _evidence(Length.from_feet(14, 9), evidence_class=EvidenceClass.IMPLIED, can_clear=False)
    assert "comes from a general rule, not from a sign" in advice(_finding(implied), COACH)


def test_an_order_not_told_is_said_first() -> None:
    text = advice(_finding(kind=Kind.UNKNOWN_CROSSING, ambiguous_order=True), COACH)
    assert text.startswith("The map data does not tell which of the two is above here.")


def test_tight_says_slow_and_the_sign_it_must_show() -> None:
    text = advice(_finding(_evidence(Length.from_feet(13, 9))), COACH)
    assert text.startswith("Slow down")
    assert "13'9\", 9 in above the coach" in text
    assert "must say 13'6\" or more" in text


def test_clear_still_asks_to_read_the_sign() -> None:
    text = advice(_finding(_evidence(Length.from_feet(17))), COACH)
    assert (
        text
        == "Height posted: 17'0\", 4'0\" above the coach. Read the sign all the same as you come up to it."
    )


def test_measured_is_not_called_posted() -> None:
    text = advice(_finding(_evidence(Length.from_feet(17), evidence_class=EvidenceClass.MEASURED)), COACH)
    assert text.startswith("Height measured: 17'0\"")


@pytest.mark.parametrize("kind", [Kind.DRIVE_THROUGH, Kind.CAR_PARK])
@pytest.mark.parametrize("figure", [None, Length.from_feet(9), Length.from_feet(20)])
def test_lanes_and_decks_are_never_for_a_coach(kind: Kind, figure: Length | None) -> None:
    evidence = () if figure is None else (_evidence(figure),)
    assert advice(_finding(*evidence, kind=kind), COACH).startswith("Do not ")


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("feet", [None, 12, 13, 14, 20])
def test_every_kind_and_standing_has_words_in_every_unit(kind: Kind, feet: int | None) -> None:
    evidence = () if feet is None else (_evidence(Length.from_feet(feet, 6)),)
    finding = _finding(*evidence, kind=kind)
    for units in Units:
        text = advice(finding, COACH, units)
        assert text.endswith(".")
        assert "None" not in text
        assert ".." not in text
        if not text.endswith("No height is known."):
            assert ("'" in text) is (units is not Units.METRES)
        if finding.standing in (Standing.TOO_LOW, Standing.UNVERIFIED):
            assert "o not " in text
    assert kind_text(kind) in finding_title(finding)


def test_advice_in_metres_never_asks_for_less_than_the_need() -> None:
    # 13'6" is 4.1148 m: a sign of 4.11 m would not do
    assert "4.12 m or more" in advice(_finding(), COACH, Units.METRES)


# ---------------------------------------------------------------------------------------- evidence


def test_evidence_names_tag_element_source_and_date() -> None:
    evidence = _evidence(
        Length.from_feet(12, 9),
        key="maxheight:conditional",
        raw="12'9\" @ (Mo-Fr)",
        condition="Mo-Fr",
        direction=Direction.FORWARD,
        date="2026-01-01T00:00:00Z",
        note="irregular",
    )
    assert evidence_text(evidence, Units.BOTH) == (
        "posted 12'9\" (3.88 m) going forward along the mapped way only Mo-Fr from "
        'maxheight:conditional="12\'9" @ (Mo-Fr)" on way/7; irregular (OpenStreetMap, 2026-01-01)'
    )


def test_a_structure_of_which_nothing_is_known_says_so() -> None:
    assert evidence_lines(_finding().structure) == ["no height in the map data"]


def test_warnings_follow_the_evidence() -> None:
    structure = replace(_finding(_evidence(None, raw="?", key="maxheight")).structure, warnings=("odd",))
    assert [line[:9] for line in evidence_lines(structure)] == ["no figure", "warning: "]


def test_a_warning_that_the_evidence_says_already_is_not_said_twice() -> None:
    told = _evidence(None, key="maxheight", raw="see sign", note="unreadable height")
    warnings = ("way/7: maxheight='see sign': unreadable height: forms are", "way/8: something else")
    structure = replace(_finding(told).structure, warnings=warnings)
    assert evidence_lines(structure)[1:] == ["warning: way/8: something else"]
    silent = replace(structure, evidence=(replace(told, note=""),))
    assert len(evidence_lines(silent)) == 3


def test_a_structure_is_named_with_its_road_once() -> None:
    structure = replace(_finding().structure, name="Coast Line")
    assert structure_text(structure, "Mill Street") == "railway bridge (Coast Line), Mill Street"
    assert structure_text(structure, "Coast Line") == "railway bridge, Coast Line"
    assert structure_text(replace(structure, name="")) == "railway bridge"


def test_the_elements_that_tell_are_named_once_and_sorted() -> None:
    structure = replace(
        _finding(_evidence(None, element="way/9"), _evidence(None, element="inventory/5")).structure,
        upper="relation/3",
        nodes=(12,),
        tags={"way/7": {}, "node/2": {}, "way/9": {}},
    )
    told = elements_of(structure)
    assert (told.ways, told.nodes, told.relations) == ((7, 9), (2, 12), (3,))


# ----------------------------------------------------------------------------------------- verdict


def test_clear_promises_no_more_than_the_comfort() -> None:
    odd = replace(COACH, comfort=Length.from_metres("4.3"))  # 14'1.29"
    text = verdict_sentence(_drive(Verdict.CLEAR, _finding(_evidence(Length.from_feet(17))), coach=odd))
    assert "of 14'1\" or more" in text


def test_clear_with_nothing_found_does_not_promise_a_height() -> None:
    text = verdict_sentence(_drive(Verdict.CLEAR))
    assert text == "The map data shows nothing over or across the road on this drive."


def test_care_counts_what_needs_it() -> None:
    unknown, tight = _finding(), _finding(_evidence(Length.from_feet(13, 9)))
    both = verdict_sentence(_drive(Verdict.CARE, unknown, tight, tight))
    assert "1 structure with no height to rely on and 2 tight structures" in both
    assert "0 " not in verdict_sentence(_drive(Verdict.CARE, tight)).replace("13'6", "")
    # a need of 13'6.29" is promised as 13'6", not as 13'7"
    odd = replace(COACH, height=Length.from_feet(13) + Length(74))
    assert "lower than 13'6\"" in verdict_sentence(_drive(Verdict.CARE, unknown, coach=odd))


def test_blocked_says_the_height_that_gets_through() -> None:
    text = verdict_sentence(
        _drive(Verdict.BLOCKED, in_the_way=(_finding(),), gets_through=Length.from_metres("4.0"))
    )
    assert "keeps a height of 13'6\"" in text
    assert "The most that gets through is 13'1\"." in text


def test_blocked_without_a_figure_claims_none() -> None:
    text = verdict_sentence(_drive(Verdict.BLOCKED, in_the_way=(_finding(),), unverified=Unverified.REFUSE))
    assert text == "No way was found that keeps a posted or measured height of 13'6\" from start to end."


def test_blocked_by_other_limits_does_not_blame_heights() -> None:
    weight = Obstacle(
        kind="weight limit", element="way/1", raw="maxweight=10 st", road="Weir Road", lon=0, lat=0
    )
    text = verdict_sentence(_drive(Verdict.BLOCKED, obstacles=(weight,)))
    assert "limits other than height" in text
    assert "13'" not in text
    assert obstacle_text(weight) == "weight limit on Weir Road: maxweight=10 st (way/1)"


def test_a_line_from_elsewhere_with_a_low_bridge() -> None:
    text = verdict_sentence(_drive(Verdict.BLOCKED, _finding(_evidence(Length.from_feet(12)))))
    assert text == "1 structure on this line is lower than 13'6\"."


# ------------------------------------------------------------------------------------------ others


def test_labels_can_be_told_apart_without_colour() -> None:
    assert len({standing_text(s) for s in Standing}) == len(Standing)
    assert len({verdict_word(v) for v in Verdict}) == len(Verdict)


def test_kinds_are_counted_in_plain_plurals() -> None:
    assert counted([Kind.TUNNEL, Kind.RAIL_BRIDGE, Kind.RAIL_BRIDGE]) == "2 railway bridges, 1 tunnel"
    for kind in Kind:
        assert counted([kind]) == f"1 {kind_text(kind)}"
        assert counted([kind, kind]) != f"2 {kind_text(kind)}"
    assert counted([]) == ""


def test_headroom_has_a_word_instead_of_a_sign() -> None:
    assert headroom_text(_finding(_evidence(Length.from_feet(12)))) == "1'0\" lower than the coach"
    assert headroom_text(_finding(_evidence(Length.from_feet(13)))) == "0 in above the coach"
    assert headroom_text(_finding()) == ""


def test_a_place_without_a_name_is_its_latitude_and_longitude() -> None:
    assert place_text(Place(lon=-40.0123456, lat=45.5)) == "45.50000,-40.01235"
    assert place_text(Place(lon=0, lat=0, name="Dune Camp")) == "Dune Camp"


def test_the_coach_in_one_line() -> None:
    coach = Coach(
        height=Length.from_feet(12, 10),
        width=Length.from_feet(8, 6),
        length=Length.from_feet(40),
        weight_kg=10_000,
        towing=True,
    )
    assert coach_line(coach) == (
        "12'10\" high, needs 13'4\" (6 in to spare), would rather have 14'0\", 8'6\" wide, 40'0\" long, "
        "22,050 lb, towing, cannot back up, propane aboard"
    )


def test_cautions_hold_what_every_output_must_say() -> None:
    everything = " ".join(CAUTIONS).lower()
    for word in (
        "out of date",
        "posted signs",
        "local rules",
        "tallest point",
        "ice",
        "propane",
        "common practice",
    ):
        assert word in everything


@given(st.text())
def test_plain_is_one_printable_line(text: str) -> None:
    cleaned = plain(text)
    assert cleaned.isprintable()
    assert cleaned == plain(cleaned)
    assert len(cleaned.splitlines()) <= 1


def test_plain_drops_marks_that_turn_text_round_and_keeps_letters() -> None:
    assert plain("Rue de l’Été\u202e gnp.exe\x1b[2J") == "Rue de l’Été gnp.exe [2J"


def test_a_turn_off_that_keeps_to_the_road_says_so() -> None:
    from dataclasses import replace

    from clearance.core.drive import TurnOff
    from clearance.outputs.wording import turn_off_text
    from tests.outputs import samples

    finding = samples.care_drive().findings[0]
    off = TurnOff(
        lon=0, lat=0, road="Mill Street", onto="Mill Street", distance_m=10, before_m=100, extra_s=60
    )
    assert "staying on Mill Street" in turn_off_text(replace(finding, turn_off=off))
    assert "from Mill Street onto" not in turn_off_text(replace(finding, turn_off=off))


# ------------------------------------------------------------------------------------------ rules, area


RULE = Evidence(
    evidence_class=EvidenceClass.IMPLIED,
    key="rule US-CA",
    note="no sign is required from 15'0\" up; look for a sign",
    source="California Vehicle Code 35250",
    date="2009",
    can_clear=False,
    implied=Length.from_feet(15),
)


def test_a_rule_is_told_as_a_rule_with_what_to_look_for_and_where_it_stands() -> None:
    assert evidence_text(RULE) == (
        "general rule, no height: no sign is required from 15'0\" up; look for a sign "
        "(California Vehicle Code 35250, 2009)"
    )
    text = advice(_finding(RULE), COACH)
    assert text.startswith(
        "No height is posted in the map data. By a general rule, not by a height: no sign is required from "
        "15'0\" up; look for a sign. Stop before it"
    )


def test_of_several_rules_the_most_special_is_the_advice_and_all_are_evidence() -> None:
    general = replace(RULE, note="a sign may show less than there is; look for a sign", implied=None)
    finding = _finding(general, RULE)
    assert "15'0" in advice(finding, COACH)
    assert "may show less" not in advice(finding, COACH)
    assert len(evidence_lines(finding.structure)) == 2


def test_a_rule_is_silent_where_a_height_verifies_the_structure() -> None:
    finding = _finding(_evidence(Length.from_feet(14)), RULE)
    assert len(evidence_lines(finding.structure)) == 1
    assert "general rule" not in advice(finding, COACH)


def test_the_area_is_told_in_one_sentence_and_its_share_rounded_down() -> None:
    assert area_text(None) == area_text(AreaKnown(0, 0)) == ""
    assert area_text(AreaKnown(1, 1)) == (
        "In this area 1 bridge or tunnel stands over roads; a height to rely on is known for 1 (100 %)."
    )
    assert "known for 299 (99 %)" in area_text(AreaKnown(300, 299))
