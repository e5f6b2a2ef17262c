"""Trade-offs as a chart: a bar of driving time for each way, beside what it passes unverified."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from clearance.core.tradeoff import TradeOff
from clearance.outputs.measures import duration_text
from clearance.outputs.page_parts import asset

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["trade_offs_line", "way_chart", "way_chart_rows", "worth_showing"]

#: A choice that saves less than this beside the one above is left out of chart and table; files hold all.
_WORTH_S = 60.0


def worth_showing(choices: Sequence[TradeOff]) -> list[TradeOff]:
    """The choices without those that save less than a minute beside the one before them."""
    shown: list[TradeOff] = []
    for choice in choices:
        if not shown or choice.drive.duration_s <= shown[-1].drive.duration_s - _WORTH_S:
            shown.append(choice)
    return shown


def trade_offs_line(choices: Sequence[TradeOff]) -> str:
    """All that is worth choosing from in one line, the quickest first: ``2 unverified: 41 min; 0 ...``."""
    shown = reversed(worth_showing(choices))
    return "; ".join(f"{c.unverified} unverified: {duration_text(c.drive.duration_s)}" for c in shown)


def way_chart_rows(choices: Sequence[TradeOff]) -> list[dict[str, Any]]:
    """What the macro ``way_chart`` of ``page/waychart.html`` draws, one row for each bar.

    `unverified` is a count, `time` a text, `share` the percentage of the longest time shown.
    """
    shown = worth_showing(choices)
    longest = max((choice.drive.duration_s for choice in shown), default=0.0)
    return [
        {
            "unverified": choice.unverified,
            "time": duration_text(choice.drive.duration_s),
            "share": round(100 * choice.drive.duration_s / longest, 2) if longest else 0.0,
        }
        for choice in shown
    ]


def way_chart(choices: Sequence[TradeOff]) -> Markup:
    """The chart as an SVG element in English, for a page that holds ``page/waychart.css``.

    A page in other languages imports the macro with a `say` of its own.
    """
    from jinja2 import Environment
    from markupsafe import Markup

    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    environment.globals["say"] = lambda text, **values: text.format(**values)
    module: Any = environment.from_string(asset("page/waychart.html")).module
    return Markup(module.way_chart(way_chart_rows(choices)))
