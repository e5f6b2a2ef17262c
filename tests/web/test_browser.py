"""The pages in a real browser: every request outside the server fails its test, as does every complaint."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from clearance.web import screen_pages, work
from tests.web.conftest import CAMP, HERON, PLACES, QUAY, WREN, YARD, Served
from tests.web.test_jobs import sleep

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

SHOWN = "#destinations tbody:visible .go"
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


def pick(page: Page, at: tuple[float, float], nth: int) -> None:
    """Click a place on the map, once it stands still, and choose what it is to be."""
    where = "at => Object.values(pageMap.latLngToContainerPoint(at)).map(Math.round)"
    before = None
    while (now := page.evaluate(where, list(at))) != before:
        before = now
        page.wait_for_timeout(120)
    page.locator("#map").click(position={"x": now[0], "y": now[1]})
    page.click(f".picking button >> nth={nth}")
    expect(page.locator(".picking")).to_have_count(0)


def test_a_day_of_stops_picked_on_the_map(opener: Opener) -> None:
    page = opener(f"/?from={YARD.replace(' ', '+')}&coach.height=9ft")
    drawn(page)
    for nth, at in ((1, (45.00585, -40.0)), (1, (45.0081, -39.99683)), (2, (45.0027, -39.99252))):
        pick(page, at, nth)
    assert page.locator("#places .place").count() == 4
    page.locator("[name='via.minutes']").first.fill("15")
    page.click(".main-button")
    page.wait_for_selector(".verdict", timeout=5000)
    assert page.locator(".halt").count() == 4
    assert "15 min there" in page.locator(".halt").nth(1).inner_text()
    page.click(".again a")
    drawn(page)
    assert page.locator("#places .place").count() == 4
    assert page.locator("[name='via.minutes']").first.input_value() == "15"


def test_a_coach_file_fills_in_the_form(opener: Opener, tmp_path: Path) -> None:
    (tmp_path / "heron.toml").write_text(HERON)
    (tmp_path / "broken.toml").write_text("height = 4")
    page = opener()
    page.click(".from-file summary")
    page.set_input_files("#coach-file", tmp_path / "broken.toml")
    expect(page.locator("#coach-file-fault")).to_contain_text("broken.toml")
    page.set_input_files("#coach-file", tmp_path / "heron.toml")
    expect(page.locator("#coach-height")).to_have_value("13ft")
    expect(page.locator("#coach-file-fault")).to_be_empty()
    expect(page.locator("#coach-shown .figure .ft")).to_have_text("13'6\"")
    assert page.is_checked("#coach-towing")
    assert page.input_value("[name='coach.towed.length']") == "17ft"


def test_a_drive_shows_its_other_ways(opener: Opener) -> None:
    page = opener()
    plan(page)
    expect(page.locator("table.ways tbody tr")).to_have_count(2)
    expect(page.locator("#ways .way-chart rect")).to_have_count(2)
    page.click("table.ways tbody tr:nth-child(2) a")
    expect(page.locator(".verdict .sentence")).to_contain_text("no height to rely on")


# --- destinations ------------------------------------------------------------------------------------------


def slow_screen(files: Any, *given: Any, tell: Any) -> Any:
    """A screening that can be watched."""
    tell("screening", 2, 6)
    time.sleep(4)
    return work.screen(files, *given, tell=tell)


@pytest.fixture
def instead(served: Served, monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Puts another task in the place of the screening."""
    begin = served.state.jobs.start
    monkeypatch.setattr(screen_pages, "_PATIENCE_S", 0.05)

    def put(other: Callable[..., Any], *fixed: Any) -> None:
        def start(task: Any, *given: Any, **how: Any) -> Any:
            return (
                begin(other, *(fixed or given), **how) if task is work.screen else begin(task, *given, **how)
            )

        monkeypatch.setattr(served.state.jobs, "start", start)

    return put


def ask_to_screen(page: Page, folder: Path) -> None:
    (folder / "season.csv").write_text(PLACES)
    (folder / "wren.toml").write_text(WREN)
    page.set_input_files("#list", folder / "season.csv")
    page.set_input_files("#coaches", folder / "wren.toml")
    page.fill("#coach-height", "13ft")
    page.click(".main-button")


