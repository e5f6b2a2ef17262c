"""A screening as a GeoPackage: layers for a GIS, with tables of what was not screened and of the data."""

from __future__ import annotations

from clearance.core.screening import Screening, totals
from clearance.core.structure import Standing
from clearance.outputs.geopackage import Layer, geopackage_bytes, points_wkb
from clearance.outputs.marks import MARKS
from clearance.outputs.measures import Units
from clearance.outputs.screen_csv import ROW_COLUMNS, RowCells
from clearance.outputs.screen_geojson import structure_cells, structure_uses
from clearance.outputs.screen_words import coach_names, headline, problem_text, totals_text
from clearance.outputs.wording import CAUTIONS, coach_line, place_text, plain, structure_text

__all__ = ["screen_gpkg"]

_STRUCTURE_COLUMNS = (
    *("key", "title", "kind", "name", "road", "standing", "clearance", "clearance_m", "verified"),
    *("blocks", "unverified_for", "tight_for", "evidence"),
)


def screen_gpkg(screening: Screening, units: Units = Units.FEET) -> bytes:
    """The file: layers `destinations` (a point a row, columns of the CSV table) and `structures`, `home`.

    `structures` are those that matter to some row, with the worst standing that any row has of them. The
    tables `not_screened` and `about` have no places.
    """
    names = coach_names(screening)
    of_rows = RowCells(screening, units)
    cells = [of_rows.of(row) for row in screening.rows]
    rows = Layer(
        name="destinations",
        columns={column: [cell[column] for cell in cells] for column in ROW_COLUMNS},
        wkb=points_wkb([r.place.lon for r in screening.rows], [r.place.lat for r in screening.rows]),
        description=headline(screening),
    )
    home = Layer(
        name="home",
        columns={"name": [place_text(screening.home)]},
        wkb=points_wkb([screening.home.lon], [screening.home.lat]),
    )
    unscreened = Layer(
        name="not_screened",
        columns={
            "where": [plain(p.where) for p in screening.problems],
            "name": [plain(p.name) for p in screening.problems],
            "coach": ["" if p.coach is None else names[p.coach] for p in screening.problems],
            "why": [problem_text(p, names) for p in screening.problems],
        },
    )
    return geopackage_bytes([rows, _structures(screening, units), home, unscreened, _about(screening, units)])


def _structures(screening: Screening, units: Units) -> Layer:
    used = list(structure_uses(screening))
    cells = []
    for structure, uses in used:
        worst: Standing = min(uses, key=list(MARKS).index)
        cells.append(
            structure_cells(structure, uses, units)
            | {"title": structure_text(structure), "standing": worst.value}
        )
    return Layer(
        name="structures",
        columns={column: [cell[column] for cell in cells] for column in _STRUCTURE_COLUMNS},
        wkb=points_wkb([s.lon for s, _ in used], [s.lat for s, _ in used]),
        description="Structures that block a destination, are unverified or tight, or set a ceiling",
    )


def _about(screening: Screening, units: Units) -> Layer:
    info, names, sums = screening.info, coach_names(screening), totals(screening)
    told = [
        ("screening", headline(screening)),
        *(
            (name, f"{coach_line(coach, units)}. {totals_text(sums[n], units)}")
            for n, (name, coach) in enumerate(zip(names, screening.coaches, strict=True))
        ),
        *(("note", plain(note)) for note in screening.notes),
        *(("caution", caution) for caution in CAUTIONS),
        ("data source", plain(info.source)),
        ("data date", info.data_date),
        ("attribution", info.attribution),
    ]
    return Layer(name="about", columns={"what": [w for w, _ in told], "text": [t for _, t in told]})
