"""Trade-offs between time and structures of unknown height: a table, a chart, lines on a map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from clearance.core.drive import Drive, Finding
from clearance.core.structure import Standing
from clearance.core.tradeoff import TradeOff, TradeOffs
from clearance.outputs.csv_table import table_csv
from clearance.outputs.geojson import collection_of, drive_geojson
from clearance.outputs.json_report import drive_json
from clearance.outputs.lines import wrapped
from clearance.outputs.measures import Units, clearance_text, distance_text, duration_text
from clearance.outputs.page_parts import asset, content_policy, font_faces
from clearance.outputs.tradeoff_chart import trade_offs_line, way_chart, way_chart_rows, worth_showing
from clearance.outputs.wording import CAUTIONS, coach_line, place_text, plain, structure_text, verdict_word

__all__ = [
    "FORMAT",
    "FORMAT_VERSION",
    "TRADE_OFF_COLUMNS",
    "trade_offs_csv",
    "trade_offs_geojson",
    "trade_offs_json",
    "trade_offs_page",
    "trade_offs_text",
]

FORMAT = "clearance trade-offs"
#: Raised when a key goes or changes its meaning; new keys may come without.
FORMAT_VERSION = 1

TRADE_OFF_COLUMNS = (
    *("not_verified", "time", "minutes", "distance_mi", "distance_km", "verdict", "tight"),
    *("lowest_clearance_ft_in", "lowest_clearance_m", "not_verified_structures", "keys"),
    *("data_source", "data_date", "attribution", "caution"),
)

_MOST_NAMED = 6
_BAR = 24
_METRES_PER_MILE = 1609.344


def trade_offs_text(found: TradeOffs, units: Units = Units.FEET) -> str:
    """The choices in a line, as a table of 80 columns with bars, and what is unverified on each.

    A choice that is less than a minute quicker than the one above it is not shown. Ends in a line end.
    """
    shown = worth_showing(found.choices)
    blocks = [
        wrapped(f"{_where(found)}: {_sentence(found, units)}"),
        wrapped(f"{trade_offs_line(found.choices)}."),
        [
            f"{'not verified':>12}  {'time':<11} {'distance':<9} verdict",
            *(
                _row(choice, row["share"], units)
                for choice, row in zip(shown, way_chart_rows(shown), strict=True)
            ),
        ],
        [line for choice in shown if choice.unverified for line in _passed(choice)],
        wrapped(_left_out(found)),
        [*_listed(found.notes)],
        [*wrapped(CAUTIONS[1])],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _left_out(found: TradeOffs, where: str = "the files hold all") -> str:
    left = len(found.choices) - len(worth_showing(found.choices))
    if not left:
        return ""
    more = "1 more saves" if left == 1 else f"{left} more save"
    return f"{more} less than a minute beside one of these; {where}."


def _where(found: TradeOffs) -> str:
    return " to ".join(place_text(place) for place in found.places)


def _sentence(found: TradeOffs, units: Units) -> str:
    best = "one drive is quickest and has the fewest structures of unknown height"
    if len(found.choices) > 1:
        best = f"{len(found.choices)} drives to choose from, each the quickest past so few unknown heights"
    coach = coach_line(found.coach, units)
    return f"{best}. Coach: {coach}. Nothing known to be too low is on the way."


def _row(choice: TradeOff, share: float, units: Units) -> str:
    drive = choice.drive
    bar = "#" * max(1, round(_BAR * share / 100))
    return (
        f"{choice.unverified:>12}  {duration_text(drive.duration_s):<11} "
        f"{distance_text(drive.distance_m, units):<9} {verdict_word(drive.verdict):<10} {bar}"
    ).rstrip()


def _passed(choice: TradeOff) -> list[str]:
    """What is unverified on a choice, in a few words each."""
    texts = [structure_text(f.structure, f.road) for f in _unverified(choice.drive)]
    told = "; ".join(texts[:_MOST_NAMED])
    if len(texts) > _MOST_NAMED:
        told += f"; and {len(texts) - _MOST_NAMED} more"
    return wrapped(f"with {choice.unverified}: {told}", "  - ")


def _unverified(drive: Drive) -> list[Finding]:
    return [f for f in drive.findings if f.standing is Standing.UNVERIFIED]


def _listed(notes: Sequence[str]) -> list[str]:
    return [line for note in notes for line in wrapped(f"Note: {plain(note)}")]


# --- files -------------------------------------------------------------------------------------------


def trade_offs_csv(found: TradeOffs) -> str:
    """One line for each choice, the fewest unverified first, with the keys of what is unverified on it."""
    return table_csv(TRADE_OFF_COLUMNS, (_line(choice, found) for choice in found.choices))


def _line(choice: TradeOff, found: TradeOffs) -> dict[str, Any]:
    drive = choice.drive
    unverified = _unverified(drive)
    ceiling = drive.ceiling
    return {
        "not_verified": choice.unverified,
        "time": duration_text(drive.duration_s),
        "minutes": round(drive.duration_s / 60, 1),
        "distance_mi": round(drive.distance_m / _METRES_PER_MILE, 2),
        "distance_km": round(drive.distance_m / 1000, 2),
        "verdict": verdict_word(drive.verdict),
        "tight": sum(f.standing is Standing.TIGHT for f in drive.findings),
        "lowest_clearance_ft_in": "" if ceiling is None else clearance_text(ceiling, Units.FEET),
        "lowest_clearance_m": "" if ceiling is None else float(ceiling.metres),
        "not_verified_structures": "; ".join(structure_text(f.structure, f.road) for f in unverified),
        "keys": " ".join(f.structure.key for f in unverified),
        "data_source": plain(found.info.source),
        "data_date": found.info.data_date,
        "attribution": found.info.attribution,
        "caution": " ".join(CAUTIONS),
    }


def trade_offs_geojson(found: TradeOffs, units: Units = Units.FEET) -> dict[str, Any]:
    """All choices in one FeatureCollection: for each its line and what stands on it, then start and end.

    Features are those of `geojson.drive_geojson` with role ``drive`` or ``finding``, their ids begun by
    ``choice/N/``; the properties `choice` (N from 1, the fewest unverified first) and `unverified` tell which
    choice each belongs to. Start and end are those of the first.
    """
    features: list[dict[str, Any]] = []
    for number, choice in enumerate(found.choices, start=1):
        for feature in drive_geojson(choice.drive, units)["features"]:
            role = feature["properties"]["role"]
            if role in {"drive", "finding"}:
                features.append(_of_choice(feature, number, choice.unverified))
            elif number == 1 and role in {"start", "end"}:
                features.append(feature)
    return collection_of(
        features,
        found.info,
        {
            "coach": coach_line(found.coach, units),
            "coach_height_m": float(found.coach.height.metres),
            "coach_need_m": float(found.coach.need.metres),
            "departure": found.departure.isoformat() if found.departure else None,
            "choices": [_summary(choice) for choice in found.choices],
            "notes": [plain(note) for note in found.notes],
        },
    )


def _of_choice(feature: Mapping[str, Any], number: int, unverified: int) -> dict[str, Any]:
    return {
        **feature,
        "id": f"choice/{number}/{feature['id']}",
        "properties": {"choice": number, "unverified": unverified, **feature["properties"]},
    }


def _summary(choice: TradeOff) -> dict[str, Any]:
    return {
        "unverified": choice.unverified,
        "duration_s": round(choice.drive.duration_s, 1),
        "distance_m": round(choice.drive.distance_m, 1),
        "verdict": choice.drive.verdict.value,
    }


def trade_offs_json(found: TradeOffs, units: Units = Units.FEET) -> dict[str, Any]:
    """The trade-offs as values that json.dumps takes: `format`, `format_version`, `line` and `choices`.

    A choice is `unverified`, `duration_s`, `distance_m`, `verdict`, and `drive` as in
    `json_report.drive_json`.
    """
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "line": trade_offs_line(found.choices),
        "choices": [{**_summary(c), "drive": drive_json(c.drive, units)} for c in found.choices],
        "notes": list(found.notes),
    }


# --- a page ------------------------------------------------------------------------------------------


def trade_offs_page(found: TradeOffs, units: Units = Units.FEET) -> str:
    """The table and a chart as one HTML file, with nothing to load and no script. BOTH shows feet."""
    from jinja2 import Environment
    from markupsafe import Markup

    styles = [font_faces(), asset("page/tradeoffs.css"), asset("page/waychart.css")]
    shown = Units.FEET if units is Units.BOTH else units
    rows = [
        {
            "unverified": choice.unverified,
            "time": duration_text(choice.drive.duration_s),
            "distance": distance_text(choice.drive.distance_m, shown),
            "verdict": verdict_word(choice.drive.verdict),
            "structures": [structure_text(f.structure, f.road) for f in _unverified(choice.drive)],
        }
        for choice in found.choices
    ]
    return (
        Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
        .from_string(asset("page/tradeoffs.html"))
        .render(
            title=_where(found),
            sentence=_sentence(found, shown),
            line=trade_offs_line(found.choices),
            chart=way_chart(found.choices),
            left_out=_left_out(found, "the table holds all"),
            rows=rows,
            notes=[plain(note) for note in found.notes],
            cautions=CAUTIONS,
            source=plain(found.info.source),
            data_date=found.info.data_date[:10],
            attribution=found.info.attribution,
            csp=content_policy(styles),
            styles=[Markup(style) for style in styles],
        )
    )