def test_a_list_is_screened_watched_sorted_and_downloaded(
    opener: Opener, tmp_path: Path, instead: Callable[..., None]
) -> None:
    instead(slow_screen)
    page = opener("/screen")
    drawn(page)
    choose(page, "#from", "coach yard", YARD)
    ask_to_screen(page, tmp_path)
    expect(page.locator("#progress-count")).to_have_text("2 / 6")
    assert page.locator("#progress").evaluate("bar => [bar.value, bar.max]") == [2, 6]
    page.wait_for_selector("#destinations")
    drawn(page)
    words = page.inner_text(".verdict")
    assert "3 destinations screened there and back from Pellowick Coach Yard" in words
    assert page.locator(".coaches .count b").all_inner_texts() == ["1", "1", "1", "0", "3", "0"]
    page.click('#destinations .sort[data-key="there"]')
    assert page.locator(SHOWN).last.inner_text() == CAMP  # blocked: no time to be told
    assert page.locator("#destinations [aria-sort]").get_attribute("aria-sort") == "ascending"
    page.fill("#find", "quay")
    assert set(page.locator(SHOWN).all_inner_texts()) >= {QUAY}
    page.fill("#find", "")
    page.select_option(".pick select", "1")
    expect(page.locator(SHOWN)).to_have_count(3)
    expect(page.locator("#shown")).to_have_text("3 of 6 shown")
    page.click(f'#destinations tbody:visible .go:has-text("{CAMP}")')
    assert page.locator("tbody.is-chosen").count() == 1
    for name, first in (("CSV", b"number,"), ("Sheets to print", b"%PDF"), ("GeoPackage", b"SQLite")):
        with page.expect_download() as begun:
            page.click(f".files >> text={name}")
        begun.value.save_as(tmp_path / name)
        assert (tmp_path / name).read_bytes().startswith(first), name
    page.click("text=Change this screening")
    assert page.input_value("#from") == YARD


def test_a_screening_is_ended(opener: Opener, tmp_path: Path, instead: Callable[..., None]) -> None:
    instead(sleep, 60.0)
    page = opener("/screen?from=Mill+Street")
    ask_to_screen(page, tmp_path)
    page.click("text=End this work")
    expect(page.locator("main .lead")).to_have_text("This work was ended.")
    page.click("text=Change this screening")
    assert page.input_value("#from") == "Mill Street"


def test_home_is_picked_and_a_file_dropped_without_a_mouse_or_with(opener: Opener) -> None:
    page = opener("/screen")
    drawn(page)
    page.focus("#map")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    assert re.fullmatch(r"4\d\.\d+,-(39|40)\.\d+", page.input_value("#from"))
    assert page.locator("#map .map-mark.stop").count() == 1
    page.evaluate(
        """text => {
          const held = new DataTransfer();
          held.items.add(new File([text], "season.csv", { type: "text/csv" }));
          document.querySelector("[data-drop]").dispatchEvent(
            new DragEvent("drop", { dataTransfer: held, bubbles: true, cancelable: true }));
        }""",
        PLACES,
    )
    assert page.evaluate("document.getElementById('list').files[0].name") == "season.csv"
    page.focus("#coach-height")
    page.keyboard.type("13ft")
    page.keyboard.press("Enter")
    page.wait_for_selector("#destinations")
    # Of a table that is wider than its place, the rest is reached by keyboard.
    page.focus(".wide")
    assert page.evaluate("document.activeElement.getAttribute('role')") == "region"
    page.focus('#destinations .sort[data-key="name"]')
    page.keyboard.press("Enter")
    assert page.locator(SHOWN).all_inner_texts() == sorted(page.locator(SHOWN).all_inner_texts())


@pytest.mark.parametrize(
    "how", [{"locale": "es"}, {**PHONE, "color_scheme": "dark", "locale": "es"}], ids=["desk", "phone"]
)
def test_a_screening_in_spanish_has_no_serious_fault(
    opener: Opener, tmp_path: Path, how: dict[str, Any]
) -> None:
    page = opener("/screen?from=Pellowick+Coach+Yard", **how)
    drawn(page)
    found = serious(page)
    ask_to_screen(page, tmp_path)
    page.wait_for_selector("#destinations")
    drawn(page)
    assert page.inner_text("h1") == f"Destinos desde {YARD}"
    assert page.locator("#destinations td.word span").first.inner_text() == "BLOQUEADO"
    assert page.locator("main [lang=en]").count() == 0
    assert found + serious(page) == []
    wide = page.viewport_size["width"] if page.viewport_size else 0
    assert page.evaluate("document.documentElement.scrollWidth") <= wide


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


@pytest.mark.parametrize("how", [{}, PHONE, {"color_scheme": "dark"}], ids=["light", "phone", "dark"])
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
    for path in ("/", "/inspect", "/screen", "/structures", "/records"):
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
