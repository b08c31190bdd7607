"""A studio's folders on disk: where each is, how they are made, and what disk they lie on."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from ..errors import EnvironmentFault, RuleBookError, UsageError
from ..jobs import LIST_COLUMNS, read_job_list
from ..model import ListedJob
from ..rulebook import RuleBook, load_book, shipped_text

BOOK = "dawnproof.toml"
JOB_LIST = "jobs.csv"
PRIVATE = ".dawnproof"
UNPLACED, TRIALS, CLOSED, REFERENCE = "_unplaced", "_trials", "_closed", "_reference"
NETWORK_TYPES = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "fuse.sshfs", "ceph", "glusterfs", "afs"}

_BOOK_TEXT = """\
# Rule book of this studio. What is not set here comes from the shipped book named below;
# `dawnproof rules show` prints every value and where it comes from.
based_on = "{book}"

# [naming]
# How scan files are named. part or role: whole L R T B r1c2 1of4 ref target shim trial back overview
# pattern = "{{job}}_{{part}}[_t{{take}}]"

# [jobs]
# wait_min = 45            # minutes before an incomplete job is said to be unfinished
# unfinished_h = 20        # hours before it goes to rework

# Measure your bed: the stitch from the left edge of a full-width scan. `dawnproof calibrate` does it from a shim scan.
# [beds.bed-a]
# width_mm = 600.0
# length_mm = 450.0
# seam_mm = 300.0
# seam_tolerance_mm = 5.0
# parallax = 0.5
# lid = "white"            # white, grey, black or open

# [kinds.canvas]
# jobs = "SL-C*"           # or: medium = "canvas"
# based_on = "heavy-texture"
# relief = true

# [limits]
# level = "fadgi-3"        # a published level over the limits of the book

# [archive]
# second = "/path/on/another/disk"

# The morning summary by mail, through the studio's own server. The password never stands in this book.
# [mail]
# host = "smtp.example.org"
# port = 587               # left out: 587 with starttls, 465 with tls, 25 with none
# security = "starttls"    # starttls, tls, or none (a relay of the house that wants no password)
# user = "prints"
# password_file = "/etc/dawnproof/mail-password"   # or the environment: DAWNPROOF_MAIL_PASSWORD
# from = "prints@example.org"
# to = ["morning@example.org"]
# when = ["morning"]       # add "alarms" for what cannot wait, each matter at most once a day
# page_mb = 8.0            # a larger page is not attached
# ca_file = "/etc/ssl/house-ca.pem"                # only where the server's certificate is the house's own
"""


@dataclass(frozen=True)
class Studio:
    """A studio's rule book and folders, absolute."""

    root: Path
    book: RuleBook
    inbox: Path
    archive: Path
    rework: Path
    proof: Path
    morning: Path
    private: Path

    @property
    def ledger_path(self) -> Path:
        return self.private / "ledger.sqlite3"

    @property
    def bench(self) -> Path:
        return self.private / "bench"

    @property
    def outbox(self) -> Path:
        """Letters that wait to be sent."""
        return self.private / "outbox"

    @property
    def unplaced(self) -> Path:
        return self.rework / UNPLACED

    @property
    def trials(self) -> Path:
        return self.rework / TRIALS

    @property
    def closed(self) -> Path:
        return self.rework / CLOSED

    @property
    def reference(self) -> Path:
        return self.archive / REFERENCE

    @property
    def second(self) -> Path | None:
        """Folder of the verified second copy, where the rule book names one."""
        return self.root / self.book.archive.second if self.book.archive.second else None

    def roots(self) -> tuple[Path, ...]:
        """The folders that must stay what they were when the daemon started."""
        found = (self.inbox, self.archive, self.rework, self.proof, self.morning)
        return (*found, self.second) if self.second else found

    def job_list(self) -> tuple[dict[str, ListedJob], tuple[str, ...]]:
        """The job list by job key and what could not be understood; both empty where there is no list."""
        try:
            return read_job_list((self.root / JOB_LIST).read_bytes().decode("utf-8-sig", "replace"))
        except FileNotFoundError:
            return {}, ()
        except OSError as error:
            return {}, (f"{JOB_LIST} cannot be read: {error.strerror}",)


