"""What a child is asked to make of a complete job, and its answer. Light: whoever asks need not load what joins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ..model import Bed, Finding, ListedJob, Measured, Outcome
from ..rulebook import RuleBook
from .asks import NEEDS_MB

JOIN_SHARE = 1.0  # memory a join needs beside NEEDS_MB, as a share of its parts' bytes


@dataclass(frozen=True, slots=True)
class PartAsk:
    """One used scan of the work."""

    scan: int
    path: str
    file: str
    label: str
    light: str
    bed: Bed
    measured: Measured
    findings: tuple[Finding, ...]
    admitted_s: float


@dataclass(frozen=True, slots=True)
class JobAsk:
    """A complete job, an overview of the whole work among its parts where there is one. `staging` is an empty folder
    on the archive's disk, `proofs` one on the proofs' disk; both exist. `findings`: what is already known of the job
    as a whole."""

    job: str
    book: RuleBook
    listed: ListedJob | None
    parts: tuple[PartAsk, ...]
    grid: tuple[int, int] | None
    findings: tuple[Finding, ...]
    staging: str
    proofs: str
    software: str
    accepted: bool = False
    first: tuple[int, ...] = ()  # scans of one session to be tried before the highest takes
    older: tuple[int, ...] = ()  # those of them that a higher take among `parts` supersedes
    overview: PartAsk | None = None  # taken out of `parts` before these are joined
    strangers: tuple[PartAsk, ...] = ()  # takes that show another picture: only shown beside the parts

    # what an engine on other computers asks

    def reads(self) -> tuple[str, ...]:
        """The scans of its parts, and those shown beside them."""
        return tuple(part.path for part in (*self.parts, *self.strangers))

    def writes(self) -> tuple[str, ...]:
        """The folders it writes into."""
        return (self.staging, self.proofs)

    def placed(self, reads: Sequence[str], writes: Sequence[str]) -> JobAsk:
        """The same with its scans and folders at other paths, in the same order."""
        every = tuple(replace(p, path=path) for p, path in zip((*self.parts, *self.strangers), reads, strict=True))
        parts, strangers = every[: len(self.parts)], every[len(self.parts) :]
        return replace(self, parts=parts, strangers=strangers, staging=writes[0], proofs=writes[1])

    def needs_mb(self) -> int:
        """Resident memory it will need, MB; of several parts, what their pixels weigh counts."""
        if len(self.parts) < 2:
            return NEEDS_MB
        scans = [part.measured for part in self.parts]
        pixels = sum(scan.width_px * scan.height_px * scan.channels * scan.depth_bits // 8 for scan in scans)
        return NEEDS_MB + int(JOIN_SHARE * pixels) // 1_000_000

    def digests(self, result: Made) -> Mapping[str, str]:
        """SHA-256 of the masters by path below the staging folder, taken while they were written."""
        return {master.path: master.sha256 for master in result.masters}


@dataclass(frozen=True, slots=True)
class Made:
    """What came of it. `scan_findings` by scan number where the join changed them; documents are JSON texts."""

    outcome: Outcome
    findings: tuple[Finding, ...]
    scan_findings: tuple[tuple[int, tuple[Finding, ...]], ...] = ()
    masters: tuple[Master, ...] = ()
    join: str = ""
    crop: str = ""
    print_sizes: str = ""
    pictures: tuple[str, ...] = ()
    used: tuple[int, ...] = ()  # scans used in place of higher takes, with the others of their session


@dataclass(frozen=True, slots=True)
class Master:
    """A production master as written: its path below the staging folder, digest and size."""

    path: str
    sha256: str
    size_bytes: int
