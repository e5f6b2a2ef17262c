"""Tables that are sorted and looked through without scripts: by links, the server doing the work."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

__all__ = ["Order", "columns", "fits", "ordered"]

_WAYS = {"up": "ascending", "down": "descending"}


class Order:
    """The column that a table is sorted by and the way, read from a text such as ``there-down``.

    `key` is empty where the text names none of the columns: the table stays as it is.
    """

    def __init__(self, text: str, keys: Iterable[str]) -> None:
        """Read `text`; `keys` are the columns there are."""
        key, _, way = text.partition("-")
        self.key = key if key in set(keys) and way in _WAYS else ""
        self.up = way == "up"

    @property
    def text(self) -> str:
        """The text that reads as this order, empty for none."""
        return f"{self.key}-{'up' if self.up else 'down'}" if self.key else ""


def ordered(rows: Sequence[Mapping[str, Any]], order: Order) -> list[Mapping[str, Any]]:
    """The rows by what their ``sorted`` holds; what is not told comes last, whichever way the others go."""
    if not order.key:
        return list(rows)
    told = [row for row in rows if row["sorted"][order.key] not in (None, "")]
    rest = [row for row in rows if row["sorted"][order.key] in (None, "")]
    return [*sorted(told, key=lambda row: row["sorted"][order.key], reverse=not order.up), *rest]


def columns(
    name: str, order: Order, keys: Iterable[str], query: Mapping[str, str], to: str
) -> dict[str, Any]:
    """What the heads of a table link to: `key` and `way` as it is sorted, and an address for each column.

    `name` is the parameter that holds the order, `query` the others, `to` the part of the page to go to.
    """
    links = {}
    for key in keys:
        way = "down" if order.key == key and order.up else "up"
        links[key] = f"?{urlencode({**query, name: f'{key}-{way}'})}#{to}"
    return {"key": order.key, "way": _WAYS["up" if order.up else "down"], "columns": links}


def fits(texts: Iterable[object], wanted: str) -> bool:
    """Whether what is looked for stands in any of the texts, elements left out and letters of any size."""
    return any(wanted.casefold() in re.sub(r"<[^>]*>", " ", str(text)).casefold() for text in texts)
