"""What is killed, and what must hold afterwards: the old file or the new one, and no record lost."""

from __future__ import annotations

import contextlib
import csv
import gzip
import json
import sqlite3
from abc import ABC, abstractmethod
from pathlib import Path

from clearance.core.whole_file import PART_GLOB
from clearance.network.roadfile import check_road_file, open_kept, open_road_file
from clearance.sources.cache import AnswerCache
from clearance.sources.records import read_records
from tests.killing.nursery import ROOT, Nursery
from tests.sources.map_servers import BOX, Server
from tests.towns import Town

__all__ = ["Download", "Evidence", "Get", "Outcome", "Record", "Screen", "ScreenMany", "Trial"]

#: What became of a kill: nothing new, all new, or some files new and others as before, each of them whole.
Outcome = str
SAMPLE = ROOT / "data_samples" / "pellowick.osm"
YARD = "Pellowick Coach Yard"
OLD, NEW, BOTH = "old", "new", "some new"


class Trial(ABC):
    """A command on files of its own. `folder` is empty and the trial's alone."""

    #: What it is called in tables.
    name: str
    #: Whether to take larger files, for more moments at which to die.
    large = False

    def __init__(self, folder: Path, nest: Nursery) -> None:
        """Make what stands there before the command."""
        self.folder, self.nest = folder, nest
        #: What the command that was killed had printed by then.
        self.said = ""
        self.env = {"XDG_DATA_HOME": str(folder / "data"), "XDG_CACHE_HOME": str(folder / "cache")}
        self.prepare()

    @abstractmethod
    def prepare(self) -> None:
        """Make what stands there before the first command."""

    @abstractmethod
    def arguments(self) -> list[str | Path]:
        """The command, which changes something every time that it is run."""

    @abstractmethod
    def outcome(self) -> Outcome:
        """What stands there now, and AssertionError or another error where it is not what may stand there."""

    def left_over(self) -> list[str]:
        """Files of runs that were killed, all of which are known by their names."""
        found = [str(path) for path in self.folder.rglob("*.part")]
        known = [str(path) for path in self.folder.rglob(PART_GLOB)]
        cached = [text for text in found if "/cache/" in text or "/answers/" in text]
        assert sorted(found) == sorted({*known, *cached}), found
        return found


def street(name: str, length: int, more: int = 0) -> str:
    """A tiny town as an .osm text: `length` metres of a street under a railway, `more` of a lane off it."""
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, length, 0).node(4, 50, -40).node(5, 50, 40)
    if more:
        town.node(6, 100, more).way(11, [2, 6], {"highway": "residential", "name": "Lane"})
    town.way(10, [1, 2, 3], {"highway": "residential", "name": name})
    return town.way(20, [4, 5], {"railway": "rail", "bridge": "yes", "layer": "1"}).osm_xml()


class Get(Trial):
    """`get`, where a road file stands already."""

    name = "get"

    def prepare(self) -> None:
        self.roads = self.folder / "area.roads"
        self.turn = 0
        old = SAMPLE.read_text(encoding="utf-8") if self.large else street("Old Street", 900, more=300)
        for name, text in (("old", old), ("new", street("New Street", 900))):
            (self.folder / f"{name}.osm").write_text(text, encoding="utf-8")
        self.nest.run("get", self.folder / "new.osm", "-o", self.roads, env=self.env)
        self.sizes = {"new": open_road_file(self.roads).arc_tail.size}
        self.nest.run("get", self.folder / "old.osm", "-o", self.roads, env=self.env)
        self.sizes["old"] = open_road_file(self.roads).arc_tail.size
        self.stands = "old"

    def arguments(self) -> list[str | Path]:
        self.wanted = "new" if self.stands == "old" else "old"
        return ["get", self.folder / f"{self.wanted}.osm", "-o", self.roads]

    def outcome(self) -> Outcome:
        check_road_file(self.roads)
        size = open_road_file(self.roads).arc_tail.size
        (found,) = [name for name, count in self.sizes.items() if count == size]
        changed = found != self.stands
        self.stands = found
        return NEW if changed else OLD


