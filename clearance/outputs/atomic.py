"""Files written whole or not at all."""

from __future__ import annotations

import stat
from pathlib import Path

from clearance.core.errors import OutputError
from clearance.core.whole_file import not_written, whole_file

__all__ = ["write_whole"]


def write_whole(path: str | Path, data: bytes | str) -> None:
    """Write `data` (text as UTF-8, line ends kept) to `path`, replacing what stands there only when whole.

    See `core.whole_file.whole_file`. What is no ordinary file (a pipe, a device) is written to directly.

    Raises OutputError, naming the file and what to try.
    """
    content = data.encode("utf-8") if isinstance(data, str) else data
    try:
        if _is_special(Path(path)):
            Path(path).write_bytes(content)
            return
        with whole_file(path) as file:
            file.write(content)
    except OutputError:
        raise
    except OSError as error:
        raise not_written(path, error) from error
    except ValueError as error:  # a NUL in the name
        raise OutputError(f"cannot write {str(path)!r}: {error}") from error


def _is_special(path: Path) -> bool:
    """Whether a pipe, a device or a socket stands there."""
    try:
        mode = path.stat().st_mode
    except OSError:
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))
