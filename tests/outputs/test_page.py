"""The page in a real browser, from a file, with no network to be had."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from itertools import combinations, pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from clearance.core.coach import Coach
from clearance.core.drive import Drive, Verdict
from clearance.core.errors import UsageError
from clearance.core.lengths import Length
from clearance.core.structure import Kind
from clearance.outputs.measures import Units, clearance_text, coach_text
from clearance.outputs.page import drive_page
from clearance.outputs.wording import (
    CAUTIONS,
    facility_text,
    facility_title,
    plain,
    standing_text,
    structure_text,
    verdict_sentence,
)
from tests.outputs import samples

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ASSETS = Path(__file__).resolve().parents[2] / "clearance" / "outputs" / "assets"
FEET = re.compile(r"\d+'\d+\"|\d (?:mi|ft|in)\b")
METRES = re.compile(r"\d (?:km|m|cm)\b")


class Opened:
    """A page open in the browser, with all that it asked for and complained of."""

    def __init__(self, page: Page, path: Path) -> None:
        self.page = page
        self.asked: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.asked.append(request.url))
        self.failed: list[tuple[str, str | None]] = []
        page.on("requestfailed", lambda request: self.failed.append((request.url, request.failure)))
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.goto(path.as_uri())
        page.wait_for_function("document.querySelectorAll('.map-mark').length > 0")
        self.address = path.as_uri()

    @property
    def outside(self) -> list[str]:
        return [url for url in self.asked if url != self.address and not url.startswith("data:")]


Opener = Callable[..., Opened]


@pytest.fixture
def opener(browser: Browser, tmp_path: Path) -> Iterator[Opener]:
    contexts = []

    def open_page(
        drive: Drive, units: Units = Units.FEET, tiles: str | None = None, **context: Any
    ) -> Opened:
        path = tmp_path / "day.html"
        path.write_text(drive_page(drive, samples.town_lines(), units, tiles=tiles), encoding="utf-8")
        settings = {"viewport": {"width": 1300, "height": 900}, "reduced_motion": "reduce", **context}
        contexts.append(browser.new_context(**settings))
        return Opened(contexts[-1].new_page(), path)

    yield open_page
    for context in contexts:
        context.close()


def centre(page: Page, selector: str) -> tuple[float, float]:
    box = page.locator(selector).bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def on_map(page: Page, mark: str) -> tuple[float, float]:
    """How far the middle of a mark is from the middle of the map, in pixels."""
    x, y = centre(page, f'[data-mark="{mark}"]')
    mx, my = centre(page, "#map")
    return x - mx, y - my


def focused(page: Page) -> str:
    return str(page.evaluate("document.activeElement.dataset.choose || document.activeElement.className"))


# --- asks for nothing ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "make",
    [
        samples.care_drive,
        samples.clear_drive,
        samples.blocked_drive,
        samples.inspected_line,
        samples.hostile_drive,
    ],
    ids=lambda make: make.__name__,
)
def test_nothing_is_asked_for_and_nothing_complains(opener: Opener, make: Callable[[], Drive]) -> None:
    opened = opener(make(), offline=True)
    page = opened.page
    for button in page.locator("main button.choose").all()[:3]:
        button.click()
    page.click("button[data-units=metres]")
    page.mouse.wheel(0, -600)
    page.click("#whole")
    page.wait_for_timeout(100)
    assert opened.outside == []
    assert opened.complaints == []
    entries = page.evaluate("performance.getEntriesByType('resource').map(e => e.name)")
    assert [name for name in entries if not name.startswith("data:")] == []


def test_the_policy_stops_what_a_script_would_fetch(opener: Opener) -> None:
    opened = opener(samples.clear_drive())
    stopped = opened.page.evaluate(
        """async () => {
          const directives = [];
          document.addEventListener("securitypolicyviolation", (e) => directives.push(e.effectiveDirective));
          await fetch("https://tiles.invalid/").catch(() => {});
          const image = new Image();
          image.src = "https://tiles.invalid/1.png";
          await new Promise((done) => { image.onerror = done; });
          const script = document.createElement("script");
          script.textContent = "window.pwned = 1";
          document.head.append(script);
          await new Promise((done) => setTimeout(done, 50));
          return [directives.sort(), window.pwned === undefined];
        }"""
    )
    assert stopped == [["connect-src", "img-src", "script-src-elem"], True]
    # The image shows among what was asked for, and that the policy stopped it there.
    assert {url for url, reason in opened.failed if reason == "csp"} >= set(opened.outside)


def test_tiles_are_asked_for_only_when_wanted(opener: Opener) -> None:
    """The same look-out that sees nothing above sees these."""
    opened = opener(samples.clear_drive(), tiles="https://tiles.invalid/{z}/{x}/{y}.png")
    opened.page.wait_for_timeout(100)
    assert opened.outside
    assert all(url.startswith("https://tiles.invalid/") for url in opened.outside)


@pytest.mark.parametrize(
    "tiles",
    [
        "http://tiles.example/{z}/{x}/{y}.png",
        "https://tiles.example/{z}/{x}.png",
        "https://tiles.example; script-src */{z}/{x}/{y}",
        "https://user@tiles.example/{z}/{x}/{y}",
        "https:///{z}/{x}/{y}",
        "javascript:alert({z}{x}{y})",
    ],
)
def test_a_bad_tile_address_is_refused(tiles: str) -> None:
    with pytest.raises(UsageError, match="tile address"):
        drive_page(samples.clear_drive(), (), tiles=tiles)


def test_tile_hosts_in_the_policy() -> None:
    def policy(tiles: str) -> str:
        found = re.search(
            r'Content-Security-Policy" content="([^"]+)"', drive_page(samples.clear_drive(), (), tiles=tiles)
        )
        assert found
        return found[1]

    assert "img-src data: https://*.tiles.example;" in policy("https://{s}.tiles.example/{z}/{x}/{y}.png")
    assert "img-src data: http://127.0.0.1:8080;" in policy("http://127.0.0.1:8080/{z}/{x}/{y}.png")


# --- list and map -------------------------------------------------------------------------------------


def test_a_finding_chosen_in_the_list_is_centred_and_marked(opener: Opener) -> None:
    page = opener(samples.care_drive()).page
    assert max(map(abs, on_map(page, "finding-8"))) > 20
    page.click("#finding-8 .choose")
    page.wait_for_timeout(100)
    dx, dy = on_map(page, "finding-8")
    assert abs(dx) < 12
    assert abs(dy) < 30
    assert page.locator(".map-mark.is-chosen").get_attribute("data-mark") == "finding-8"
    assert page.locator("#finding-8 .choose").get_attribute("aria-current") == "true"
    page.click("#finding-2 .choose")
    page.wait_for_timeout(100)
    assert page.locator(".map-mark.is-chosen").get_attribute("data-mark") == "finding-2"
    assert page.locator(".finding.is-chosen").count() == 1


def test_a_mark_pressed_brings_its_entry_and_the_focus(opener: Opener) -> None:
    page = opener(samples.care_drive()).page
    page.click('[data-mark="finding-8"]')
    page.wait_for_timeout(100)
    assert focused(page) == "finding-8"
    _, y = centre(page, "#finding-8")
    assert 0 < y < 900
    page.locator('[data-mark="stop-C"]').press("Enter")
    assert focused(page) == "stop-C"


def test_every_finding_and_stop_has_a_named_mark(opener: Opener) -> None:
    drive = samples.care_drive()
    page = opener(drive).page
    for finding in drive.findings:
        figure = "" if finding.clearance is None else f" {clearance_text(finding.clearance)}"
        what = structure_text(finding.structure, finding.road)
        name = f"{finding.number}, {standing_text(finding.standing).lower()}{figure} {what}"
        mark = page.locator("#map").get_by_role("button", name=name, exact=True)
        assert mark.get_attribute("data-mark") == f"finding-{finding.number}"
    assert page.locator('.map-mark[aria-label^="Turn-off before 8"]').count() == 1
    assert page.locator('.map-mark[aria-label^="Place to turn for Stop C"]').count() == 1
    assert page.locator('.map-mark[aria-label^="Stop B: Pellowick Quay"]').count() == 1


def test_standings_differ_in_shape_and_text(opener: Opener) -> None:
    """Not by colour alone (WCAG 2.1, 1.4.1 Use of Color)."""
    page = opener(samples.care_drive()).page
    seen = {}
    for slug in ("too-low", "unverified", "tight", "clear"):
        mark = page.locator(f".map-mark.{slug} svg.mark").first
        shape = mark.locator("> :not(text)").first
        drawing = shape.evaluate(
            "e => e.tagName + (e.getAttribute('d') || '') + e.classList.contains('dashes')"
        )
        seen[slug] = (drawing, re.sub(r"\d", "", mark.text_content() or "").strip())
    assert len({drawing for drawing, _ in seen.values()}) == 4
    assert len({sign for _, sign in seen.values()}) == 4


def test_the_map_draws_the_roads_and_both_lines(opener: Opener) -> None:
    page = opener(samples.care_drive()).page
    inked = page.evaluate(
        """() => {
          const canvas = document.querySelector(".leaflet-roads-pane canvas");
          const pixels = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
          let count = 0;
          for (let i = 3; i < pixels.length; i += 4) count += pixels[i] > 0;
          return count;
        }"""
    )
    assert inked > 5000
    paths = page.locator(".leaflet-overlay-pane path")
    assert paths.count() == 4
    assert paths.first.get_attribute("stroke-dasharray")
    page.click("#finding-8 .choose")
    page.wait_for_timeout(100)
    assert {"Tannery Lane", "Mill Street"} <= set(page.locator(".road-names text").all_text_contents())


def test_facilities_are_listed_and_linked_both_ways(opener: Opener) -> None:
    drive = samples.care_drive()
    page = opener(drive).page
    entries = page.locator("#along-heading ~ ol > li")
    assert entries.count() == len(drive.along)
    for number, facility in enumerate(drive.along, 1):
        said = page.locator(f"#along-{number}").inner_text()
        assert facility_title(facility) in said
        assert facility_text(facility, drive.coach)[1:] in said
    page.click("#along-3 .choose")
    page.wait_for_timeout(100)
    assert abs(on_map(page, "along-3")[0]) < 12
    assert page.locator(".map-mark.is-chosen").get_attribute("data-mark") == "along-3"
    assert page.locator('[data-mark="along-3"] .badge').inner_text() == "Camp: Quarry Camp"
    page.locator('[data-mark="along-6"]').press("Enter")
    assert focused(page) == "along-6"
    page.click("button[data-units=metres]")
    assert facility_text(drive.along[0], drive.coach, Units.METRES)[1:] in page.inner_text("#along-1")
    assert page.locator("#along-4.serious").count() == 1


def test_facilities_have_a_shape_of_their_own_and_a_picture_for_each_kind(opener: Opener) -> None:
    page = opener(samples.care_drive()).page
    outlines = page.locator(".map-mark svg.mark > :first-child").evaluate_all(
        "shapes => shapes.map(s => [s.closest('.map-mark').classList.contains('facility'),"
        " s.getAttribute('d') || s.tagName])"
    )
    of_facilities = {shape for is_facility, shape in outlines if is_facility}
    assert len(of_facilities) == 1
    assert of_facilities.isdisjoint(shape for is_facility, shape in outlines if not is_facility)
    pictures = page.locator(".map-mark.facility .picture").evaluate_all(
        "shapes => shapes.map(s => s.getAttribute('d'))"
    )
    assert len(pictures) == 6
    assert len(set(pictures)) == 5
    assert page.locator(".map-mark.facility .solid").count() == 1


def drawn_marks(page: Page) -> list[tuple[str, float, float, float, float, bool, bool]]:
    """Name, box, whether it is a mere dot and whether a line leads from it, of every mark on the map."""
    found: list[tuple[str, float, float, float, float, bool, bool]] = page.evaluate(
        """() => [...document.querySelectorAll(".map-mark")].map((mark) => {
          const box = mark.querySelector("svg.mark").getBoundingClientRect();
          const name = mark.dataset.mark || mark.getAttribute("aria-label");
          return [name, box.left, box.top, box.right, box.bottom,
                  mark.classList.contains("is-dot"), !!mark.querySelector(".leader")];
        })"""
    )
    return found


@pytest.mark.parametrize("width", [1300, 390])
@pytest.mark.parametrize("make", [samples.care_drive, samples.blocked_drive, samples.inspected_line])
def test_no_mark_hides_another(opener: Opener, make: Callable[[], Drive], width: int) -> None:
    """Also where a structure is passed twice, or a turn-off and a stop lie at one place."""
    page = opener(make(), viewport={"width": width, "height": 800}).page
    for zoom in range(4):
        marks = drawn_marks(page)
        for (a, *box_a, dot_a, _), (b, *box_b, dot_b, _) in combinations(marks, 2):
            if dot_a or dot_b:
                continue
            wide = min(box_a[2], box_b[2]) - max(box_a[0], box_b[0])
            high = min(box_a[3], box_b[3]) - max(box_a[1], box_b[1])
            # Two pixels are let pass, and parts of one.
            assert min(wide, high) <= 3, (zoom, a, b)
        page.locator(".leaflet-control-zoom-out").click()
        page.wait_for_timeout(60)
    assert all(not dot for name, *_, dot, _ in marks if not name.startswith(("finding", "car", "along")))


def test_a_mark_that_had_to_move_points_to_its_place(opener: Opener) -> None:
    """The footbridge of the quay is passed twice, in and out: 6 stands in its place, 7 beside it."""
    page = opener(samples.care_drive()).page
    by_name = {name: (moved, left) for name, left, *_, moved in drawn_marks(page)}
    assert by_name["finding-6"][0] is not by_name["finding-7"][0]
    moved = "finding-7" if by_name["finding-7"][0] else "finding-6"
    away = page.locator(f'[data-mark="{moved}"]').evaluate(
        """(mark) => {
          const end = mark.querySelector(".leader circle").getBoundingClientRect();
          const other = [...document.querySelectorAll('[data-mark="finding-6"], [data-mark="finding-7"]')]
            .find((m) => m !== mark).querySelector("svg.mark").getBoundingClientRect();
          return Math.hypot(end.left + end.width / 2 - other.left - other.width / 2,
                            end.top + end.height / 2 - other.top - other.height / 2);
        }"""
    )
    assert away < 2
    # Chosen in the list it stands in its place, and the others make room.
    page.click(f"#{moved} .choose")
    page.wait_for_timeout(100)
    assert not {name: m for name, *_, m in drawn_marks(page)}[moved]


def test_a_step_of_the_directions_moves_the_map(opener: Opener) -> None:
    page = opener(samples.care_drive()).page
    before = on_map(page, "finding-2")
    page.locator("#steps-heading ~ ol button", has_text="Quarry Road").click()
    page.wait_for_timeout(100)
    assert on_map(page, "finding-2") != before


# --- units --------------------------------------------------------------------------------------------


def test_the_switch_changes_every_length_and_distance(opener: Opener) -> None:
    drive = samples.care_drive(datetime(2026, 5, 1, 8, 30))
    page = opener(drive).page
    text = page.inner_text("body")
    assert FEET.search(text)
    assert not METRES.search(text)
    assert verdict_sentence(drive, Units.FEET) in text
    page.click("button[data-units=metres]")
    text = page.inner_text("body")
    assert not FEET.search(text)
    assert verdict_sentence(drive, Units.METRES) in text
    assert page.locator("#status").text_content() == "Lengths and distances are now in metres and kilometres."
    assert page.locator("button[data-units=metres]").get_attribute("aria-pressed") == "true"
    assert page.locator("button[data-units=feet]").get_attribute("aria-pressed") == "false"
    page.click("button[data-units=feet]")
    assert not METRES.search(page.inner_text("body"))


def test_clearances_are_rounded_down_and_the_coach_up(opener: Opener) -> None:
    """4.117 m is 13'6.08": a clearance of it 13'6" and 4.11 m, a coach of it 13'7" and 4.12 m."""
    odd = Length.from_metres("4.117")
    b = samples.Builder(coach=Coach(height=odd, margin=Length(0)))
    b.stop("Here", (0, 0))
    b.road("A", "residential", [(0, 0), (0, 500)])
    b.passes(samples.structure(Kind.BRIDGE, (0, 250), samples.posted(odd)), 250)
    b.stop("There", (0, 500))
    page = opener(b.drive(Verdict.CARE)).page
    huge, figure = page.locator(".figures .huge dd"), page.locator("#finding-1 .height")
    assert (huge.inner_text(), figure.inner_text()) == ("13'7\"", "13'6\"")
    page.click("button[data-units=metres]")
    assert (huge.inner_text(), figure.inner_text()) == ("4.12 m", "4.11 m")


def test_the_page_opens_in_the_units_asked_for(opener: Opener) -> None:
    drive = samples.clear_drive()
    page = opener(drive, Units.METRES).page
    assert page.locator(".figures .huge dd").inner_text() == coach_text(drive.coach.height, Units.METRES)


# --- keyboard, screen reader, sizes, colours, paper ---------------------------------------------------


def test_the_keyboard_reaches_everything(opener: Opener) -> None:
    page = opener(samples.care_drive()).page
    page.keyboard.press("Tab")
    assert focused(page) == "skip"
    assert page.locator(".skip").evaluate("e => e.getBoundingClientRect().top >= 0")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert focused(page) == "finding-1"
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    page.keyboard.press("Enter")
    assert page.locator(".map-mark.is-chosen").get_attribute("data-mark") == "finding-1"
    # From the top without the skip link: the units, the map and its parts, then the lists.
    page.evaluate("document.activeElement.blur(); window.scrollTo(0, 0)")
    page.locator(".skip").focus()
    order = []
    for _ in range(40):
        page.keyboard.press("Tab")
        order.append(
            page.evaluate(
                "(e => e.dataset.units || e.id || e.dataset.mark || e.dataset.choose || e.className)"
                "(document.activeElement)"
            )
        )
        if order[-1] == "finding-1" and "whole" in order:
            break
    assert order[:3] == ["feet", "metres", "map"]
    assert order.index("finding-8") < order.index("whole") < len(order) - 1


def test_headings_lists_and_landmarks(opener: Opener) -> None:
    page = opener(samples.care_drive()).page
    assert page.locator("h1").count() == 1
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert page.get_by_role("main").count() == 1
    assert page.get_by_role("banner").count() == 1
    assert page.get_by_role("status").count() == 1
    assert page.locator("ol.findings > li.finding").count() == 9
    for button in page.get_by_role("button").all():
        assert (button.get_attribute("aria-label") or button.inner_text()).strip()
    assert page.get_by_role("button", name="Number 8: Railway bridge (Coast Line), Tannery Lane").count() == 1


def test_a_phone_shows_it_all_without_scrolling_sideways(opener: Opener) -> None:
    page = opener(
        samples.care_drive(), viewport={"width": 360, "height": 740}, is_mobile=True, has_touch=True
    ).page
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    # Targets are at least 44 pixels high (WCAG 2.1, 2.5.5 Target Size).
    for selector in ("main .choose", "main .row", ".units button", "#whole", ".leaflet-control-zoom a"):
        for box in [b.bounding_box() for b in page.locator(selector).all()]:
            assert box is not None
            assert box["height"] >= 44
    page.locator("#finding-8 .choose").tap()
    page.wait_for_timeout(100)
    assert page.locator("#map").evaluate("e => e.getBoundingClientRect().top") == pytest.approx(0, abs=2)
    assert abs(on_map(page, "finding-8")[0]) < 12


def luminance(colour: str) -> float:
    channels = [int(n) / 255 for n in re.findall(r"\d+", colour)[:3]]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_texts_stand_out_from_the_ground(opener: Opener, scheme: str) -> None:
    """Contrast of 4.5 to 1 and more (WCAG 2.1, 1.4.3, with its formula for relative luminance)."""
    page = opener(samples.care_drive(), color_scheme=scheme).page
    ground = luminance(page.evaluate("getComputedStyle(document.body).backgroundColor"))
    assert (ground < 0.1) == (scheme == "dark")
    for selector in (
        ".sentence",
        ".where",
        ".coach",
        *(f".{s} .standing" for s in ("too-low", "unverified", "tight", "clear")),
    ):
        text = luminance(page.locator(selector).first.evaluate("e => getComputedStyle(e).color"))
        high, low = max(text, ground), min(text, ground)
        assert (high + 0.05) / (low + 0.05) >= 4.5, selector


def test_paper(opener: Opener) -> None:
    import io

    from pypdf import PdfReader

    drive = samples.care_drive()
    page = opener(drive).page
    text = "\n".join(p.extract_text() for p in PdfReader(io.BytesIO(page.pdf(format="Letter"))).pages)
    assert "TAKE CARE" in text
    assert "12'10\"" in text
    assert "Metres" not in text
    assert all(caution.split(".")[0] in text.replace("\n", " ") for caution in CAUTIONS)
    assert page.locator("html.for-paper").count() == 0


@pytest.mark.parametrize(("end", "high"), [((4000, 0), 9.0), ((0, 4000), 15.0)])
def test_the_map_on_paper_has_the_shape_of_the_drive(
    opener: Opener, end: tuple[float, float], high: float
) -> None:
    b = samples.Builder().stop("Here", (0, 0))
    b.road("A", "residential", [(0, 0), end]).stop("There", end)
    page = opener(b.drive(Verdict.CLEAR)).page
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    box = page.locator(".map-part").bounding_box()
    assert box is not None
    # A CSS centimetre is 96 / 2.54 pixels (CSS Values and Units Level 3, 6.2).
    assert box["height"] == pytest.approx(high * 96 / 2.54, abs=1)
    for stop in ("stop-A", "stop-B"):
        x, y = centre(page, f'[data-mark="{stop}"]')
        assert box["x"] < x < box["x"] + box["width"]
        assert box["y"] < y < box["y"] + box["height"]
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.locator("html.for-paper, html.tall").count() == 0


# --- texts of the map, and the file ------------------------------------------------------------------


def test_names_never_become_markup(opener: Opener) -> None:
    opened = opener(samples.hostile_drive())
    page = opened.page
    assert page.evaluate("window.pwned") is None
    assert page.locator("img").count() == 0
    assert page.locator("script").count() == 5
    name = plain(samples.HOSTILE)
    assert name in page.locator("#stop-A .what").inner_text()
    assert name in (page.locator('[data-mark="stop-A"]').get_attribute("aria-label") or "")
    page.click("#finding-8 .choose")
    assert page.evaluate("window.pwned") is None
    lines = [replace(line, name=samples.HOSTILE) for line in samples.town_lines()]
    html = drive_page(samples.hostile_drive(), lines)
    assert "<script>window" not in html
    assert "<img" not in html
    assert html.count("</script>") == 5
    assert "\u2028" not in html


def test_a_blocked_drive_has_a_page(opener: Opener) -> None:
    drive = samples.blocked_drive()
    page = opener(drive).page
    text = page.inner_text("body")
    assert "BLOCKED" in text
    assert "What stands in the way" in text
    assert drive.gets_through is not None
    assert clearance_text(drive.gets_through) in page.locator(".figures").inner_text()
    assert "maxweight=10 st" in text
    page.click("#way-2 .choose")
    page.wait_for_timeout(100)
    assert abs(on_map(page, "way-2")[0]) < 12


def test_an_inspected_line_shows_what_was_not_checked(opener: Opener) -> None:
    page = opener(samples.inspected_line()).page
    assert "Not checked for" in page.inner_text("main")
    path = page.locator(".leaflet-overlay-pane path").last.get_attribute("d") or ""
    assert path.count("M") == 1
    assert "L" in path
    drive = page.locator(".leaflet-overlay-pane path").nth(2).get_attribute("d") or ""
    assert drive.count("M") == 2


def test_the_page_says_all_it_must() -> None:
    drive = samples.care_drive(datetime(2026, 5, 1, 8, 30))
    html = drive_page(drive, samples.town_lines())
    assert all(caution in html for caution in CAUTIONS)
    assert "2026-01-01" in html
    assert drive.info.attribution in html
    assert "https://www.openstreetmap.org/copyright" in html
    data = json.loads(re.search(r'id="data">(.*?)</script>', html)[1])  # type: ignore[index]
    assert len(data["findings"]) == len(drive.findings) + 1


def test_stops_tell_times_stays_and_how_far_the_road_is(opener: Opener) -> None:
    page = opener(samples.care_drive(datetime(2026, 5, 1, 8, 30))).page
    said = page.locator("#stop-B").inner_text()
    assert "8:38 AM to 9:23 AM" in said
    assert "3.9 mi from the start, 45 min there" in said
    assert "The nearest road" not in said
    assert "The nearest road for the coach is 400 ft from it." in page.locator("#stop-C").inner_text()
    page.click("button[data-units=metres]")
    assert "The nearest road for the coach is 120 m from it." in page.locator("#stop-C").inner_text()
    assert "08:38 to 09:23" in page.locator("#stop-B").inner_text()


def test_an_empty_road_file_and_no_places_do_no_harm(opener: Opener) -> None:
    drive = replace(samples.blocked_drive(), car=None)
    assert "BLOCKED" in drive_page(replace(drive, places=(), in_the_way=(), obstacles=()), ())
    assert opener(drive).complaints == []


def test_the_packed_files_are_those_of_their_packages() -> None:
    packed = json.loads((ASSETS / "packed.json").read_text(encoding="utf-8"))
    listed = {file["to"]: file["sha256"] for package in packed for file in package["files"]}
    present = {
        str(path.relative_to(ASSETS))
        for path in ASSETS.rglob("*")
        if path.is_file() and path.parent.name != "page" and path.name != "packed.json"
    }
    assert set(listed) == present
    for name, digest in listed.items():
        assert hashlib.sha256((ASSETS / name).read_bytes()).hexdigest() == digest, name
    assert all(package["integrity"].startswith("sha512-") for package in packed)
    for name in ("leaflet/LICENSE", "fonts/plex/LICENSE", "fonts/dejavu/LICENSE"):
        assert name in present
