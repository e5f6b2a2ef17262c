"""Road files as a target: bytes changed, members swapped, false manifests, arrays that lie."""

from __future__ import annotations

import dataclasses
import io
import json
import tempfile
import zipfile
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

from clearance.core.coach import Coach
from clearance.core.errors import RoadFileError
from clearance.core.lengths import Length
from clearance.network.kept import Kept
from clearance.network.network import Network
from clearance.network.roadfile import check_road_file, open_kept, open_road_file, write_road_file
from clearance.workflow import list_structures, network_of, plan_drive
from tests.fuzz.mutations import mutated
from tests.fuzz.target import Target, refused
from tests.towns import Town, lonlat

__all__ = ["TARGETS"]

_COACH = Coach(height=Length.from_feet(13), weight_kg=11_000, towing=True)
_FROM, _TO = (",".join(str(v) for v in reversed(lonlat(x, 0))) for x in (-400.0, 1400.0))


def _town() -> Town:
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 1000), 6: (1000, 1000),
        7: (500, -100), 8: (500, 100),
    }.items():  # fmt: skip
        town.node(ref, x, y, {"barrier": "gate"} if ref == 6 else None)
    for ref, nodes, name in (
        (10, [1, 2], "West Road"),
        (12, [2, 5, 6, 3], "High Street"),
        (13, [3, 4], "East Road"),
    ):
        town.way(ref, nodes, {"highway": "residential", "name": name, "maxweight:conditional": "7.5 @ wet"})
    town.way(
        11,
        [2, 3],
        {"highway": "residential", "name": "Low Street", "maxheight": "4.2", "access": "destination"},
    )
    town.relation(
        1,
        [("w", 10, "from"), ("n", 2, "via"), ("w", 12, "to")],
        {"type": "restriction", "restriction": "no_left_turn"},
    )
    return town.way(20, [7, 8], {"railway": "rail", "bridge": "yes", "layer": "1"})


@cache
def _network() -> Network:
    return network_of(_town().extract())


def _bytes_of(network: Network) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "town.roads"
        write_road_file(network, path, Kept(ground=_town().extract()))
        return path.read_bytes()


@cache
def _sound() -> bytes:
    return _bytes_of(_network())


_ARRAYS = tuple(
    f.name for f in dataclasses.fields(Network) if isinstance(getattr(_network(), f.name), np.ndarray)
)


