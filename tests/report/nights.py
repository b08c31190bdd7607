"""Invented nights of the Saltmarsh Lane Print Room, as the integrator would fill them from the ledger."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace

from report.scanned import BED_A, BED_B, at, lifted, scan, sound, with_readings

from dawnproof.model import (
    ArrivingRow,
    Decision,
    EventRow,
    Finding,
    FixityRow,
    JobRow,
    JobState,
    JobView,
    Level,
    ListedJob,
    Night,
    Outcome,
    Pile,
    Place,
    Progress,
    Reading,
    RecurringMark,
    Role,
    RunRow,
    ScanRow,
    Space,
    StayingRow,
    Where,
)
from dawnproof.policy import make_finding
from dawnproof.print_sizes import largest_prints, ordered_print
from dawnproof.report.documents import print_sizes_document

HOSTILE = "[bold]x[/] <script>alert(1)</script> \x1b[2J\u202egnp.\nline\u2028.tif"
FLATBED = "the published guidelines (FADGI 2016) do not recommend flatbeds for paintings with relief"


def listed(
    job: str,
    due: str = "2026-11-28",
    size_mm: tuple[float, float] = (480.0, 380.0),
    medium: str = "watercolour",
    hold: str = "",
    print_mm: float | None = None,
) -> ListedJob:
    return ListedJob(job, size_mm[0], size_mm[1], medium, print_mm, due, hold)


def archived(
    job: str,
    scans: Sequence[ScanRow],
    line: ListedJob | None,
    pile: Pile = Pile.MAY_GO_BACK,
    findings: tuple[Finding, ...] = (),
    version: int = 1,
) -> JobView:
    ordered = ordered_print(7559, 5984, line.print_mm) if line and line.print_mm else None
    sizes = json.dumps(print_sizes_document(largest_prints(7559, 5984), ordered))
    judged = scans[-1].admitted_utc
    held = JobRow(
        job,
        JobState.ARCHIVED,
        version,
        Outcome.ARCHIVE,
        "",
        findings,
        judged_utc=judged,
        print_sizes=sizes,
        first_utc=scans[0].admitted_utc,
        last_utc=judged,
        master=f"/studio/archive/{job}/data/{job}.tif",
    )
    return JobView(
        held,
        tuple(scans),
        line,
        (),
        pile,
        f"/studio/proof/{job}/proof.jpg",
        f"/studio/proof/{job}/details.jpg",
        f"/studio/archive/{job}",
    )


def rework(
    job: str,
    scans: Sequence[ScanRow],
    line: ListedJob | None,
    pile: Pile = Pile.SCAN_AGAIN,
    findings: tuple[Finding, ...] = (),
    missing: tuple[str, ...] = (),
) -> JobView:
    row = JobRow(
        job,
        JobState.REWORK,
        0,
        Outcome.REWORK,
        "",
        findings,
        first_utc=scans[0].admitted_utc,
        last_utc=scans[-1].admitted_utc,
        judged_utc=scans[-1].admitted_utc,
    )
    return JobView(row, tuple(scans), line, (), pile, folder=f"/studio/rework/{job}", missing=missing)


def jobs() -> tuple[JobView, ...]:
    re, canvas = Place.REWORK, (620.0, 380.0)
    clipped = Reading("clipping", "region", 180.0, "mm2", 0.99, Where(120.0, 60.0, 40.0, 12.0))
    unjudged = Reading("focus", "softest", None, "", why="no edge on the wash was sharp enough to compare")
    relief = make_finding("job", "relief", Level.NOTE, FLATBED, "")
    picture = make_finding(
        "job",
        "other_picture",
        Level.FAULT,
        "take 2 of part whole shows another picture than take 1 (SL-0415_whole.tif); both are kept",
    )
    streak = Reading("streaks", "worst", 0.8, "%", 0.9, Where(33.0, 0.0, 0.1, 420.0))
    no_profile = Reading("encoding", "profile", None, "", why="none is embedded")
    made_good = [
        scan("SL-C414", "L", at(17, 50), with_readings(lifted(4.1, 160)), Place.CLOSED, 1, BED_A, canvas),
        scan("SL-C414", "L", at(20, 31), sound(), Place.ARCHIVE, 2, BED_A, canvas),
        scan("SL-C414", "R", at(18, 2), sound(), Place.ARCHIVE, 1, BED_A, canvas),
    ]
    return (
        archived("SL-0401", [scan("SL-0401", "whole", at(17, 12), sound())], listed("SL-0401", print_mm=800.0)),
        archived(
            "SL-0402", [scan("SL-0402", "whole", at(17, 25), sound(), bed=BED_B)], listed("SL-0402", medium="pencil")
        ),
        archived(
            "SL-C403",
            [scan("SL-C403", p, at(17, 40 + i), sound(), size_mm=canvas) for i, p in enumerate("LR")],
            listed("SL-C403", size_mm=(1120.0, 380.0), medium="acrylic on canvas"),
            findings=(relief,),
        ),
        archived(
            "SL-C404",
            [
                scan("SL-C404", f"r{r}c{c}", at(18, 20 + 8 * r + 3 * c), sound(), size_mm=canvas)
                for r in (1, 2)
                for c in (1, 2)
            ],
            listed("SL-C404", "2026-11-26", (1120.0, 690.0), "oil on canvas"),
            Pile.LOOK_FIRST,
            (
                relief,
                make_finding(
                    "join",
                    "relief",
                    Level.UNDECIDED,
                    "agreement of the relief's light could not be judged: the overlap holds no relief above the noise",
                ),
            ),
        ),
        rework(
            "SL-C405",
            [
                scan("SL-C405", "whole", at(19, 10), with_readings(lifted(5.0)), re),
                scan("SL-C405", "whole", at(21, 4), with_readings(lifted()), re, 2),
            ],
            listed("SL-C405", "2026-11-25", medium="acrylic on canvas"),
            findings=(relief,),
        ),
        rework(
            "SL-0406",
            [scan("SL-0406", "whole", at(19, 22), with_readings(clipped), re, size_mm=(300.0, 210.0))],
            listed("SL-0406", "2026-11-27", (300.0, 210.0)),
        ),
        rework(
            "SL-0409",
            [
                scan(
                    "SL-0409",
                    "whole",
                    at(19, 48),
                    with_readings(Reading("encoding", "depth_true", 8, "bit")),
                    re,
                    bed=BED_B,
                )
            ],
            listed("SL-0409", medium="pencil"),
        ),
        rework(
            "SL-0410",
            [scan("SL-0410", "whole", at(20, 1), with_readings(no_profile), re, bed=BED_B)],
            listed("SL-0410"),
            Pile.DESK,
        ),
        unfinished("SL-0411"),
        archived(
            "SL-C414",
            made_good,
            listed("SL-C414", size_mm=(1120.0, 380.0), medium="acrylic on canvas"),
            findings=(relief,),
            version=2,
        ),
        rework(
            "SL-0415",
            [
                scan("SL-0415", "whole", at(20, 40), sound(), re),
                scan("SL-0415", "whole", at(20, 52), sound(), re, 2, findings=(picture,)),
            ],
            listed("SL-0415", ""),
            Pile.DESK,
            (picture,),
        ),
        archived(
            "SL-0416",
            [scan("SL-0416", "whole", at(21, 20), with_readings(streak, unjudged))],
            listed("SL-0416"),
            Pile.LOOK_FIRST,
        ),
        archived(
            "SL-0417",
            [scan("SL-0417", "whole", at(21, 33), with_readings(streak), size_mm=(210.0, 297.0))],
            listed("SL-0417", size_mm=(210.0, 297.0), medium="etching", hold="owner calls first"),
            Pile.LOOK_FIRST,
        ),
    )


def unfinished(job: str) -> JobView:
    one = scan(job, "L", at(20, 15), sound(), Place.INBOX, size_mm=(560.0, 380.0))
    row = JobRow(
        job,
        JobState.UNFINISHED,
        waits_for="part R",
        waits_until_utc="2026-11-25T16:15:00+00:00",
        first_utc=one.admitted_utc,
        last_utc=one.admitted_utc,
        said_unfinished=True,
    )
    line = listed(job, "2026-11-26", (1010.0, 380.0), "gouache")
    return JobView(row, (one,), line, (), Pile.UNFINISHED, missing=("R",))


def unplaced(file: str, reason: str, when: str) -> ScanRow:
    return ScanRow(
        len(file),
        f"{len(file):02x}".ljust(64, "d"),
        340_000_000,
        file,
        None,
        "bed-a",
        Place.UNPLACED,
        f"/studio/rework/_unplaced/{file}",
        when,
        reason,
    )


def reference() -> ScanRow:
    uneven = Reading("light", "evenness", 4.1, "%", 0.95)
    return scan("SL-0401", "ref", at(17, 2), [uneven], Place.REFERENCE, role=Role.REF, size_mm=(560.0, 410.0))


def saltmarsh_lane() -> Night:
    """The morning after: every kind of thing that can be said."""
    accepted = Decision("Wren", "place", "SL0412 left side final.tif is SL-0412_L", at(5, 10))
    views = tuple(replace(v, decisions=(accepted,)) if v.row.job == "SL-0402" else v for v in jobs())
    return Night(
        "Saltmarsh Lane Print Room",
        at(17),
        at(5, 30),
        3600,
        (BED_A, BED_B),
        views,
        (listed("SL-0420", "2026-11-25"), listed("SL-0421", "2026-11-30")),
        (),
        (
            StayingRow(
                "/studio/inbox/link.tif", "link.tif", "a symbolic link; the scan itself must be in the inbox", "link"
            ),
            StayingRow("/studio/inbox/Thumbs.db", "Thumbs.db", "the rule book leaves *.db alone", "left alone"),
        ),
        (
            unplaced(
                "SL0412 left side final.tif",
                "the name does not fit {job}_{part}[_t{take}]; did you mean SL-0412_L.tif?",
                at(20, 22),
            ),
            unplaced(
                "SL-0413_whole.tif",
                "it is damaged or not whole: 41 of 120 strips lie beyond the end of the file",
                at(20, 33),
            ),
        ),
        (reference(),),
        events(),
        (RunRow(at(16, 58), at(23, 9)), RunRow(at(0, 21), at(5, 29))),
        (FixityRow(at(2), "SL-0388", True, ""), FixityRow(at(2, 5), "SL-0391.v2", True, "")),
        (Space("/studio/archive", 812_000_000_000, 61.0), Space("/studio/inbox", 95_000_000_000, 7.0)),
        (RecurringMark("bed-a", "streak", 33.0, None, ("SL-0416", "SL-0417")),),
        second="/mirror",
    )


def events() -> tuple[EventRow, ...]:
    return (
        EventRow(at(21, 4), "measured", "SL-C405", "SL-C405_whole_t2.tif: whole, take 2 measured"),
        EventRow(at(21, 6), "rework", "SL-C405", "SL-C405: scan again, doubling at the stitch 6.2 px"),
        EventRow(at(21, 20), "measured", "SL-0416", "SL-0416_whole.tif: whole measured"),
        EventRow(at(21, 33), "archived", "SL-0417", "SL-0417: archived"),
    )


def evening() -> Night:
    """The same night at 22:47 local time: scans arrive, one is measured, one job is being joined."""
    night = saltmarsh_lane()
    working = scan("SL-0419", "L", at(21, 41), sound(), Place.INBOX, size_mm=(560.0, 380.0))
    other = scan("SL-0419", "R", at(21, 44), sound(), Place.INBOX, size_mm=(560.0, 380.0))
    row = JobRow("SL-0419", JobState.WORKING, first_utc=working.admitted_utc, last_utc=other.admitted_utc)
    join = JobView(row, (working, other), listed("SL-0419", size_mm=(1010.0, 380.0)), (), None)
    return replace(
        night,
        until_utc=at(21, 47),
        jobs=(*night.jobs, join),
        fixity=(),
        runs=(RunRow(at(16, 58), at(21, 46)),),
        arriving=(
            ArrivingRow("SL-0418_whole.tif", "bed-b", 1_020_000_000, at(21, 45), "measuring"),
            ArrivingRow("SL-0422_T.tif", "bed-a", 410_000_000, at(21, 46), "settling", "still growing"),
        ),
        progress=(Progress("measuring", "SL-0418_whole.tif", 0.62, 31.0), Progress("joining", "SL-0419", 0.3, 12.0)),
        alarms=("the archive's second folder /mirror cannot be written: no space left on device",),
    )


def good_night() -> Night:
    """Nothing to do."""
    views = tuple(v for v in jobs() if v.pile is Pile.MAY_GO_BACK)
    return replace(
        saltmarsh_lane(),
        jobs=views,
        expected_not_seen=(),
        unplaced=(),
        staying=(),
        marks=(),
        references=(),
        runs=(RunRow(at(16, 58), at(5, 29)),),
        space=(Space("/studio/archive", 812_000_000_000, 61.0),),
    )


def empty_night() -> Night:
    """The daemon has just been started in a new studio."""
    return Night(
        "Saltmarsh Lane Print Room",
        at(17),
        at(17, 1),
        0,
        (BED_A,),
        (),
        (),
        (),
        (),
        (),
        (),
        (),
        (RunRow(at(17), at(17, 1)),),
        (),
        (),
    )


def hostile_night() -> Night:
    """Every text that comes from outside carries markup, escapes, direction marks and line ends."""
    night = saltmarsh_lane()
    bad = Finding("seam", "doubling", Level.FAULT, None, f"doubling in {HOSTILE}", f"Look at {HOSTILE}")
    views = []
    for view in night.jobs:
        scans = tuple(replace(s, file=HOSTILE, bed=HOSTILE, findings=(*s.findings, bad)) for s in view.scans)
        line = replace(view.listed, medium=HOSTILE, due=HOSTILE, hold=HOSTILE) if view.listed else None
        row = replace(view.row, job=HOSTILE, waits_for=HOSTILE, kind=HOSTILE)
        views.append(
            replace(
                view,
                row=row,
                scans=scans,
                listed=line,
                details=HOSTILE,
                proof=HOSTILE,
                folder=HOSTILE,
                decisions=(Decision(HOSTILE, HOSTILE, HOSTILE, at(5)),),
                missing=(HOSTILE,),
            )
        )
    return replace(
        night,
        studio=HOSTILE,
        jobs=tuple(views),
        unplaced=tuple(replace(u, file=HOSTILE, reason=HOSTILE) for u in night.unplaced),
        staying=tuple(replace(s, file=HOSTILE, path=HOSTILE, reason=HOSTILE) for s in night.staying),
        expected_not_seen=(listed(HOSTILE, HOSTILE, medium=HOSTILE),),
        alarms=(HOSTILE,),
        job_list_problems=(HOSTILE,),
        arriving=(ArrivingRow(HOSTILE, HOSTILE, 10, at(21), HOSTILE, HOSTILE),),
        progress=(Progress(HOSTILE, HOSTILE, 0.5, 3.0),),
        events=(EventRow(at(21), HOSTILE, HOSTILE, HOSTILE),),
        fixity=(FixityRow(at(2), HOSTILE, False, HOSTILE),),
        space=(Space(HOSTILE, 10**9, 3.0),),
        marks=(RecurringMark(HOSTILE, HOSTILE, 3.0, 4.0, (HOSTILE,)),),
        beds=(replace(BED_A, name=HOSTILE),),
        references=(replace(reference(), file=HOSTILE, bed=HOSTILE),),
    )


def many_jobs(count: int) -> Night:
    """A long night of whole sheets."""
    night = good_night()
    views = []
    for number in range(count):
        job = f"SL-{1000 + number}"
        when = at((17 + number * 12 // count) % 24, number * 720 // count % 60)
        views.append(archived(job, [scan(job, "whole", when, sound())], listed(job)))
    return replace(night, jobs=tuple(views))
