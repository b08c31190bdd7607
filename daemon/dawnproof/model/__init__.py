"""The values that flow from a file to the morning summary: frozen, in the trade's words, without behaviour that
needs a disk, a clock or a screen."""

from __future__ import annotations

from .file import Identity, shown
from .filing import Filing, FilingStep, StepKind
from .finding import Finding, Level, Limit, Mark, Needs, Outcome, Pile, Reading
from .job import Decision, JobRow, JobState, ListedJob
from .night import Asked, JobView, Night, Progress, RecurringMark, Space
from .place import MM_PER_INCH, MOST_PLAUSIBLE_PPI, Bed, Box, Crop, SeamSample, Sides, Where
from .record import (
    ArrivingRow,
    EventRow,
    FixityRow,
    MailRow,
    MailState,
    MoveRow,
    Place,
    RootRow,
    RunRow,
    ScanRow,
    StayingRow,
    WaitingScan,
)
from .scan import Frame, Measured, PartName, Role

__all__ = [
    "MM_PER_INCH",
    "MOST_PLAUSIBLE_PPI",
    "ArrivingRow",
    "Asked",
    "Bed",
    "Box",
    "Crop",
    "Decision",
    "EventRow",
    "Filing",
    "FilingStep",
    "Finding",
    "FixityRow",
    "Frame",
    "Identity",
    "JobRow",
    "JobState",
    "JobView",
    "Level",
    "Limit",
    "ListedJob",
    "MailRow",
    "MailState",
    "Mark",
    "Measured",
    "MoveRow",
    "Needs",
    "Night",
    "Outcome",
    "PartName",
    "Pile",
    "Place",
    "Progress",
    "Reading",
    "RecurringMark",
    "Role",
    "RootRow",
    "RunRow",
    "ScanRow",
    "SeamSample",
    "Sides",
    "Space",
    "StayingRow",
    "StepKind",
    "WaitingScan",
    "Where",
    "shown",
]