@st.composite
def _lying(draw: DrawFn) -> bytes:
    """A road file whose sums fit but whose arrays do not mean what they should."""
    network = _network()
    changes: dict[str, Any] = {}
    for _ in range(draw(st.integers(1, 2))):
        name = draw(st.sampled_from(_ARRAYS))
        array = changes.get(name, getattr(network, name)).copy()
        kind = draw(st.sampled_from(("value", "value", "value", "swap", "cut", "turn round", "all")))
        if kind == "swap":
            # Another array of the same kind in its place.
            of_kind = [
                n
                for n in _ARRAYS
                if getattr(network, n).dtype == array.dtype and getattr(network, n).ndim == array.ndim
            ]
            array = getattr(network, draw(st.sampled_from(of_kind))).copy()
        elif kind == "cut":
            array = array[: len(array) // 2]
        elif kind == "turn round":
            array = array[::-1].copy()
        elif array.size:
            odd: tuple[float, ...] = {
                "f": (np.nan, np.inf, -np.inf, -1.0, 0.0, 1e308, 0.5),
                "i": (-1, 0, 1, 7, 1000, 2**31 - 1, -(2**31)),
                "u": (0, 1, 2, 3, 255),
                "b": (False, True),
            }[array.dtype.kind]
            value = draw(st.sampled_from(odd))
            if kind == "all":
                array[...] = value
            else:
                array.flat[draw(st.integers(0, array.size - 1))] = value
        changes[name] = array
    return _bytes_of(dataclasses.replace(network, **changes))


@st.composite
def _crafted(draw: DrawFn) -> bytes:
    """A road file packed anew, with members changed, swapped, packed, left out, or false in the manifest."""
    with zipfile.ZipFile(io.BytesIO(_sound())) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    names = sorted(members)
    manifest = json.loads(members["manifest.json"])
    kinds = draw(
        st.lists(st.sampled_from(("swap", "mutate", "out", "more", "manifest", "text", "bomb")), max_size=3)
    )
    for kind in kinds:
        one, two = draw(st.sampled_from(names)), draw(st.sampled_from(names))
        if kind == "swap":
            members[one], members[two] = members.get(two, b""), members.get(one, b"")
        elif kind == "mutate":
            members[one] = draw(mutated([members.get(one, b"") or b" "]))
        elif kind == "out":
            members.pop(one, None)
        elif kind == "more":
            members[
                draw(st.sampled_from(("../../x", "/etc/x", "arrays/turn_to.npy/", "x" * 300, "\u202e")))
            ] = b"x"
        elif kind == "manifest":
            inside: Any = manifest
            key = draw(st.sampled_from(("members", "info", "counts", "schema", "format")))
            if key == "members" and inside["members"]:
                inside, key = inside["members"], draw(st.sampled_from(sorted(inside["members"])))
                if draw(st.booleans()):
                    inside, key = inside[key], draw(st.sampled_from(("begin", "size", "crc32", "word_sum")))
            odd: tuple[Any, ...] = (
                None,
                -1,
                0,
                64,
                2**31,
                2**63,
                2**70,
                1.5,
                "7",
                [],
                {},
                float("nan"),
                True,
                [[[]]],
            )
            if isinstance(inside, dict):
                inside[key] = draw(st.sampled_from(odd))
                members["manifest.json"] = json.dumps(manifest).encode()
        elif kind == "text":
            members["manifest.json"] = draw(
                st.sampled_from(
                    (
                        b"",
                        b"[" * 100_000,
                        b"{}",
                        b"\xff",
                        b'{"format": "clearance road file", "schema": 7}',
                        b"null",
                    )
                )
            )
        else:
            members["manifest.json"] = (
                b'{"format": "clearance road file", "schema": 7, "x": "' + b" " * (8 << 20) + b'"}'
            )
    packing = draw(st.sampled_from((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2)))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", packing) as archive:
        for name, content in members.items():
            # A packed manifest is refused at once, and nothing else is looked at.
            kept = name == "manifest.json" and draw(st.integers(0, 5)) > 0
            archive.writestr(name, content, zipfile.ZIP_STORED if kept else packing)
    return out.getvalue()


def _used(content: bytes, folder: Path) -> None:
    """Opened, read from end to end, and driven on."""
    path = folder / "town.roads"
    path.write_bytes(content)
    network = refused(lambda: open_road_file(path), names=path.name)
    refused(lambda: check_road_file(path), names=path.name)
    refused(lambda: open_kept(path), names=path.name)
    if network is None:
        return
    # Rows are read when they are asked for, from a network that no longer knows its file.
    structures = refused(lambda: list_structures(path), names="road file")
    for structure in () if structures is None else structures[0]:
        lowest = structure.lowest()
        assert lowest is None or lowest.tenths >= 0
    for table in (network.ways, network.rules, network.places, network.backdrop):
        refused(lambda table=table: list(table), names="road file")  # type: ignore[misc]
    drive = refused(lambda: plan_drive(path, [_FROM, _TO], _COACH), names="")
    if drive is not None:
        assert drive.distance_m >= 0
        assert drive.duration_s >= 0


def _changed() -> SearchStrategy[bytes]:
    return st.one_of(mutated([_sound()]), _crafted(), _crafted())


def _unchanged(content: bytes, folder: Path) -> None:
    """Bytes changed where they lie: refused, or the same network."""
    _used(content, folder)
    try:
        network = open_road_file(folder / "town.roads")
    except RoadFileError:
        return
    for name in _ARRAYS:
        np.testing.assert_array_equal(getattr(network, name), getattr(_network(), name), err_msg=name)


TARGETS = (
    Target("road-file", _changed, _unchanged, 20),
    Target("road-file-lies", _lying, _used, 12),
)
