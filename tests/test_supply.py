"""What the project stands on: pinned by hash, no older than it says, under licences that are told."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LOCKS = ROOT / "scripts" / "lock"
#: Words of licences that may be installed beside the MIT licence; the LGPL as a package of its own.
FREE = re.compile(r"MIT|BSD|Apache|Mozilla|MPL|ISC|PSF|Python Software|LGPL|Zlib|Unlicense|CC0|HPND", re.I)


def _pinned(lock: str) -> Iterator[tuple[str, str, str]]:
    """Name, version and the rest of each package of a lock."""
    text = (LOCKS / lock).read_text(encoding="utf-8").replace("\\\n", " ")
    for line in text.splitlines():
        if line and not line.lstrip().startswith("#"):
            match = re.match(r"([a-z0-9._-]+)==([^\s;]+)(.*)", line)
            assert match, f"{lock}: not pinned to one version: {line}"
            yield match[1], match[2], match[3]


def _wanted() -> Iterator[tuple[str, str]]:
    """Each package that pyproject.toml asks for, and the lowest version it allows ("" for any)."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    extras = project["project"]["optional-dependencies"].values()
    groups = project["dependency-groups"].values()
    for line in (*project["project"]["dependencies"], *(row for rows in (*extras, *groups) for row in rows)):
        name, _, low = line.partition(">=")
        yield name, low


def _key(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", version))


@pytest.mark.parametrize("lock", ["run.txt", "dev.txt"])
def test_every_package_is_pinned_with_its_hashes(lock: str) -> None:
    rows = list(_pinned(lock))
    assert len(rows) > 30
    for name, version, rest in rows:
        assert re.search(r"--hash=sha256:[0-9a-f]{64}", rest), f"{lock}: {name} {version} has no hash"


def test_what_is_pinned_is_what_is_asked_for() -> None:
    pinned: dict[str, list[str]] = {}
    for name, version, _ in _pinned("dev.txt"):
        pinned.setdefault(name, []).append(version)
    for name, low in _wanted():
        assert name in pinned, f"{name} is not in the lock: run scripts/lock/update"
        assert all(_key(version) >= _key(low) for version in pinned[name]), (
            f"{name} {pinned[name]} is below {low}"
        )


def test_what_runs_is_the_same_for_users_and_tests() -> None:
    tested = {(name, version) for name, version, _ in _pinned("dev.txt")}
    assert {(name, version) for name, version, _ in _pinned("run.txt")} <= tested


def test_the_licence_of_everything_that_users_install_is_told_and_free() -> None:
    told = {}
    for line in (LOCKS / "licences.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 3 and not set(cells[0]) <= {"-"}:
            told[re.sub(r"[-_.]+", "-", cells[0].lower())] = cells[2]
    # What one Python or system alone needs may be missing where the list was written.
    missing = {name for name, _, rest in _pinned("run.txt") if ";" not in rest and name not in told}
    assert not missing, f"run scripts/supply licences: {missing}"
    unfree = {name: licence for name, licence in told.items() if name != "name" and not FREE.search(licence)}
    assert not unfree
