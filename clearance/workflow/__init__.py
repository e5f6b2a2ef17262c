"""The use cases: what the commands and any other front call. Each does one job from files to a result."""

from clearance.workflow.coaches import coach_text, read_coach_file, write_coach_file
from clearance.workflow.drives import (
    DRIVE_ENDINGS,
    check_drive_endings,
    drive_json,
    drive_text,
    inspect_file,
    plan_drive,
    read_day,
    write_drive,
)
from clearance.workflow.roads import Made, get_roads, network_of
from clearance.workflow.structures import (
    list_structures,
    structures_json,
    structures_text,
    write_structures,
)

__all__ = [
    "DRIVE_ENDINGS",
    "Made",
    "check_drive_endings",
    "coach_text",
    "drive_json",
    "drive_text",
    "get_roads",
    "inspect_file",
    "list_structures",
    "network_of",
    "plan_drive",
    "read_coach_file",
    "read_day",
    "structures_json",
    "structures_text",
    "write_coach_file",
    "write_drive",
    "write_structures",
]