class Evidence(Trial):
    """`evidence add`, which reads a road file and writes it anew."""

    name = "evidence add"

    def prepare(self) -> None:
        self.roads = self.folder / "area.roads"
        osm = self.folder / "town.osm"
        osm.write_text(street("Old Street", 400), encoding="utf-8")
        self.nest.run("get", osm, "-o", self.roads, env=self.env)
        self.nodes = open_road_file(self.roads).node_osm.size
        self.lists: list[str] = []
        self.turn = 0

    def arguments(self) -> list[str | Path]:
        self.turn += 1
        self.list = self.folder / f"list{self.turn}.csv"
        row = f"45.0,-39.99936,4.{self.turn:03d},Old Street"
        self.list.write_text(f"lat,lon,height,name\n{row}\n", encoding="utf-8")
        return ["evidence", "add", self.roads, self.list, "--height", "height", "--unit", "m"]

    def outcome(self) -> Outcome:
        check_road_file(self.roads)
        assert open_road_file(self.roads).node_osm.size == self.nodes
        found = [each.name for each in open_kept(self.roads).lists]
        changed = found != self.lists
        assert found == ([*self.lists, self.list.name] if changed else self.lists)
        self.lists = found
        return NEW if changed else OLD


class Record(Trial):
    """`record add`: what was said to be kept is kept, and what was kept stays."""

    name = "record add"

    def prepare(self) -> None:
        self.file = self.folder / "data" / "clearance" / "records.sqlite"
        self.turn = 0
        self.nest.run(*self.arguments(), env=self.env)
        self.kept = read_records(self.file)

    def arguments(self) -> list[str | Path]:
        self.turn += 1
        return ["record", "add", "--at", "45,-40", "--height", f"4.{self.turn:04d}m", "--who", "Ines"]

    def outcome(self) -> Outcome:
        found = read_records(self.file)
        assert found[: len(self.kept)] == self.kept
        assert len(found) - len(self.kept) in (0, 1)
        changed = len(found) > len(self.kept)
        assert changed or "kept in" not in self.said
        with contextlib.closing(sqlite3.connect(self.file)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        self.kept = found
        return NEW if changed else OLD


class Screen(Trial):
    """`screen` with every kind of output at once."""

    name = "screen, 8 files"
    ENDINGS = ("csv", "geojson", "json", "txt", "gpkg", "html", "pdf")

    def prepare(self) -> None:
        self.roads, self.places = self.folder / "town.roads", self.folder / "places.csv"
        self.nest.run("get", SAMPLE, "-o", self.roads, env=self.env)
        self.places.write_text(
            "name,place\nMill,Mill House\nQuay,Harbor Quay Visitor Lot\nCamp,Lighthouse Camp\n",
            encoding="utf-8",
        )
        self.files = [self.folder / f"season.{ending}" for ending in self.ENDINGS]
        self.tall = self.folder / "tall.geojson"
        self.turn = 0
        self.nest.run(*self.arguments(), env=self.env)
        self.before = self.contents()
        #: Files in which the height of the coach tells: those of the first whole run that is looked at.
        self.telling: set[str] = set()

    def arguments(self) -> list[str | Path]:
        # Another height every time.
        self.turn += 1
        told: list[str | Path] = ["screen", self.roads, self.places, "--from", YARD, "--tallest", self.tall]
        told += ["--height", f"{3 + self.turn * 61 % 997 / 1000:.3f}m", "--no-records"]
        return told + [word for file in self.files for word in ("-o", file)]

    def contents(self) -> dict[str, bytes]:
        return {path.name: path.read_bytes() for path in (*self.files, self.tall)}

    def outcome(self) -> Outcome:
        after = self.contents()
        changed = [name for name in after if after[name] != self.before[name]]
        for name in changed:
            whole(self.folder / name)
        self.before = after
        if len(changed) > 4 and not self.telling:
            self.telling = set(changed)
        return OLD if not changed else NEW if self.telling <= set(changed) else BOTH


def whole(path: Path) -> None:
    """Look at an output of a screening as whoever reads such files would."""
    content = path.read_bytes()
    match path.suffix:
        case ".json" | ".geojson":
            json.loads(content)
        case ".csv":
            rows = list(csv.reader(content.decode("utf-8").splitlines()))
            assert len(rows) == 4
            assert len({len(row) for row in rows}) == 1
        case ".gpkg":
            with contextlib.closing(sqlite3.connect(f"file:{path}?immutable=1", uri=True)) as connection:
                assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
                assert connection.execute("SELECT count(*) FROM destinations").fetchone() == (3,)
        case ".html":
            assert content.rstrip().endswith(b"</html>")
        case ".pdf":
            assert content.startswith(b"%PDF")
            assert content.rstrip().endswith(b"%%EOF")
        case ".txt":
            assert b"Lighthouse Camp" in content
            assert content.endswith(b"\n")


class ScreenMany(Trial):
    """`screen-many`, gone on with after each kill until it is done, and then begun anew."""

    name = "screen-many"

    def prepare(self) -> None:
        roads = self.folder / "town.roads"
        self.nest.run("get", SAMPLE, "-o", roads, env=self.env)
        (self.folder / "places.csv").write_text(
            "name,place\nMill,Mill House\nÉté ☂,Lighthouse Camp\n", encoding="utf-8"
        )
        (self.folder / "tall.toml").write_text('name = "Heron"\nheight = "13ft"\n', encoding="utf-8")
        homes = "".join(
            f'[[home]]\nname = "home-{i}"\nplace = "{place}"\n'
            for i, place in enumerate((YARD, "Harbor Quay Visitor Lot", "Mill House"))
        )
        self.jobs = self.folder / "jobs.toml"
        self.jobs.write_text(
            '[[coach]]\nfile = "tall.toml"\n'
            f'{homes}[[region]]\nname = "north"\nroads = "town.roads"\nplaces = "places.csv"\n',
            encoding="utf-8",
        )
        self.round = 0
        self.nest.run("screen-many", self.jobs, "-o", self.output(), "--no-records", env=self.env)
        self.right = self.results()
        assert len(self.right) == 3
        self.round = 1
        self.noted: set[str] = set()

    def output(self) -> Path:
        return self.folder / f"results-{self.round}"

    def results(self) -> dict[str, bytes]:
        return {path.name: path.read_bytes() for path in self.output().rglob("*.parquet")}

    def arguments(self) -> list[str | Path]:
        if (self.output() / "manifest.json").exists():
            self.round += 1
            self.noted = set()
        return ["screen-many", self.jobs, "-o", self.output(), "--no-records"]

    def outcome(self) -> Outcome:
        found = self.results()
        assert all(self.right[name] == content for name, content in found.items())
        journal = self.output() / "progress.jsonl"
        noted = set()
        for line in journal.read_bytes().splitlines() if journal.exists() else ():
            with contextlib.suppress(ValueError):
                noted.add(json.loads(line)["done"]["home"])
        assert noted >= self.noted, "a task that was noted as done is forgotten"
        assert len(noted) <= len(found)
        changed = noted != self.noted
        self.noted = noted
        done = self.output() / "manifest.json"
        if done.exists():
            assert len(json.loads(done.read_text(encoding="utf-8"))["tasks"]) == len(found) == 3
            return NEW
        return BOTH if changed else OLD


class Download(Trial):
    """`get` from a map server, gone on with after each kill; what is kept is whole answers alone."""

    name = "get from a server"
    server: Server

    def prepare(self) -> None:
        self.roads = self.folder / "area.roads"
        self.answers = self.folder / "answers"
        self.round = 0
        self.nest.run(*self.arguments(), env=self.env)
        self.arcs = open_road_file(self.roads).arc_tail.size
        self.questions = len(self.server.asked)
        self.begin_anew()

    def begin_anew(self) -> None:
        self.round += 1
        self.kept = 0
        self.roads.unlink()
        self.server.asked.clear()

    def cache(self) -> Path:
        return self.answers / str(self.round)

    def arguments(self) -> list[str | Path]:
        box = ",".join(f"{edge:.4f}" for edge in BOX)
        told: list[str | Path] = ["get", "-o", self.roads, "--cache", self.cache()]
        return [*told, "--map-server", self.server.overpass_url, "--", box]

    def outcome(self) -> Outcome:
        kept = list(self.cache().glob("*.json.gz"))
        for path in kept:
            # Under the name of another question an entry counts as none, so each is read by what it tells.
            entry = json.loads(gzip.decompress(path.read_bytes()))
            assert AnswerCache(self.cache()).get(entry["server"], entry["question"]) is not None
        # What was kept is not asked for again.
        assert len(self.server.asked) <= self.questions - self.kept
        self.kept = len(kept)
        self.server.asked.clear()
        if not self.roads.exists():
            return BOTH if kept else OLD
        check_road_file(self.roads)
        assert open_road_file(self.roads).arc_tail.size == self.arcs
        assert len(kept) == self.questions
        self.begin_anew()
        return NEW
