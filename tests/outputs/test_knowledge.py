"""How much is known, in words and for programs."""

from __future__ import annotations

import io
import json
from dataclasses import replace

from pypdf import PdfReader

from clearance.core.knowledge import AreaKnown
from clearance.outputs.geojson import drive_geojson
from clearance.outputs.json_report import drive_json
from clearance.outputs.knowledge import knowledge_json, knowledge_text
from clearance.outputs.page import drive_page
from clearance.outputs.report import drive_text
from clearance.outputs.sheet import drive_sheet
from clearance.structures.find import find_structures
from clearance.structures.implied import with_implied
from clearance.structures.knowledge import summary
from tests.outputs import samples
from tests.structures.knowledge_town import BRIDGE, street
from tests.towns import Town


def test_the_words_say_the_limit_first() -> None:
    extract = street().extract()
    lines = knowledge_text(summary(find_structures(extract)))
    assert lines[0] == (
        "Of 5 bridges and tunnels over roads, 2 have a known height (40 %); "
        "the others must be looked at on the spot."
    )
    assert "At 2 places the map does not tell which way is above." in lines
    assert "1 structure has a height that cannot be read." in lines
    assert "The heights are from 2026-01-01." in lines
    assert "railway bridge: 2 of unknown height." in lines
    assert "bridge: 2 posted, 1 of unknown height." in lines


def test_a_share_is_never_rounded_up() -> None:
    town = Town()
    for k in range(300):
        n, y = 10 * k, 500.0 * k
        town.node(n, -100, y).node(n + 1, 100, y).node(n + 2, 0, y - 50).node(n + 3, 0, y + 50)
        height = {} if k == 7 else {"maxheight": "4.5"}
        town.way(n, [n, n + 1], {"highway": "residential", **height}).way(n + 1, [n + 2, n + 3], BRIDGE)
    assert "(99 %)" in knowledge_text(summary(find_structures(town.extract())))[0]


def test_rules_are_told_as_such() -> None:
    extract = street().extract()
    found = summary(with_implied(find_structures(extract), extract, lambda _lon, _lat: "US"))
    assert "railway bridge: 2 by a general rule only." in knowledge_text(found)


def test_nothing_known_of_nothing() -> None:
    assert knowledge_text(summary(())) == ("No structure over a road is known here.",)


def test_the_values_for_programs_are_the_counts() -> None:
    extract = street().extract()
    told = json.loads(json.dumps(knowledge_json(summary(find_structures(extract)), extract.info)))
    assert (told["crossings"], told["known"], told["share"]) == (5, 2, 0.4)
    assert told["kinds"]["bridge"] == {"posted": 2, "none": 1}
    assert told["text"][0].startswith("Of 5 bridges and tunnels")
    assert told["data_date"] == "2026-01-01T00:00:00Z"


def test_every_output_of_a_drive_says_how_much_is_known_of_the_area() -> None:
    drive = replace(samples.care_drive(), area=AreaKnown(75, 12))
    sentence = (
        "In this area 75 bridges and tunnels stand over roads; a height to rely on is known for 12 (16 %)."
    )
    assert sentence in " ".join(drive_text(drive).split())
    assert sentence in drive_page(drive, samples.town_lines())
    sheet = PdfReader(io.BytesIO(drive_sheet(drive)))
    assert sentence in " ".join(" ".join(page.extract_text() for page in sheet.pages).split())
    assert drive_geojson(drive)["known_of_the_area"] == sentence
    assert drive_json(drive)["area"] == {"crossings": 75, "known": 12, "text": sentence}
    uncounted = samples.care_drive()
    assert "In this area" not in drive_text(uncounted)
    assert drive_json(uncounted)["area"] is None
