"""How much is known: counts that can be checked by hand on a tiny town."""

from __future__ import annotations

from dataclasses import replace

from clearance.core.lengths import Length
from clearance.core.structure import Evidence, EvidenceClass, Kind, Structure
from clearance.structures.find import find_structures
from clearance.structures.fusion import fuse
from clearance.structures.implied import with_implied
from clearance.structures.knowledge import summary
from tests.structures.inventories import at, figure
from tests.structures.knowledge_town import street


def test_every_structure_is_counted_where_it_belongs() -> None:
    extract = street().extract()
    records = [
        at("1", 0, 500, carried="US 2", features="B ST", item_54=figure("4.5")),
        at("2", 0, 2000, carried="US 2", features="E ST", item_54=figure("4.1")),
    ]
    found = summary(fuse(find_structures(extract), records, extract).structures)
    assert found.counts == {
        Kind.BRIDGE: {"posted": 2, "measured": 1},
        Kind.RAIL_BRIDGE: {"none": 2},
        Kind.HEIGHT_BAR: {"posted": 1},
        Kind.UNKNOWN_CROSSING: {"none": 2},
    }
    assert (found.crossings, found.known, found.share) == (5, 3, 0.6)
    assert (found.unsure_order, found.conflicts, found.unreadable, found.beside) == (2, 1, 1, 1)
    assert (found.oldest, found.newest, found.undated) == ("2023-06", "2026-01-01T00:00:00Z", 0)


def test_rules_count_as_implied_only() -> None:
    extract = street().extract()
    found = summary(with_implied(find_structures(extract), extract, lambda _lon, _lat: "US"))
    assert found.counts[Kind.RAIL_BRIDGE] == {"implied": 2}
    assert found.known == 2


def test_only_dates_that_sort_are_the_oldest_and_the_newest() -> None:
    """A list of anybody's may write 12/05/2019; then the date counts as not known."""
    extract = street().extract()
    record = at("1", 0, 500, carried="US 2", features="B ST", item_54=figure("4.5"))
    for date, oldest, undated in (("12/05/2019", "2026-01-01T00:00:00Z", 1), ("2019-05", "2019-05", 0)):
        found = summary(fuse(find_structures(extract), [replace(record, date=date)], extract).structures)
        assert (found.oldest, found.undated) == (oldest, undated)


def test_nothing_known_of_nothing() -> None:
    assert summary(()).share is None
    nothing = summary(())
    assert (nothing.oldest, nothing.newest, nothing.counts) == ("", "", {})
    assert (nothing.crossings, nothing.known, nothing.undated, nothing.beside) == (0, 0, 0, 0)


def test_a_height_is_known_by_what_may_clear_it() -> None:
    """A sign that may not clear beside a measured height that does: measured."""

    def structure(*evidence: Evidence) -> Structure:
        return Structure(key="a", kind=Kind.BRIDGE, lon=0, lat=0, nodes=(1,), evidence=evidence)

    posted = Evidence(evidence_class=EvidenceClass.POSTED, figure=Length(42000))
    measured = Evidence(evidence_class=EvidenceClass.MEASURED, figure=Length(43000))
    doubtful, at_night = replace(posted, can_clear=False), replace(posted, condition="22:00-06:00")
    for evidence, how in (
        ((posted, measured), "posted"),
        ((doubtful, measured), "measured"),
        ((at_night, measured), "measured"),
        ((replace(at_night, can_clear=False), measured), "measured"),
        ((doubtful,), "doubtful"),
        ((at_night,), "doubtful"),
        ((), "none"),
    ):
        assert summary([structure(*evidence)]).counts == {Kind.BRIDGE: {how: 1}}


def test_what_stands_beside_the_road_is_counted_apart_wherever_it_comes() -> None:
    beside = Structure(key="a", kind=Kind.CAR_PARK, lon=0, lat=0)
    bar = replace(beside, key="b", kind=Kind.HEIGHT_BAR, nodes=(1,))
    for order in ((beside, bar, beside), (bar, beside, beside), (beside, beside, bar)):
        found = summary(order)
        assert (found.beside, found.counts, found.crossings) == (2, {Kind.HEIGHT_BAR: {"none": 1}}, 0)


def test_dates_of_figures_alone_count() -> None:
    """The date of a text without a figure is none of a height; a year must stand by itself."""
    posted = Evidence(evidence_class=EvidenceClass.POSTED, figure=Length(42000))
    for date, told in (("2020", "2020"), ("2020-05", "2020-05"), ("20205", ""), ("x2020", ""), ("", "")):
        s = Structure(
            key="a", kind=Kind.BRIDGE, lon=0, lat=0, nodes=(1,), evidence=(replace(posted, date=date),)
        )
        assert (summary([s]).oldest, summary([s]).newest, summary([s]).undated) == (told, told, int(not told))
    text = replace(posted, figure=None, date="2019")
    both = Structure(
        key="a", kind=Kind.BRIDGE, lon=0, lat=0, nodes=(1,), evidence=(text, replace(posted, date="2021"))
    )
    assert (summary([both]).oldest, summary([both]).undated) == ("2021", 0)
    alone = replace(both, evidence=(text,))
    assert (summary([alone]).oldest, summary([alone]).undated) == ("", 0)
    mixed = replace(both, evidence=(replace(posted, date=""), replace(posted, date="2021")))
    assert summary([mixed]).undated == 0
