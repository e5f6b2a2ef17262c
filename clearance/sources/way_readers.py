"""Reading the ways of a PBF file in parts, each by a process of its own.

Such a file is a row of frames, and any run of them behind the first one, the header, is a file as well. How
long each frame is can be told without unpacking any (wiki.openstreetmap.org/wiki/PBF_Format; from memory).
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, TypeVar

from clearance.core.errors import InputError
from clearance.sources.way_blocks import packed

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

    from clearance.sources.way_blocks import WayBlock

    Part = tuple[int, int]
    #: The file, its header, and the ways that are wanted whatever their tags.
    Given = tuple[Path, Part, frozenset[int]]

__all__ = ["parts_of", "read_in_parts"]

T = TypeVar("T")
#: As many as Windows allows a pool to have (docs.python.org, concurrent.futures; from memory).
_MOST_PROCESSES = 61
#: What the processes of this machine were started with.
_given: Given | None = None


def parts_of(frames: Sequence[Part], size: int) -> list[Part]:
    """The frames behind the first one, each from byte to byte, joined to parts of `size` bytes or more."""
    parts: list[Part] = []
    for begin, end in frames[1:]:
        if parts and parts[-1][1] - parts[-1][0] < size:
            parts[-1] = (parts[-1][0], end)
        else:
            parts.append((begin, end))
    return parts


def read_in_parts(
    path: Path, header: Part, parts: Sequence[Part], outlines: frozenset[int], processes: int
) -> Iterator[list[WayBlock]]:
    """The wanted ways of each part of a file, in their order; `header` is its first frame.

    `outlines` as in `way_blocks.packed`. With one process the parts are read in this one.

    Raises RuntimeError from the library where a part cannot be read, InputError where no process can be
    started or one ended before it was done.
    """
    given = (path, header, outlines)
    if processes == 1 or len(parts) < 2:
        for part in parts:
            yield _read(given, part)
        return
    from concurrent.futures.process import BrokenProcessPool

    pool, waiting = _started(given, parts, processes)
    waiting.reverse()
    try:
        while waiting:
            # Popped, so that what was read goes away with whoever is done with it.
            yield waiting.pop().result()
    except BrokenProcessPool as error:
        raise InputError(
            f"{path}: a process that read it ended before it was done, for want of memory perhaps; "
            "close other programs, or read it with --processes 1"
        ) from error
    finally:
        pool.shutdown(cancel_futures=True)


def _started(
    given: Given, parts: Sequence[Part], processes: int
) -> tuple[ProcessPoolExecutor, list[Future[list[WayBlock]]]]:
    """The processes, and what will come of each part."""
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    pool = None
    try:
        pool = ProcessPoolExecutor(
            min(processes, len(parts), _MOST_PROCESSES),
            # A new interpreter shares no locks with the threads of the library.
            mp_context=multiprocessing.get_context("spawn"),
            initializer=_begin,
            initargs=given,
        )
        read = pool.submit
        return pool, _not_interrupted(lambda: [read(_read_given, part) for part in parts])
    # Some systems have no locks for processes, or allow no more processes.
    except (OSError, ImportError, NotImplementedError) as error:
        if pool is not None:
            pool.shutdown(cancel_futures=True)
        raise InputError(
            f"{given[0]}: no process can be started to read it ({error}); read it with --processes 1"
        ) from error


def _not_interrupted(start: Callable[[], T]) -> T:
    """What `start` gives; Ctrl-C at a terminal reaches this process alone, none that `start` starts."""
    if not hasattr(signal, "pthread_sigmask"):
        return start()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        return start()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin(path: Path, header: Part, outlines: frozenset[int]) -> None:
    """What a process does first."""
    global _given  # noqa: PLW0603 — the way in which such processes keep what they are given
    _given = path, header, outlines
    # Windows knows no such mask.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """Where the process that gives work was killed, nobody else would end this one."""
    import multiprocessing

    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _read_given(part: Part) -> list[WayBlock]:
    if _given is None:
        raise RuntimeError("a process was given nothing to read")
    return _read(_given, part)


def _read(given: Given, part: Part) -> list[WayBlock]:
    import osmium
    from osmium.osm import WAY

    path, header, outlines = given
    with path.open("rb") as file:
        data = b"".join(_bytes(file, piece) for piece in (header, part))
    return list(packed(osmium.FileProcessor(osmium.io.FileBuffer(data, "pbf"), WAY), outlines))


def _bytes(file: BinaryIO, part: Part) -> bytes:
    file.seek(part[0])
    return file.read(part[1] - part[0])
