"""The pages in a real browser: every request outside the server fails its test, as does every complaint."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.web.conftest import CAMP, QUAY, YARD, Served

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
Opener = Callable[..., "Page"]


@pytest.fixture
def opener(browser: Browser, served: Served) -> Iterator[Opener]:
    contexts = []
    faults: list[str] = []

    def open_page(path: str = "/", **how: Any) -> Page:
        context = browser.new_context(
            **{"viewport": {"width": 1300, "height": 900}, "reduced_motion": "reduce", **how}
        )
        contexts.append(context)
        page = context.new_page()

        def asked(request: Any) -> None:
            if not request.url.startswith((f"{served.address}/", "data:", "blob:")):
                faults.append(f"asked {request.url}")

        def said(message: Any) -> None:
            # Refusals that a test provokes are told by their status.
            if "status of 4" not in message.text:
                faults.append(message.text)

        page.on("request", asked)
        page.on("console", said)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(served.address + path)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert faults == []


def drawn(page: Page) -> None:
    page.wait_for_selector("[data-roads]")


def choose(page: Page, field: str, typed: str, name: str) -> None:
    """Type a part of a name and take the offer with the keyboard alone."""
    page.focus(field)
    page.keyboard.type(typed)
    page.wait_for_selector(f"{field}-offers li")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.input_value(field) == name


def plan(page: Page, to: str = QUAY) -> None:
    page.fill("#from", YARD)
    page.fill("#to", to)
    page.fill("#coach-height", "13ft")
    page.click(".main-button")
    page.wait_for_selector(".verdict")
    drawn(page)


def serious(page: Page) -> list[str]:
    """Faults that axe-core (MPL-2.0, within axe-playwright-python) calls serious or critical."""
    found = Axe().run(page).response["violations"]
    return [
        f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found if v["impact"] in {"serious", "critical"}
    ]


def test_a_drive_by_names_typed_and_downloaded(opener: Opener, tmp_path: Path) -> None:
    page = opener()
    drawn(page)
    choose(page, "#from", "coach yard", YARD)
    choose(page, "#to", "harbor quay v", QUAY)
    assert page.locator("#map .map-mark.stop").count() == 2
    page.fill("#coach-height", "13ft")
    expect(page.locator("#coach-shown .figure .ft")).to_have_text("13'6\"")
    page.keyboard.press("Enter")
    page.wait_for_selector(".verdict")
    assert page.inner_text("h1") == "TAKE CARE"
    drawn(page)
    with page.expect_download() as begun:
        page.click("text=Sheet to print")
    begun.value.save_as(tmp_path / "sheet.pdf")
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")
    page.click("#findings-heading + ul + ol .choose >> nth=0")
    assert page.locator(".map-mark.is-chosen").count() == 1


def test_places_picked_on_the_map(opener: Opener) -> None:
    page = opener()
    drawn(page)
    for nth, (x, y) in enumerate([(200, 420), (420, 470), (560, 420)]):
        page.locator("#map").click(position={"x": x, "y": y})
        page.click(f".picking button >> nth={nth}")
    for field in ("#from", "#to", "[name=via]"):
        assert re.fullmatch(r"4\d\.\d+,-(39|40)\.\d+", page.input_value(field)), field
    assert page.locator("#places .place").count() == 3
    page.click(".take-away")
    assert page.locator("#places .place").count() == 2
    # By keyboard: the middle of the map.
    page.focus("#map")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.locator(".picking")).to_have_count(0)


def test_all_by_keyboard(opener: Opener) -> None:
    page = opener()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    page.focus("#from")
    page.keyboard.type(YARD)
    page.keyboard.press("Escape")
    page.focus("#to")
    page.keyboard.type("mill")
    page.keyboard.press("Escape")
    page.focus("#coach-height")
    page.keyboard.type("13ft")
    page.keyboard.press("Enter")
    page.wait_for_selector("#trouble")
    assert page.evaluate("document.activeElement.id") == "trouble"
    page.focus(".which button")
    page.keyboard.press("Enter")
    assert page.input_value("#to").startswith("Mill")
    page.keyboard.press("Enter")
    page.wait_for_selector(".verdict")


def test_a_line_is_checked(opener: Opener, served: Served, tmp_path: Path) -> None:
    page = opener()
    plan(page)
    with page.expect_download() as begun:
        page.click("text=GPX")
    begun.value.save_as(tmp_path / "day.gpx")
    page.goto(f"{served.address}/inspect")
    # The coach is remembered from the first page.
    assert page.input_value("#coach-height") == "13ft"
    page.set_input_files("#line", tmp_path / "day.gpx")
    page.click(".main-button")
    page.wait_for_selector(".verdict")
    assert page.inner_text("h1") == "TAKE CARE"


def test_a_height_is_recorded_and_counts(opener: Opener) -> None:
    page = opener("/structures?text=station+road&coach.height=13ft")
    drawn(page)
    entry = page.locator(".finding", has_text="trestle").first
    assert entry.locator(".standing").inner_text() == "NOT VERIFIED"
    entry.locator(".seen summary").click()
    entry.locator("[name=height]").fill("15ft")
    entry.locator("[name=who]").fill("Ines")
    entry.locator("form button").click()
    page.wait_for_selector(".kept")
    page.goto(page.url.partition("/records")[0] + "/structures?text=station+road&coach.height=13ft")
    entry = page.locator(".finding", has_text="trestle").first
    assert entry.locator(".standing").inner_text() == "CLEAR"


def test_units_change_everywhere_and_stay(opener: Opener, served: Served) -> None:
    page = opener()
    plan(page)
    page.click("button[data-units=metres]")
    assert page.inner_text(".huge dd") == "3.97 m"
    page.goto(f"{served.address}/inspect")
    assert page.evaluate("document.documentElement.dataset.units") == "metres"


def test_the_language_is_switched_and_the_rest_kept(opener: Opener) -> None:
    page = opener("/?from=Mill+Street")
    page.click("[data-language]")
    page.wait_for_selector("html[lang=es]")
    assert page.input_value("#from") == "Mill Street"
    assert page.inner_text("h1") == "¿Adónde va la autocaravana?"


@pytest.mark.parametrize("how", [{}, PHONE, {"color_scheme": "dark"}, {"locale": "es"}], ids=str)
def test_nothing_serious_for_a_screen_reader(opener: Opener, served: Served, how: dict[str, Any]) -> None:
    page = opener(**how)
    drawn(page)
    found = serious(page)
    page.click(".main-button")
    page.wait_for_selector("#trouble")
    found += serious(page)
    for path in ("/inspect", "/structures?coach.height=13ft", "/records", "/nowhere"):
        page.goto(served.address + path)
        found += serious(page)
    page.goto(served.address)
    plan(page, CAMP)
    found += serious(page)
    assert found == []


def test_on_a_phone_nothing_is_cut_off_or_too_small(opener: Opener, served: Served) -> None:
    page = opener(**PHONE)
    for path in ("/", "/inspect", "/structures", "/records"):
        page.goto(served.address + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360, path
        small = page.evaluate(
            """[...document.querySelectorAll("button, .bar a, summary, .quiet")]
              .filter((e) => e.offsetParent && !e.ariaHidden && !e.closest(".leaflet-control-attribution"))
              .map((e) => [e.textContent.trim(), e.getBoundingClientRect().height])
              .filter(([, height]) => height < 24)"""
        )
        assert small == [], path  # WCAG 2.2, 2.5.8 Target Size (Minimum): 24 by 24 pixels
    page.goto(served.address)
    plan(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
