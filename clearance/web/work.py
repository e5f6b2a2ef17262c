"""What the processes of the server do: one function a job, from plain values to plain values."""

from __future__ import annotations

import contextlib
import json
import pickle
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearance import workflow
from clearance.core.errors import AmbiguousPlaceError, ClearanceError, PlaceError, UsageError
from clearance.core.places import Place, StopRequest
from clearance.web.asked import DriveAsked, How, ScreenAsked, Where, WhereError

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.drive import Drive
    from clearance.core.record import Record
    from clearance.core.screening import Screening
    from clearance.web.jobs import Tell

__all__ = [
    "UPLOAD_ENDINGS",
    "DriveShown",
    "Files",
    "ScreenShown",
    "Seen",
    "Upload",
    "as_file",
    "coach_figures",
    "coaches",
    "inspect",
    "inspect_document",
    "map_of",
    "places",
    "plan",
    "plan_document",
    "record",
    "records_document",
    "records_file",
    "records_shown",
    "remove_record",
    "screen",
    "screen_file",
    "structures",
    "structures_document",
    "warm",
    "ways",
]


@dataclass(frozen=True, slots=True)
class Files:
    """The road file, and the file of records where records are kept; it may not be there yet."""

    roads: Path
    records: Path | None = None

    @property
    def named(self) -> tuple[tuple[Path, str], ...]:
        """Each file and what it is called on a page."""
        return tuple((path, path.name) for path in (self.roads, self.records) if path is not None)

    @property
    def counted(self) -> Path | None:
        """The file of records, once there is one."""
        return self.records if self.records is not None and self.records.exists() else None


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that was sent: its bytes, and the name that it came with, which is only ever shown."""

    content: bytes
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveShown:
    """A drive as its page shows it; `kept` is the drive itself, for the files that are asked for later."""

    texts: Mapping[str, Any]
    data: Mapping[str, Any]
    kept: bytes
    seconds: float
    metres: float
    places: int

    @property
    def size(self) -> int:
        """About the bytes that it takes: texts and map are larger than the drive they tell of."""
        return 4 * len(self.kept)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenShown:
    """A screening as its page shows it; `kept` is the screening itself, for the files asked for later.

    `size` is about the bytes that all of it takes.
    """

    texts: Mapping[str, Any]
    data: Mapping[str, Any]
    kept: bytes
    size: int


def warm(files: Files) -> None:
    """Make a new process ready for its first job."""
    workflow.make_ready(files.roads)


# --- places and map ------------------------------------------------------------------------------------


def places(files: Files, text: str, most: int, *, tell: Tell) -> list[dict[str, Any]]:  # noqa: ARG001
    """Named places that a text may mean."""
    return [_shown_place(place) for place in workflow.suggest_places(files.roads, text, most)]


def map_of(
    files: Files,
    box: tuple[float, float, float, float],
    zoom: float,
    *,
    tell: Tell,  # noqa: ARG001
) -> str:
    """The roads in a box as the JSON that the page's map takes."""
    return json.dumps(workflow.area_map(files.roads, box, zoom), separators=(",", ":"))


def _shown_place(place: Place) -> dict[str, Any]:
    return {"name": place.name, "kind": place.kind, "lat": place.lat, "lon": place.lon}


# --- drives --------------------------------------------------------------------------------------------


def plan(files: Files, asked: DriveAsked, *, tell: Tell) -> DriveShown:
    """A drive, for its page."""
    tell("planning", 0, 0)
    with _names(files):
        return _shown(_planned(files, asked))


def plan_document(files: Files, asked: DriveAsked, ending: str, units: str, *, tell: Tell) -> bytes:
    """A drive as the file that its ending says; ``.json`` is the document of `clearance drive --json`."""
    tell("planning", 0, 0)
    with _names(files):
        return _document(_planned(files, asked), ending, units, files.roads)


def inspect(files: Files, upload: Upload, how: How, *, tell: Tell) -> DriveShown:
    """What a line passes, for its page."""
    tell("checking", 0, 0)
    return _shown(_inspected(files, upload, how))


def inspect_document(files: Files, upload: Upload, how: How, ending: str, units: str, *, tell: Tell) -> bytes:
    """What a line passes, as the file that the ending says."""
    tell("checking", 0, 0)
    return _document(_inspected(files, upload, how), ending, units, files.roads)


def as_file(files: Files, kept: bytes, ending: str, units: str, *, tell: Tell) -> bytes:  # noqa: ARG001
    """A drive that was planned before, as a file."""
    # Only what this server packed itself comes here, through the memory of its own processes.
    return _document(pickle.loads(kept), ending, units, files.roads)