def open_studio(root: Path) -> Studio:
    """The studio in that folder. UsageError where there is none, RuleBookError where its book cannot be used."""
    root = Path(os.path.abspath(root))  # noqa: PTH100 - a link to the studio stays the link the person named
    if not root.is_dir():
        raise UsageError(f"no folder {root}; make a studio with `dawnproof new {root}`")
    if not (root / BOOK).is_file():
        raise UsageError(f"{root} is no studio: it has no {BOOK}; make one with `dawnproof new {root}`")
    book = load_book(root / BOOK)
    places = {name: root / getattr(book.folders, name) for name in type(book.folders).model_fields}
    _check_apart(root / BOOK, places)
    return Studio(root, book, private=root / PRIVATE, **places)


def new_studio(root: Path, base: str) -> Studio:
    """Make the folders, a commented rule book and an empty job list; nothing that exists is changed."""
    shipped_text(base)
    if root.exists() and not root.is_dir():
        raise UsageError(f"{root} is a file; name a folder")
    if (root / BOOK).exists():
        raise UsageError(f"{root} is a studio already; its rule book is {root / BOOK}")
    try:
        root.mkdir(parents=True, exist_ok=True)
        (root / BOOK).write_text(_BOOK_TEXT.format(book=base), "utf-8")
        if not (root / JOB_LIST).exists():
            (root / JOB_LIST).write_text(",".join(LIST_COLUMNS) + "\n", "utf-8")
        studio = open_studio(root)
        make_folders(studio)
    except OSError as error:
        raise EnvironmentFault(f"the studio cannot be made at {root}: {error.strerror or error}") from error
    return studio


def make_folders(studio: Studio) -> None:
    """Make the folders that are missing. A folder kept elsewhere is made only beside an existing parent, so that an
    unmounted disk is never mistaken for an empty one."""
    for folder in (studio.inbox, studio.archive, studio.rework, studio.proof, studio.morning):
        inside = folder.is_relative_to(studio.root)
        try:
            folder.mkdir(parents=inside, exist_ok=True)
        except OSError as error:
            raise EnvironmentFault(f"the folder {folder} is missing and cannot be made: {error.strerror or error}; "
                                   "is its disk mounted?") from error  # fmt: skip
    for bed in studio.book.beds[1:] and studio.book.beds:
        (studio.inbox / bed.name).mkdir(exist_ok=True)
    for folder in (studio.private, studio.bench):
        folder.mkdir(mode=0o700, exist_ok=True)


def check_local(folder: Path) -> None:
    """The ledger needs a local disk: a lock and a journal on a share cannot be trusted."""
    kind = file_system(folder)
    if kind in NETWORK_TYPES:
        raise EnvironmentFault(f"{folder} lies on a network share ({kind}); the ledger must be on a local disk: "
                               "keep the studio on this machine, and only its [folders] on the share")  # fmt: skip


def file_system(folder: Path) -> str:
    """Type of the file system a folder lies on, from the kernel's list of mounts; '' where it cannot be told."""
    try:
        device = folder.stat().st_dev
        lines = Path("/proc/self/mountinfo").read_text("utf-8", "surrogateescape").splitlines()
    except OSError:
        return ""
    found = ""
    for line in lines:
        left, _, right = line.partition(" - ")
        major, minor = left.split()[2].split(":")
        if os.makedev(int(major), int(minor)) == device:
            found = right.split()[0]
    return found


def _check_apart(book: Path, places: dict[str, Path]) -> None:
    for name, place in places.items():
        for other, elsewhere in places.items():
            if name < other and (place == elsewhere or place in elsewhere.parents or elsewhere in place.parents):
                raise RuleBookError(str(book), f"folders.{name}", f"lies in or on {other} ({elsewhere})",
                                    "give each folder a place of its own")  # fmt: skip
