"""What every page of one file is made of: packed files, letters, and a policy that lets in nothing else."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["FONTS", "asset", "content_policy", "font_faces", "script_json", "source_hash"]

#: The letters of every page: packed file and weight.
FONTS = (("fonts/plex/latin-regular.woff2", 400), ("fonts/plex/latin-bold.woff2", 700))


def content_policy(styles: Sequence[str], scripts: Sequence[str] = (), *, images: str = "data:") -> str:
    """A content policy that lets in these styles and scripts, by their text, `images`, and no request."""
    allowed = [
        "default-src 'none'",
        f"script-src {' '.join(map(source_hash, scripts))}" if scripts else "script-src 'none'",
        f"style-src {' '.join(map(source_hash, styles))}",
        "font-src data:",
        f"img-src {images}",
        "base-uri 'none'",
        "form-action 'none'",
    ]
    return "; ".join(allowed)


@cache
def asset(name: str) -> str:
    """The text of a packed file, such as ``page/page.css``."""
    text = (files("clearance.outputs") / "assets" / name).read_text(encoding="utf-8")
    # The packed library names a source map beside it; a reader's developer tools would ask for it.
    return re.sub(r"\n?//# sourceMappingURL=\S+\s*$", "\n", text)


@cache
def font_faces() -> str:
    """Style rules that hold the letters themselves."""
    rules = []
    for name, weight in FONTS:
        content = (files("clearance.outputs") / "assets" / name).read_bytes()
        rules.append(
            f'@font-face{{font-family:"Sheet";font-weight:{weight};font-display:block;'
            f"src:url(data:font/woff2;base64,{base64.b64encode(content).decode()})}}"
        )
    return "\n".join(rules)


def source_hash(text: str) -> str:
    """The source expression that lets in exactly this text (Content Security Policy Level 3, 2.3.1)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def script_json(data: object) -> Markup:
    """JSON that cannot end the script element it stands in (HTML, 4.12.1.3), nor a line in old readers."""
    from markupsafe import Markup

    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)