def _planned(files: Files, asked: DriveAsked) -> Drive:
    places = _places(files, asked.places)
    found = [StopRequest(place=p, minutes=w.minutes) for p, w in zip(places, asked.places, strict=True)]
    how = asked.how
    drive = workflow.plan_drive(
        files.roads,
        found,
        how.coach,
        unverified=how.unverified,
        departure=how.departure,
        reorder=asked.reorder,
        along=asked.along,
        detour_min=asked.detour_min,
        records=files.counted,
    )
    return _told_plainly(drive, files)


def _places(files: Files, asked: Sequence[Where]) -> list[Place]:
    """The places asked for. Raises WhereError, telling of all that are not to be found."""
    found: list[Place] = []
    wrong, choices = {}, {}
    for where in asked:
        try:
            found.append(_place(files, where))
        except AmbiguousPlaceError:
            wrong[where.name] = "This may mean several places. Choose one."
            choices[where.name] = [
                _shown_place(p) for p in workflow.suggest_places(files.roads, where.text, 10)
            ]
        except PlaceError as error:
            wrong[where.name] = str(error)
    if wrong:
        raise WhereError(wrong, choices)
    return found


def _told_plainly(drive: Drive, files: Files) -> Drive:
    """The drive, its notes without the folders of this machine."""
    return replace(drive, notes=tuple(_plainly(note, files.named) for note in drive.notes))


def _place(files: Files, where: Where) -> Place:
    if where.at:
        return workflow.place_at(files.roads, where.at, where.text)
    return workflow.place_named(files.roads, where.text)


def _inspected(files: Files, upload: Upload, how: How) -> Drive:
    with _uploaded(upload) as path, _names(files, (path, upload.name)):
        drive = workflow.inspect_file(
            files.roads,
            path,
            how.coach,
            unverified=how.unverified,
            departure=how.departure,
            mend=how.mend,
            records=files.counted,
        )
        return _told_plainly(drive, files)


def _shown(drive: Drive) -> DriveShown:
    texts, data = workflow.drive_view(drive)
    return DriveShown(
        texts=texts,
        data=data,
        kept=pickle.dumps(drive),
        seconds=drive.duration_s,
        metres=drive.distance_m,
        places=len(drive.places),
    )


def _document(drive: Drive, ending: str, units: str, roads: Path) -> bytes:
    if ending == ".json":
        return workflow.drive_json(drive, units=units).encode()
    return workflow.drive_bytes(drive, ending, units=units, roads=roads)


def ways(files: Files, kept: bytes, *, tell: Tell) -> list[dict[str, Any]]:
    """The drives from the start of a drive to its end that are each the best in some way, for its page.

    Each is told by the number of unverified structures it passes and its figures, and comes as it is shown.
    """
    tell("comparing", 0, 0)
    drive: Drive = pickle.loads(kept)
    with _names(files):
        found = workflow.plan_trade_offs(
            files.roads,
            drive.places[0],
            drive.places[-1],
            drive.coach,
            departure=drive.departure,
            records=files.counted,
        )
    return [
        {"row": row, "shown": _shown(_told_plainly(choice.drive, files))}
        for choice, row in workflow.trade_offs_view(found)
    ]


# --- destinations ---------------------------------------------------------------------------------------


def screen(
    files: Files, places: Upload, since: Upload | None, asked: ScreenAsked, most_rows: int, *, tell: Tell
) -> ScreenShown:
    """The destinations of a list screened, for its page; not more than `most_rows` rows."""
    tell("screening", 0, 0)
    with contextlib.ExitStack() as stack:
        path = stack.enter_context(_uploaded(places))
        earlier = None if since is None else stack.enter_context(_uploaded(since))
        named = [(path, places.name)]
        if earlier is not None and since is not None:
            named.append((earlier, since.name))
        stack.enter_context(_names(files, *named))
        found = workflow.screen_places(
            files.roads,
            path,
            _places(files, [asked.home])[0],
            asked.coaches,
            unverified=asked.unverified,
            sort_by=asked.sort_by,
            records=files.counted,
            since=earlier,
            most=most_rows // len(asked.coaches),
            tell=tell,
        )
        found = replace(found, notes=tuple(_plainly(n, (*named, *files.named)) for n in found.notes))
        tell("screening", 0, 0)
    texts, data = workflow.screen_view(found)
    kept = pickle.dumps(found)
    return ScreenShown(
        texts=texts, data=data, kept=kept, size=len(kept) + 3 * len(pickle.dumps((texts, data)))
    )


def screen_file(files: Files, kept: bytes, ending: str, units: str, paper: str, *, tell: Tell) -> bytes:  # noqa: ARG001
    """A screening that was made before, as a file; ``.json`` is the report of `clearance screen`."""
    found: Screening = pickle.loads(kept)
    return workflow.screen_bytes(found, ending, units=units, roads=files.roads, paper=paper)


