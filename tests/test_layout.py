"""The rooms of the package import only from the rooms before them."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "clearance"
# Each room and what it may import from; the same table stands in DEVELOPERS.md.
ROOMS: dict[str, frozenset[str]] = {
    "core": frozenset(),
    "sources": frozenset({"core"}),
    "structures": frozenset({"core"}),
    "network": frozenset({"core"}),
    "routing": frozenset({"core", "network"}),
    "assess": frozenset({"core", "network", "routing"}),
    "outputs": frozenset({"core"}),
    "workflow": frozenset({"core", "sources", "structures", "network", "routing", "assess", "outputs"}),
    "web": frozenset({"core", "workflow"}),
    "cli": frozenset({"core", "workflow", "web"}),
}
# Rooms that open no file, socket or clock; modules that are the one exception stand beside.
PURE = {
    "core": {"whole_file"},
    "structures": set(),
    "network": {"roadfile"},
    "routing": set(),
    "assess": set(),
}
OPENERS = {"open", "input", "print"}
OPENING_MODULES = {
    "socket",
    "requests",
    "urllib",
    "http",
    "subprocess",
    "tempfile",
    "shutil",
    "time",
    "sqlite3",
}


def _room(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


def _modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def _own_room(path: Path) -> str:
    inside = path.relative_to(PACKAGE).parts
    return inside[0].removesuffix(".py")


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_follow_the_table(path: Path) -> None:
    room = _own_room(path)
    if room not in ROOMS:
        assert room in {"__init__", "__main__"}
        return
    allowed = ROOMS[room] | {room}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            names = [node.module]
        for name in names:
            if name.startswith("clearance."):
                assert _room(name) in allowed, f"{path}: {room} may not import {name}"


@pytest.mark.parametrize("room", sorted(PURE))
def test_pure_rooms_open_nothing(room: str) -> None:
    for path in sorted((PACKAGE / room).rglob("*.py")):
        if path.stem in PURE[room]:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            where = f"{path}:{getattr(node, 'lineno', 0)}"
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in OPENERS, f"{where}: {node.func.id}()"
            if isinstance(node, ast.Import):
                for alias in node.names:
                    assert alias.name.split(".")[0] not in OPENING_MODULES, where
            if isinstance(node, ast.ImportFrom) and node.module:
                assert node.module.split(".")[0] not in OPENING_MODULES, where
            elif isinstance(node, ast.Attribute) and ast.unparse(node.value).endswith(("datetime", "date")):
                assert node.attr not in {"now", "today", "utcnow"}, f"{where}: reads a clock"


def test_the_table_in_the_developers_page_names_every_room() -> None:
    page = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    for room in ROOMS:
        assert f"`{room}" in page
