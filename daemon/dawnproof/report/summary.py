"""The morning as one JSON-able document; as text it says the same."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from ..model import JobView, Level, ListedJob, Night, Pile
from .account import Said, beds_of, in_pile, is_odd, said, takes
from .documents import Document, decision_document, finding_document, number, where_document
from .headlines import expected_due_first, headlines
from .keeping import mail_lines
from .morning_text import summary_text
from .watch_kept import gaps, ran_words, runs_of

__all__ = ["job_entry", "summary_document", "summary_text"]

_TELLING = (Level.FAULT, Level.UNDECIDED, Level.NOTE)


def summary_document(night: Night) -> Document:
    """`morning --json`, with the keys of the contract. Jobs are in the order of the text: due first."""
    return {
        "since": night.since_utc,
        "until": night.until_utc,
        "ran": _ran(night),
        "expected_not_seen": [_expected(job) for job in expected_due_first(night)],
        "may_go_back": _jobs(night, Pile.MAY_GO_BACK),
        "look_first": _jobs(night, Pile.LOOK_FIRST),
        "scan_again": _jobs(night, Pile.SCAN_AGAIN),
        "desk": _jobs(night, Pile.DESK),
        "unfinished": _jobs(night, Pile.UNFINISHED),
        "unplaced": [*({"file": s.file, "sha256": s.sha256, "reason": s.reason} for s in night.unplaced),
                     *({"file": s.file, "sha256": None, "reason": s.reason} for s in night.staying if is_odd(s))],
        "marks": [asdict(mark) | {"jobs": list(mark.jobs)} for mark in night.marks],
        "fixity": {
            "checked": len(night.fixity),
            "ok": sum(1 for f in night.fixity if f.ok),
            "problems": [asdict(f) for f in night.fixity if not f.ok],
            "second": night.second or None,
            "second_missing": [view.row.job for view in night.jobs if view.row.second_missing],
        },
        "space": [{"folder": s.folder, "free_bytes": int(s.free_bytes), "hours_left": number(s.hours_left, 1)}
                  for s in night.space],
    }  # fmt: skip


def job_entry(view: JobView) -> Document:
    """One job of a pile."""
    row, listed = view.row, view.listed
    return {
        "job": row.job,
        "due": listed.due or None if listed else None,
        "state": row.state.value,
        "pile": view.pile.value if view.pile else None,
        "outcome": row.outcome.value if row.outcome else None,
        "version": int(row.version),
        "kind": row.kind,
        "medium": listed.medium if listed else "",
        "hold": listed.hold if listed else "",
        "beds": list(beds_of(view)),
        "takes": takes(view),
        "missing": list(view.missing),
        "waits_for": row.waits_for,
        "waits_until": row.waits_until_utc or None,
        "findings": [_finding(one) for level in _TELLING for one in said(view, level)],
        "decisions": [decision_document(d) for d in view.decisions],
        "print_sizes": json.loads(row.print_sizes) if row.print_sizes else None,
        "master": row.master or None,
        "proof": view.proof or None,
        "folder": view.folder or None,
    }


def _jobs(night: Night, pile: Pile) -> list[Document]:
    return [job_entry(view) for view in in_pile(night, pile)]


def _finding(one: Said) -> Document:
    return finding_document(one.finding) | {
        "part": one.name.part if one.name else None,
        "take": one.name.take if one.name else None,
        "brief": one.brief,
        "where": where_document(one.finding.where),
    }


def _expected(job: ListedJob) -> Document:
    return {
        "job": job.job,
        "due": job.due or None,
        "medium": job.medium,
        "width_mm": number(job.width_mm),
        "height_mm": number(job.height_mm),
        "print_mm": number(job.print_mm),
    }


def _ran(night: Night) -> dict[str, Any]:
    return {
        "all_night": bool(runs_of(night)) and not gaps(night),
        "words": ran_words(night),
        "runs": [asdict(run) for run in runs_of(night)],
        "gaps": [{"from_utc": g.from_utc, "to_utc": g.to_utc, "cut_off": g.cut_off} for g in gaps(night)],
        "alarms": list(night.alarms),
        "job_list_problems": list(night.job_list_problems),
        "mail_not_sent": list(mail_lines(night)),
        "headlines": [asdict(line) | {"answers": list(line.answers)} for line in headlines(night)],
    }