# --- structures ----------------------------------------------------------------------------------------


def structures(
    files: Files,
    wanted: Mapping[str, Any],
    coach: Coach | None,
    start: int,
    most: int,
    *,
    tell: Tell,  # noqa: ARG001
) -> dict[str, Any]:
    """Rows `start` to `start + most` of the structures that fit, and how many fit in all."""
    found = workflow.structure_matches(files.roads, wanted, coach, files.counted)
    return {"rows": workflow.structure_view(found[start : start + most], coach), "total": len(found)}


def structures_document(
    files: Files,
    wanted: Mapping[str, Any],
    coach: Coach | None,
    units: str,
    *,
    tell: Tell,  # noqa: ARG001
) -> bytes:
    """The structures that fit, as GeoJSON."""
    found = workflow.structure_matches(files.roads, wanted, coach, files.counted)
    info = workflow.about_area(files.roads).info
    return workflow.structures_json(found, info, units=units, coach=coach).encode()


# --- heights seen ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A height seen at a structure, known by its key, or at a place (``lat,lon``)."""

    height: str
    who: str
    key: str = ""
    at: str = ""
    date: str = ""
    photo: str = ""
    note: str = ""


def record(files: Files, seen: Seen, *, tell: Tell) -> str:  # noqa: ARG001
    """Keep a height seen; returned is the record as GeoJSON, with its number."""
    with _names(files):
        kept = workflow.add_record(
            _records_of(files),
            height=seen.height,
            who=seen.who,
            date=seen.date or None,
            roads=files.roads,
            key=seen.key or None,
            at=seen.at or None,
            photo=seen.photo,
            note=seen.note,
        )
    return _numbered([kept])


def records_document(files: Files, *, tell: Tell) -> str:  # noqa: ARG001
    """The records that count, as GeoJSON."""
    with _names(files):
        return _numbered(_records(files))


def records_shown(files: Files, *, tell: Tell) -> list[dict[str, Any]]:  # noqa: ARG001
    """The records that count, for their page, the latest first."""
    with _names(files):
        return list(reversed(workflow.records_view(_records(files))))


def records_file(files: Files, ending: str, *, tell: Tell) -> bytes:  # noqa: ARG001
    """The records that count, as a file to hand on: ``.csv`` or ``.geojson``."""
    with _names(files), tempfile.TemporaryDirectory(prefix="clearance-") as folder:
        path = Path(folder) / f"records{ending}"
        workflow.write_records(_records(files), path)
        return path.read_bytes()


def remove_record(files: Files, number: int, who: str, why: str, *, tell: Tell) -> str:  # noqa: ARG001
    """Let a record no longer count; it stays in the file."""
    with _names(files):
        return _numbered([workflow.remove_record(_records_of(files), number, who=who, why=why)])


def _numbered(records: Sequence[Record]) -> str:
    """Records as GeoJSON, with the numbers that they have in this file alone."""
    document = json.loads(workflow.records_document(records))
    for feature, one in zip(document["features"], records, strict=True):
        feature["properties"]["number"] = one.number
    return json.dumps(document, ensure_ascii=False)


def _records_of(files: Files) -> Path:
    if files.records is None:
        raise UsageError("this server keeps no records; start it without --no-records")
    return files.records


def _records(files: Files) -> Sequence[Record]:
    counted = files.counted
    return workflow.list_records(counted) if counted is not None else ()


# --- the coach -----------------------------------------------------------------------------------------


def coach_figures(coach: Coach) -> dict[str, Any]:
    """A coach in figures; quick enough for the server itself."""
    return workflow.coach_view(coach)


def coaches(files: Files, uploads: Sequence[Upload], *, tell: Tell) -> list[Coach]:  # noqa: ARG001
    """The coaches of coach files."""
    found = []
    for upload in uploads:
        with _uploaded(upload) as path, _names(files, (path, upload.name)):
            found.append(workflow.read_coach_file(path))
    return found


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
UPLOAD_ENDINGS = (".geojson", ".json", ".gpx", ".csv", ".tsv", ".txt", ".gpkg", ".toml")


@contextlib.contextmanager
def _names(files: Files, *others: tuple[Path, str]) -> Iterator[None]:
    """Errors name files as the reader knows them and tell nothing of this machine's folders."""
    try:
        yield
    except WhereError:
        raise
    except ClearanceError as error:
        raise type(error)(_plainly(str(error), (*others, *files.named))) from None


def _plainly(text: str, names: Sequence[tuple[Path, str]]) -> str:
    for path, name in names:
        text = text.replace(str(path), name)
    return text
