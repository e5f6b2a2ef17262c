"""How the arrow beside a step is turned, on the page and on paper."""

from __future__ import annotations

from clearance.outputs.directions import Turn

__all__ = ["ROTATION"]

#: Degrees clockwise from straight up.
ROTATION = {
    Turn.STRAIGHT: 0,
    Turn.KEEP_LEFT: -25,
    Turn.KEEP_RIGHT: 25,
    Turn.SLIGHT_LEFT: -40,
    Turn.SLIGHT_RIGHT: 40,
    Turn.LEFT: -90,
    Turn.RIGHT: 90,
    Turn.SHARP_LEFT: -140,
    Turn.SHARP_RIGHT: 140,
    Turn.ROUND: 180,
}
