"""The page of a screening in a real browser, from a file, with no network to be had."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from clearance.core.changes import (
    Cause,
    CauseKind,
    Changes,
    Moved,
    StructureChange,
    StructureChanged,
)
from clearance.core.drive import Verdict
from clearance.core.lengths import Length
from clearance.core.screening import Screening
from clearance.outputs.measures import Units
from clearance.outputs.screen_page import screen_page
from tests.outputs.samples import town_lines
from tests.outputs.screen_samples import LOW, ROWS, SCREENING

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

_LOWERED = StructureChange(
    changed=StructureChanged.LOWERED,
    text="",
    lon=LOW.lon,
    lat=LOW.lat,
    keys=frozenset({LOW.key}),
    before=Length.from_metres("4.5"),
    now=Length.from_metres("3.6"),
)
COMPARED = replace(
    SCREENING,
    changes=Changes(
        source="old.osm",
        data_date="2025-05-01",
        structures=(_LOWERED,),
        moved=(
            Moved(
                name="Camp",
                label="Heron",
                before=Verdict.CLEAR,
                now=Verdict.BLOCKED,
                number=3,
                coach=0,
                causes=(Cause(kind=CauseKind.STRUCTURE, change=_LOWERED),),
            ),
        ),
        same=5,
    ),
)

Opener = Callable[..., "Page"]


@pytest.fixture
def opener(browser: Browser, tmp_path: Path) -> Iterator[Opener]:
    """Opens a page and fails where it asks for anything or complains."""
    contexts = []
    told: list[str] = []

    def open_page(screening: Screening = SCREENING, units: Units = Units.FEET, **context: Any) -> Page:
        path = tmp_path / "season.html"
        path.write_text(screen_page(screening, town_lines(), units), encoding="utf-8")
        settings = {"viewport": {"width": 1400, "height": 900}, "reduced_motion": "reduce", **context}
        contexts.append(browser.new_context(offline=True, **settings))
        page = contexts[-1].new_page()
        page.on("console", lambda message: told.append(message.text))
        page.on("pageerror", lambda error: told.append(str(error)))
        page.on(
            "request",
            lambda request: (
                None
                if request.url == path.as_uri() or request.url.startswith("data:")
                else told.append(request.url)
            ),
        )
        page.goto(path.as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert told == []


def names(page: Page) -> list[str]:
    return page.locator("#destinations tbody:visible .go").all_inner_texts()


def test_every_row_structure_and_problem_is_told(opener: Opener) -> None:
    page = opener()
    assert page.title() == "Destinations from Coach Yard"
    assert names(page) == ["Camp", "Quay; Lot", "=Mill", "Quay; Lot", "=Mill", "Camp"]
    text = page.locator("body").inner_text()
    for said in (
        "BLOCKED",
        "No way back fits the coach.",
        "line 5: 'north' is no latitude",
        "railway bridge (Coast Line)",
        "© OpenStreetMap contributors",
        "2 heights from your records",
    ):
        assert said in text, said
    assert page.locator("#structures tbody").count() == 3  # what is clear for all is no matter


def test_columns_sort_both_ways_and_the_untold_comes_last(opener: Opener) -> None:
    page = opener()
    press = page.locator('#destinations .sort[data-key="there"]').click
    press()
    assert names(page)[-1] == "Camp"  # blocked: no time to be told
    assert page.locator("#destinations tbody").first.get_attribute("id") == "row-1-1"
    press()
    assert names(page)[-1] == "Camp"
    assert page.locator("#destinations tbody").first.get_attribute("id") == "row-1-0"
    assert page.locator("#destinations [aria-sort]").get_attribute("aria-sort") == "descending"
    assert "Sorted by there" in page.locator("#status").inner_text()
    page.locator('#destinations .sort[data-key="name"]').click()
    assert names(page) == ["=Mill", "=Mill", "Camp", "Camp", "Quay; Lot", "Quay; Lot"]


def test_one_coach_or_some_names_alone(opener: Opener) -> None:
    page = opener()
    page.locator('button[data-coach="1"]').click()
    assert names(page) == ["Quay; Lot", "=Mill", "Camp"]
    assert page.locator("#shown").inner_text() == "3 of 6 shown"
    page.locator("#find").fill("mill")
    assert names(page) == ["=Mill"]
    page.locator('button[data-coach=""]').click()
    page.locator("#find").fill("")
    assert len(names(page)) == 6


def test_a_row_shows_its_place_and_a_mark_its_row(opener: Opener) -> None:
    page = opener()
    page.locator("#row-3-0 .go").click()
    at = page.evaluate("[pageMap.getCenter().lat, pageMap.getCenter().lng]")
    camp = ROWS[0].place
    assert at == pytest.approx([camp.lat, camp.lon], abs=1e-4)
    assert page.locator("#row-3-0").evaluate("row => row.classList.contains('is-chosen')")
    # The pin stands above the place, which is in the middle of the map now.
    box = page.locator("#map").bounding_box()
    assert box is not None
    page.locator("#row-1-0 .go").click()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2 - 18)
    assert page.evaluate("document.activeElement.dataset.choose").startswith("row-1-")


#: Looks and sizes of the marks on the map, the lowest first.
_DRAWN = """() => {
  const drawn = [];
  pageMap.eachLayer((layer) => drawn.push(layer));
  const found = [];
  const renderer = drawn.find((layer) => layer.options.look)._renderer;
  for (let at = renderer._drawFirst; at; at = at.next) {
    found.push([at.layer.options.look, at.layer.options.size]);
  }
  return found;
}"""


def test_the_gravest_lies_on_top_also_after_it_was_filtered_away(opener: Opener) -> None:
    page = opener()
    before = [look for look, _ in page.evaluate(_DRAWN)]
    assert before[-2:] == ["blocked", "home"]
    page.locator("#find").fill("mill")
    page.locator("#find").fill("")
    assert [look for look, _ in page.evaluate(_DRAWN)] == before


def test_many_marks_are_small_until_the_map_is_near(opener: Opener) -> None:
    model = ROWS[-1]
    rows = tuple(
        replace(model, number=n, place=replace(model.place, lat=44.9 + n / 999)) for n in range(1, 220)
    )
    page = opener(replace(SCREENING, rows=rows))
    far = dict(page.evaluate(_DRAWN))["clear"]
    page.evaluate("() => void pageMap.setZoom(15, {animate: false})")
    near = dict(page.evaluate(_DRAWN))["clear"]
    assert far < near == 34


@pytest.mark.parametrize("units", [Units.FEET, Units.METRES])
def test_units_switch(opener: Opener, units: Units) -> None:
    page = opener(units=units)
    feet, metres = re.compile(r"\d'\d+\""), re.compile(r"\d\.\d\d m\b")
    text = page.locator("#destinations").inner_text()
    assert bool(feet.search(text)) is (units is Units.FEET)
    assert bool(metres.search(text)) is (units is Units.METRES)
    other = "metres" if units is Units.FEET else "feet"
    page.locator(f'.units button[data-units="{other}"]').click()
    text = page.locator("#destinations").inner_text()
    assert bool(feet.search(text)) is (units is not Units.FEET)


def test_what_changed_is_told_with_its_cause(opener: Opener) -> None:
    page = opener(COMPARED)
    text = page.locator("section", has=page.locator("#changes-heading")).inner_text()
    assert "1 verdict moved, 5 as before" in text
    assert "Camp (Heron): BLOCKED, was CLEAR." in text
    moved = page.locator("#row-3-0 .moved").inner_text()
    assert moved == ("Was CLEAR. Railway bridge (Coast Line): lower than before (11'9\", was 14'9\").")
    assert page.locator(".moved").count() == 1


def test_tables_tell_everything_without_scripts(opener: Opener) -> None:
    page = opener(java_script_enabled=False)
    assert page.locator("#destinations tbody .go").count() == len(ROWS)
    assert page.locator(".no-map").is_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [400, 1400])
def test_nothing_serious_for_those_who_see_or_point_otherwise(
    opener: Opener, scheme: str, width: int
) -> None:
    page = opener(COMPARED, color_scheme=scheme, viewport={"width": width, "height": 900})
    found = Axe().run(page).response["violations"]
    serious = [f["id"] for f in found if f["impact"] in {"serious", "critical"}]
    assert serious == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_texts_of_the_map_run_nothing(opener: Opener) -> None:
    hostile = replace(LOW, name="</script><script>alert(1)</script><img src=x onerror=alert(2)>")
    page = opener(replace(SCREENING, structures=(hostile, *SCREENING.structures[1:])))
    assert "<img src=x onerror=alert(2)>" in page.locator("#structures").inner_text()
    assert page.locator("img[src=x]").count() == 0
