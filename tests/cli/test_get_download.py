"""clearance get against servers on loopback: a box, a name, the cache, and servers that are gone."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.test_commands import Ran, run
from tests.sources.map_servers import BOX, full_town, map_servers


def test_a_box_is_downloaded_kept_and_read_again_without_the_server(tmp_path: Path) -> None:
    box = ",".join(f"{edge:.4f}" for edge in BOX)

    def get(name: str, *more: str) -> Ran:
        return run(
            "get", "-o", tmp_path / name, "--cache", tmp_path / "kept", *urls, *more, "--json", "--", box
        )

    with map_servers(full_town()) as server:
        urls = ["--map-server", server.overpass_url, "--name-server", server.nominatim_url]
        first = get("a.roads")
        assert first.code == 0, first.err
    made = json.loads(first.out)
    assert made["roads"] > 0
    assert "OpenStreetMap" in made["attribution"]

    again = get("b.roads", "--offline")
    assert again.code == 0, again.err
    kept = json.loads(again.out)
    assert (kept["roads"], kept["kinds"]) == (made["roads"], made["kinds"])
    assert any("ago" in w or "kept" in w or "old" in w for w in kept["warnings"]), kept["warnings"]

    gone = get("c.roads", "--refresh", "--deadline", "3")
    assert (gone.code, gone.out) == (1, "")
    assert not (tmp_path / "c.roads").exists()
    assert len(gone.err.strip().splitlines()) == 1


def test_a_band_between_places_and_a_name(tmp_path: Path) -> None:
    west, south, east, north = BOX
    with map_servers(full_town()) as server:
        urls = ["--map-server", server.overpass_url, "--name-server", server.nominatim_url]
        ends = [f"{south:.4f},{west:.4f}", f"{north:.4f},{east:.4f}"]
        between = [word for end in ends for word in ("--between", end)]
        band = run(
            "get", *between, "--band", "2", "-o", tmp_path / "band.roads", "--cache", tmp_path / "kept", *urls
        )
        assert band.code == 0, band.err
        none = run("get", "Nowhere At All", "-o", tmp_path / "n.roads", "--cache", tmp_path / "kept", *urls)
        assert none.code == 1
        assert "Nowhere At All" in none.err


def test_source_and_between_are_one_or_the_other(tmp_path: Path) -> None:
    assert run("get", "-o", tmp_path / "x.roads").code == 2
    assert run("get", "--between", "Mill Street", "-o", tmp_path / "x.roads").code == 2
