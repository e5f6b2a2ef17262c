"""What the processes of the server do: one function a job, from plain values to plain values."""

from __future__ import annotations

import contextlib
import json
import pickle
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearance import workflow
from clearance.core.errors import AmbiguousPlaceError, ClearanceError, PlaceError
from clearance.core.places import Place, StopRequest
from clearance.web.asked import AskedError, DriveAsked, How, Where

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.drive import Drive
    from clearance.web.jobs import Tell

__all__ = [
    "UPLOAD_ENDINGS",
    "DriveShown",
    "Upload",
    "as_file",
    "coach_figures",
    "inspect",
    "inspect_document",
    "map_of",
    "places",
    "plan",
    "plan_document",
    "structures",
    "structures_document",
    "warm",
]


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that was sent: its bytes, and the name that it came with, which is only ever shown."""

    content: bytes
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveShown:
    """A drive as its page shows it; `kept` is the drive itself, for the files that are asked for later."""

    title: str
    texts: Mapping[str, Any]
    data: Mapping[str, Any]
    kept: bytes


def warm(roads: Path) -> None:
    """Make a new process ready for its first job."""
    workflow.make_ready(roads)


# --- places and map ------------------------------------------------------------------------------------


def places(roads: Path, text: str, most: int, *, tell: Tell) -> list[dict[str, Any]]:  # noqa: ARG001
    """Named places that a text may mean."""
    return [_shown_place(place) for place in workflow.suggest_places(roads, text, most)]


def map_of(
    roads: Path,
    box: tuple[float, float, float, float],
    zoom: float,
    *,
    tell: Tell,  # noqa: ARG001
) -> str:
    """The roads in a box as the JSON that the page's map takes."""
    return json.dumps(workflow.area_map(roads, box, zoom), separators=(",", ":"))


def _shown_place(place: Place) -> dict[str, Any]:
    return {"name": place.name, "kind": place.kind, "lat": place.lat, "lon": place.lon}


# --- drives --------------------------------------------------------------------------------------------


def plan(roads: Path, asked: DriveAsked, *, tell: Tell) -> DriveShown:
    """A drive, for its page."""
    tell("planning", 0, 0)
    with _names(roads):
        return _shown(_planned(roads, asked))


def plan_document(roads: Path, asked: DriveAsked, ending: str, units: str, *, tell: Tell) -> bytes:
    """A drive as the file that its ending says; ``.json`` is the document of `clearance drive --json`."""
    tell("planning", 0, 0)
    with _names(roads):
        return _document(_planned(roads, asked), ending, units, roads)


def inspect(roads: Path, upload: Upload, how: How, *, tell: Tell) -> DriveShown:
    """What a line passes, for its page."""
    tell("checking", 0, 0)
    return _shown(_inspected(roads, upload, how))


def inspect_document(roads: Path, upload: Upload, how: How, ending: str, units: str, *, tell: Tell) -> bytes:
    """What a line passes, as the file that the ending says."""
    tell("checking", 0, 0)
    return _document(_inspected(roads, upload, how), ending, units, roads)


def as_file(roads: Path, kept: bytes, ending: str, units: str, *, tell: Tell) -> bytes:  # noqa: ARG001
    """A drive that was planned before, as a file."""
    # Only what this server packed itself comes here, through the memory of its own processes.
    return _document(pickle.loads(kept), ending, units, roads)


def _planned(roads: Path, asked: DriveAsked) -> Drive:
    found, wrong, choices = [], {}, {}
    for where in asked.places:
        try:
            place = _place(roads, where)
        except AmbiguousPlaceError:
            wrong[where.name] = "This may mean several places. Choose one."
            choices[where.name] = [_shown_place(p) for p in workflow.suggest_places(roads, where.text, 10)]
        except PlaceError as error:
            wrong[where.name] = str(error)
        else:
            found.append(StopRequest(place=place, minutes=where.minutes))
    if wrong:
        raise AskedError(wrong, choices)
    how = asked.how
    return workflow.plan_drive(
        roads,
        found,
        how.coach,
        unverified=how.unverified,
        departure=how.departure,
        reorder=asked.reorder,
        along=asked.along,
        detour_min=asked.detour_min,
    )


def _place(roads: Path, where: Where) -> Place:
    if where.at:
        return workflow.place_at(roads, where.at, where.text)
    return workflow.place_named(roads, where.text)


def _inspected(roads: Path, upload: Upload, how: How) -> Drive:
    with _uploaded(upload) as path, _names(roads, (path, upload.name)):
        return workflow.inspect_file(
            roads, path, how.coach, unverified=how.unverified, departure=how.departure, mend=how.mend
        )


def _shown(drive: Drive) -> DriveShown:
    texts, data = workflow.drive_view(drive)
    return DriveShown(title=texts["title"], texts=texts, data=data, kept=pickle.dumps(drive))


def _document(drive: Drive, ending: str, units: str, roads: Path) -> bytes:
    if ending == ".json":
        return workflow.drive_json(drive, units=units).encode()
    return workflow.drive_bytes(drive, ending, units=units, roads=roads)


# --- structures ----------------------------------------------------------------------------------------


def structures(
    roads: Path,
    wanted: Mapping[str, Any],
    coach: Coach | None,
    start: int,
    most: int,
    *,
    tell: Tell,  # noqa: ARG001
) -> dict[str, Any]:
    """Rows `start` to `start + most` of the structures that fit, and how many fit in all."""
    found = workflow.structure_matches(roads, wanted, coach)
    return {"rows": workflow.structure_view(found[start : start + most], coach), "total": len(found)}


def structures_document(
    roads: Path,
    wanted: Mapping[str, Any],
    coach: Coach | None,
    units: str,
    *,
    tell: Tell,  # noqa: ARG001
) -> bytes:
    """The structures that fit, as GeoJSON."""
    found = workflow.structure_matches(roads, wanted, coach)
    info = workflow.about_area(roads).info
    return workflow.structures_json(found, info, units=units, coach=coach).encode()


# --- the coach -----------------------------------------------------------------------------------------


def coach_figures(coach: Coach) -> dict[str, Any]:
    """A coach in figures; quick enough for the server itself."""
    return workflow.coach_view(coach)


# --- files ---------------------------------------------------------------------------------------------


@contextlib.contextmanager
def _uploaded(upload: Upload) -> Iterator[Path]:
    """The bytes as a file of a name of our own, for as long as it is read.

    Of the name that came with them only the ending counts, and only one that a reader knows.
    """
    ending = next((e for e in UPLOAD_ENDINGS if upload.name.lower().endswith(e)), ".txt")
    with tempfile.TemporaryDirectory(prefix="clearance-") as folder:
        path = Path(folder) / f"upload{ending}"
        path.write_bytes(upload.content)
        yield path


#: Endings of files that may be uploaded; longer ones first where one ends in another.
UPLOAD_ENDINGS = (".geojson", ".json", ".gpx", ".csv", ".tsv", ".txt", ".gpkg")


@contextlib.contextmanager
def _names(roads: Path, *others: tuple[Path, str]) -> Iterator[None]:
    """Errors name files as the reader knows them and tell nothing of this machine's folders."""
    try:
        yield
    except AskedError:
        raise
    except ClearanceError as error:
        message = str(error)
        for path, name in (*others, (roads, roads.name)):
            message = message.replace(str(path), name)
        raise type(error)(message) from None
