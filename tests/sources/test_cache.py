"""Answers on disk are whole or absent."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from clearance.sources.cache import AnswerCache, default_cache_dir

ANSWER = {"elements": [{"type": "way", "id": 1, "tags": {"name": "Straße ☂"}}]}


def test_what_is_put_is_got(tmp_path: Path) -> None:
    cache = AnswerCache(tmp_path / "a" / "b")
    assert cache.get("server", "question") is None
    put = cache.put("server", "question", ANSWER)
    assert cache.get("server", "question") == put
    assert put.answer == ANSWER
    assert cache.get("server", "another") is None
    assert cache.get("another", "question") is None
    assert [path.suffixes for path in cache.folder.iterdir()] == [[".json", ".gz"]]


@pytest.mark.parametrize("at", range(0, 200, 7))
def test_a_flipped_byte_or_a_short_file_is_no_answer(tmp_path: Path, at: int) -> None:
    cache = AnswerCache(tmp_path)
    cache.put("server", "question", ANSWER)
    (path,) = tmp_path.iterdir()
    raw = bytearray(path.read_bytes())
    path.write_bytes(raw[: at % len(raw)])
    assert cache.get("server", "question") is None
    if at >= 10:  # before that stand the time, the flags and the name of the system: no content
        raw[at % len(raw)] ^= 0x10
        path.write_bytes(raw)
        got = cache.get("server", "question")
        assert got is None or got.answer == ANSWER


def test_an_entry_under_a_wrong_name_is_no_answer(tmp_path: Path) -> None:
    cache = AnswerCache(tmp_path)
    cache.put("server", "one", ANSWER)
    (one,) = tmp_path.iterdir()
    cache.put("server", "two", {"elements": []})
    (two,) = set(tmp_path.iterdir()) - {one}
    one.replace(two)
    assert cache.get("server", "two") is None


@pytest.mark.parametrize("error", [KeyboardInterrupt, OSError])
def test_a_break_while_writing_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: type[BaseException]
) -> None:
    cache = AnswerCache(tmp_path)
    before = cache.put("server", "question", ANSWER)

    def broken(_handle: int) -> None:
        raise error

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", broken)
        with pytest.raises(error):
            cache.put("server", "question", {"elements": []})
    assert cache.get("server", "question") == before
    assert len(list(tmp_path.iterdir())) == 1


def test_a_killed_writer_leaves_old_or_new(tmp_path: Path) -> None:
    """Kill a process that puts answers without pause; whatever stands there is whole."""
    program = (
        "import sys; from pathlib import Path; from clearance.sources.cache import AnswerCache\n"
        "cache = AnswerCache(Path(sys.argv[1]))\n"
        "big = {'elements': ['x' * 100 + str(i) for i in range(9000)]}\n"
        "print('ready', flush=True)\n"
        "while True: cache.put('server', 'question', big)\n"
    )
    cache = AnswerCache(tmp_path)
    for pause in (0.0, 0.013, 0.041, 0.08):
        with subprocess.Popen(
            [sys.executable, "-c", program, str(tmp_path)],
            stdout=subprocess.PIPE,
            cwd=Path(__file__).parents[2],
        ) as process:
            assert process.stdout is not None
            process.stdout.readline()
            time.sleep(pause)
            process.kill()
        if any(path.name.endswith(".json.gz") for path in tmp_path.iterdir()):
            got = cache.get("server", "question")
            assert got is not None
            assert len(got.answer["elements"]) == 9000  # type: ignore[index]


def test_old_parts_are_swept_and_young_ones_left(tmp_path: Path) -> None:
    old, young = tmp_path / "old.part", tmp_path / "young.part"
    old.touch()
    young.touch()
    os.utime(old, (time.time() - 90_000,) * 2)
    AnswerCache(tmp_path).put("server", "question", ANSWER)
    assert not old.exists()
    assert young.exists()


@pytest.mark.skipif(sys.platform != "linux", reason="where a cache belongs depends on the system")
@pytest.mark.parametrize(
    ("xdg", "folder"),
    [("/var/x", "/var/x/clearance"), ("", "/home/u/.cache/clearance"), ("rel", "/home/u/.cache/clearance")],
)
def test_the_folder_of_the_user(monkeypatch: pytest.MonkeyPatch, xdg: str, folder: str) -> None:
    monkeypatch.setenv("HOME", "/home/u")
    monkeypatch.setenv("XDG_CACHE_HOME", xdg)
    assert default_cache_dir() == Path(folder)
