"""Values as the ledger's columns hold them: they come back as they went in, and what could not come back is refused."""

from __future__ import annotations

import json
import os
from dataclasses import replace

import pytest

from dawnproof.ledger.texts import filing_in, filing_out, findings_out, job_in, job_out, measured_out, scan_in
from dawnproof.model import (
    Filing,
    FilingStep,
    Finding,
    JobRow,
    JobState,
    Level,
    Measured,
    Reading,
    SeamSample,
    StepKind,
    Where,
)

NONE = float("nan")
ENDLESS = float("inf")
PLACE = Where(1.5, 2.5, 30.0, 40.0, (SeamSample(3.0, 1.25, None, 0.9),))


def measured(*readings: Reading) -> Measured:
    return Measured("ab" * 32, 100, 640, 480, 3, 16, 400.0, 400.0, "none", "", "", readings, None, b"small", ())


def row(measured_text: str | None, thumb: bytes | None, findings: str = "[]") -> tuple[object, ...]:
    """A row of the columns `SCAN`."""
    utc = "2026-11-24T22:00:00+00:00"
    home = os.fsencode("/studio/inbox/SL-0412_L.tif")
    return (7, "ab" * 32, 100, "SL-0412_L.tif", None, "bed-a", "inbox", home, utc, "", measured_text, thumb, findings)


def test_what_was_measured_and_found_comes_back_as_it_went_in() -> None:
    whole = measured(Reading("seam", "doubling", 1.25, "px", 0.9, PLACE, "seen twice", certain=False))
    finding = Finding("seam", "doubling", Level.NOTE, None, "doubling 1.3 px", where=PLACE, asked=False)
    text, thumb = measured_out(whole)
    scan = scan_in(row(text, thumb, findings_out([finding])))
    assert (scan.measured, scan.findings) == (whole, (finding,))
    assert scan_in(row(*measured_out(None))).measured is None


@pytest.mark.parametrize(
    ("reading", "at"),
    [
        (Reading("crop", "skew", NONE, "degree"), "readings[1].value is nan"),
        (Reading("crop", "skew", 0.1, "degree", sure=-ENDLESS), "readings[1].sure is -inf"),
        (Reading("crop", "skew", 0.1, "degree", where=Where(1.0, ENDLESS, 2.0, 3.0)), "readings[1].where.y_mm is inf"),
        (
            Reading("seam", "lift", 0.1, "mm", where=replace(PLACE, profile=(SeamSample(3.0, 1.0, NONE, 1.0),))),
            "readings[1].where.profile[0].mm is nan",
        ),
    ],
)
def test_a_number_that_is_none_is_refused_by_its_place_before_the_row_is_written(reading: Reading, at: str) -> None:
    with pytest.raises(ValueError, match="no number that can be kept") as refused:
        measured_out(measured(Reading("crop", "margin", 4.0, "mm"), reading))
    assert at in str(refused.value)


def test_a_finding_with_no_place_in_numbers_is_refused() -> None:
    """Written as null, it would keep every list with its row in it from being read."""
    finding = Finding("crop", "skew", Level.NOTE, None, "skew 0.4 degrees", where=Where(NONE, 0.0, 1.0, 1.0))
    with pytest.raises(ValueError, match=r"\[0\]\.where\.x_mm is nan"):
        findings_out([finding])


def test_a_plan_keeps_paths_that_are_no_utf_8() -> None:
    odd = os.fsdecode(b"/studio/inbox/Fr\xfchling %41 \n.tif")
    step = FilingStep(StepKind.MOVE_SCAN, odd, odd + "~2", final=odd + "~3")
    plan = Filing("SL-0412", (step,), copies=(("ab" * 32, odd),))
    text = filing_out(plan)
    assert json.loads(text)
    assert text.isascii()
    assert filing_in(text) == plan


def test_a_job_comes_back_as_it_went_in() -> None:
    finding = Finding("seam", "doubling", Level.UNDECIDED, None, "could not be judged", where=PLACE, asked=False)
    job = JobRow("SL-0412", JobState.WAITING, findings=(finding,), crop='{"x": 0}')
    assert job_in(job_out(job)) == job
