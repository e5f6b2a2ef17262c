"""The use cases: what the commands and any other front call. Each does one job from files to a result."""

from clearance.workflow.area import AreaInfo, about_area, area_map, place_at, place_named, suggest_places
from clearance.workflow.coaches import coach_text, read_coach_file, write_coach_file
from clearance.workflow.drives import (
    DRIVE_ENDINGS,
    check_drive_endings,
    drive_bytes,
    drive_json,
    drive_text,
    inspect_file,
    plan_drive,
    read_day,
    write_drive,
)
from clearance.workflow.opened import make_ready
from clearance.workflow.roads import Made, get_roads, network_of
from clearance.workflow.structures import (
    list_structures,
    structures_json,
    structures_text,
    write_structures,
)
from clearance.workflow.views import coach_view, drive_view, page_files, structure_matches, structure_view

__all__ = [
    "DRIVE_ENDINGS",
    "AreaInfo",
    "Made",
    "about_area",
    "area_map",
    "check_drive_endings",
    "coach_text",
    "coach_view",
    "drive_bytes",
    "drive_json",
    "drive_text",
    "drive_view",
    "get_roads",
    "inspect_file",
    "list_structures",
    "make_ready",
    "network_of",
    "page_files",
    "place_at",
    "place_named",
    "plan_drive",
    "read_coach_file",
    "read_day",
    "structure_matches",
    "structure_view",
    "structures_json",
    "structures_text",
    "suggest_places",
    "write_coach_file",
    "write_drive",
    "write_structures",
]
