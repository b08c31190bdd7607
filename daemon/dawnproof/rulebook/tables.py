"""The tables of a rule book and the values each key may have."""

from __future__ import annotations

import fnmatch
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Rules(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Naming(_Rules):
    """How file names are built; see naming.py."""

    pattern: str


class Jobs(_Rules):
    """When a job is complete, said to be unfinished, or given up."""

    wait_min: NotNegative
    unfinished_h: NotNegative
    grid_quiet_min: NotNegative


class Intake(_Rules):
    """When a file in the inbox is taken for whole, and which are left alone."""

    settle_s: NotNegative
    scan_s: Positive
    give_up_min: Positive
    leave: list[str]


class Folders(_Rules):
    """Where the studio's folders are; relative to the studio unless absolute."""

    inbox: str
    archive: str
    rework: str
    proof: str
    morning: str


class BedRules(_Rules):
    """One scanner bed."""

    width_mm: Positive
    length_mm: Positive
    seam_mm: NotNegative | list[NotNegative] | None = None
    seam_tolerance_mm: NotNegative = 5.0
    parallax: Positive | None = None
    lid: Literal["white", "grey", "black", "open"] = "white"
    blend_mm: NotNegative = 0.0


class LimitRules(_Rules):
    """One limit; `allowed` for readings that are text, `px` and `ppi` where a level asks for one or the other."""

    note: float | None = None
    fault: float | None = None
    below: bool = False
    strict: bool = False
    source: str = ""
    allowed: list[str] | None = None
    px: Positive | None = None
    ppi: Positive | None = None
    share: NotNegative | None = None


class Crop(_Rules):
    """The border kept around the work."""

    border_mm: NotNegative


class Join(_Rules):
    """What a join may do; the refusals beyond these are fixed."""

    max_gain_percent: Positive
    max_rotation_deg: Positive
    hours_apart: Positive


class Output(_Rules):
    """What is written beside the scans."""

    assume_profile: str | None = None
    proof_px: Annotated[int, Field(ge=200, le=3000)]
    compression: Literal["none", "deflate"]


class Archive(_Rules):
    """The second copy, the space that is never used up, and whether other studios file into the same folder."""

    second: str | None = None
    reserve_gb: NotNegative
    shared: bool


class Work(_Rules):
    """Children that measure and join, here or on other computers; `paths` leads from folders of this machine to the
    same folders as the others see them."""

    slots: Annotated[int, Field(ge=0, le=64)]
    memory_mb: Annotated[int, Field(ge=256)]
    room_mb: Annotated[int, Field(ge=0)]
    wall_s: Positive
    renew_after: Annotated[int, Field(ge=1)]
    engine: Literal["local", "dask"]
    scheduler: str | None = None
    scheduler_file: str | None = None
    silence_s: Positive
    paths: dict[str, str] = {}


class Morning(_Rules):
    """When the summary is written by itself (local time, 0-23)."""

    hour: Annotated[int, Field(ge=0, le=23)]


class Mail(_Rules):
    """Through which server the summary is sent, to whom, and what is; without `host` nothing is."""

    host: str | None = None
    port: Annotated[int, Field(ge=1, le=65535)] | None = None
    security: Literal["starttls", "tls", "none"]
    user: str | None = None
    password_file: str | None = None
    ca_file: str | None = None
    sender: str | None = Field(default=None, alias="from")
    to: list[str] = []
    when: list[Literal["morning", "alarms"]]
    page_mb: NotNegative


class Fixity(_Rules):
    """How much of the archive is read again each idle night."""

    share_percent: Annotated[float, Field(ge=0, le=100)]


class Kind(_Rules):
    """What applies over the book for the jobs that fit."""

    jobs: str | list[str] | None = None
    medium: str | list[str] | None = None
    based_on: str | None = None
    relief: bool = False
    limits: dict[str, Any] = {}
    crop: dict[str, Any] = {}
    join: dict[str, Any] = {}
    output: dict[str, Any] = {}

    def fits(self, job: str, medium: str) -> bool:
        """Whether the job's number fits one of the patterns, or its medium holds one of the words."""
        return any(fnmatch.fnmatchcase(job.casefold(), p.casefold()) for p in many(self.jobs)) or any(
            w.casefold() in medium.casefold() for w in many(self.medium) if medium
        )


class Book(_Rules):
    based_on: str | None = None
    naming: Naming
    jobs: Jobs
    intake: Intake
    folders: Folders
    beds: dict[str, BedRules]
    kinds: dict[str, Kind] = {}
    limits: dict[str, Any]
    crop: Crop
    join: Join
    output: Output
    archive: Archive
    work: Work
    morning: Morning
    mail: Mail
    fixity: Fixity


def many(value: str | list[str] | None) -> list[str]:
    """A key that holds one word or several, as a list."""
    return [value] if isinstance(value, str) else list(value or ())
