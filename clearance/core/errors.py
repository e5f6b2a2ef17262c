"""The errors a user can meet: one root, split by meaning.

A message says what is wrong, where (file, line, way id, raw text) and what to try.
The command line alone turns them into exit codes.
"""

__all__ = [
    "AmbiguousPlaceError",
    "ClearanceError",
    "DataUnavailableError",
    "InputError",
    "NoWayError",
    "OutputError",
    "PlaceError",
    "RoadFileError",
    "UsageError",
]


class ClearanceError(Exception):
    """Root of everything this package raises on purpose."""


class UsageError(ClearanceError, ValueError):
    """An option or argument that cannot be meant: a bad height, an impossible coach."""


class InputError(ClearanceError, ValueError):
    """A file whose content cannot be read for what it should be."""


class DataUnavailableError(ClearanceError, OSError):
    """Map data that could not be had in time: no network, server busy, deadline passed."""


class RoadFileError(ClearanceError, ValueError):
    """A road file that is damaged, of another version, or not a road file at all."""


class PlaceError(ClearanceError, LookupError):
    """A place that is unknown, outside the area, or far from any road the coach may use."""


class AmbiguousPlaceError(PlaceError):
    """A name that fits several places; the message lists them."""


class NoWayError(ClearanceError):
    """No way at all leads from one place to the other, whatever the vehicle's height."""


class OutputError(ClearanceError, OSError):
    """A result that could not be written; whatever stood there before still stands."""
