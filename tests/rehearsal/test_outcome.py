"""Found, missed, false: each verdict from documents as the product writes them, and from wrong ones."""

from typing import Any

import pytest

from dawnproof.model import Pile
from dawnproof.rehearsal import outcome
from dawnproof.rehearsal.bed import Streak
from dawnproof.rehearsal.outcome import Verdict
from dawnproof.rehearsal.scenario import Expected, ExpectedUnplaced

LIFTED = Expected("SL-C405", "stands off", frozenset({Pile.SCAN_AGAIN}), ("seam.doubling",), ("seam.*",))
SOUND = Expected("SL-0401", "", frozenset({Pile.MAY_GO_BACK}))


def job(pile: Pile, *findings: tuple[str, str, str]) -> dict[str, Any]:
    """A `job --json` document whose last part has the findings (check, name, level)."""
    said = [{"check": c, "name": n, "level": level, "text": f"{c} {n}"} for c, n, level in findings]
    parts = [{"part": "L", "take": 1, "findings": []}, {"part": "R", "take": 1, "findings": said}]
    return {"pile": pile.value, "parts": parts, "join": None}


@pytest.mark.parametrize(
    ("expected", "document", "verdict"),
    [
        (LIFTED, job(Pile.SCAN_AGAIN, ("seam", "doubling", "fault")), Verdict.FOUND),
        (LIFTED, job(Pile.SCAN_AGAIN, ("seam", "doubling", "fault"), ("seam", "step", "fault")), Verdict.FOUND),
        (LIFTED, job(Pile.SCAN_AGAIN, ("seam", "doubling", "note")), Verdict.MISSED),
        (LIFTED, job(Pile.MAY_GO_BACK, ("seam", "doubling", "fault")), Verdict.MISSED),
        (LIFTED, job(Pile.SCAN_AGAIN, ("travel", "rows", "fault")), Verdict.MISSED),
        (LIFTED, job(Pile.SCAN_AGAIN, ("seam", "doubling", "fault"), ("travel", "rows", "fault")), Verdict.FALSE),
        (SOUND, job(Pile.MAY_GO_BACK, ("seam", "lift", "note")), Verdict.SOUND),
        (SOUND, job(Pile.LOOK_FIRST, ("seam", "doubling", "undecided")), Verdict.UNSURE),
        (SOUND, job(Pile.SCAN_AGAIN, ("clipping", "region", "fault")), Verdict.FALSE),
        (SOUND, job(Pile.DESK), Verdict.FALSE),
        (SOUND, {}, Verdict.FALSE),
    ],
)
def test_a_job(expected: Expected, document: dict[str, Any], verdict: Verdict) -> None:
    row = outcome.judge_job(expected, document)
    assert row.verdict is verdict
    assert row.about == expected.job


def test_findings_of_the_join_and_of_the_job_count_once_each() -> None:
    document = job(Pile.SCAN_AGAIN, ("seam", "doubling", "fault"))
    document["join"] = {"findings": [{"check": "join", "name": "tone", "level": "note", "text": "t"}]}
    document["findings"] = document["parts"][1]["findings"]
    assert [said.check for said in outcome.findings(document)] == ["seam.doubling", "join.tone"]
    assert [said.check for _, said in outcome.notes("SL-C405", document)] == ["join.tone"]


def test_what_a_superseded_take_showed_stands_no_more() -> None:
    document = job(Pile.MAY_GO_BACK, ("seam", "doubling", "fault"))
    document["parts"].append({"part": "R", "take": 2, "findings": []})
    assert outcome.judge_job(SOUND, document).verdict is Verdict.SOUND
    document["parts"][-1]["part"] = "L"
    assert outcome.judge_job(SOUND, document).verdict is Verdict.FALSE


def test_an_unplaced_file_needs_a_reason_that_names_what_it_has_to() -> None:
    expected = ExpectedUnplaced("SL0412 left.tif", "name", ("SL-0412",))

    def verdict(entries: list[dict[str, str]]) -> Verdict:
        return outcome.judge_unplaced(expected, {"unplaced": entries}).verdict

    assert verdict([{"file": "SL0412 left.tif", "reason": "did you mean SL-0412_L?"}]) is Verdict.FOUND
    assert verdict([{"file": "SL0412 left.tif", "reason": "no rule"}]) is Verdict.MISSED
    assert verdict([{"file": "SL0412 left.tif"}]) is Verdict.MISSED
    assert verdict([]) is Verdict.MISSED
    others = outcome.judge_unplaced_others((expected,), {"unplaced": [{"file": "SL-0401_L.tif", "reason": "?"}]})
    assert [row.verdict for row in others] == [Verdict.FALSE]


@pytest.mark.parametrize(
    ("mark", "verdict"),
    [
        ({"bed": "bed-a", "x_mm": 33.2, "text": "sensor column"}, Verdict.FOUND),
        ({"text": "sensor column at 33.1 mm in SL-0416 and SL-0417"}, Verdict.FOUND),
        ("clean the glass near 32.9, 40.0 mm", Verdict.FOUND),
        ({"x_mm": 61.0, "text": "sensor column"}, Verdict.MISSED),
        ("nothing of note", Verdict.MISSED),
    ],
)
def test_the_recurring_streak_has_to_be_named_at_its_place(mark: object, verdict: Verdict) -> None:
    assert outcome.judge_streak(Streak(33.0, 2.0), {"marks": [mark]}).verdict is verdict


def test_marks_that_are_not_the_scanners_are_false() -> None:
    spot = {"bed": "bed-a", "kind": "spot", "x_mm": 98.2, "y_mm": 22.2, "jobs": ["SL-0408", "SL-0415"]}
    streak = {"bed": "bed-a", "kind": "streak", "x_mm": 33.1, "y_mm": None, "jobs": ["SL-0416", "SL-0417"]}
    rows = list(outcome.judge_other_marks(Streak(33.0, 2.0), {"marks": [spot, streak]}))
    assert [(row.verdict, row.said) for row in rows] == [
        (Verdict.FALSE, "bed-a: spot at 98.2 x 22.2 mm in SL-0408, SL-0415")
    ]
    assert len(list(outcome.judge_other_marks(None, {"marks": [streak]}))) == 1


@pytest.mark.parametrize(
    ("width_px", "height_px", "verdict"),
    [(1260, 945, Verdict.FOUND), (1230, 930, Verdict.FOUND), (1160, 945, Verdict.MISSED), (1260, 1000, Verdict.MISSED)],
)
def test_a_master_holds_the_whole_work_and_its_border(width_px: int, height_px: int, verdict: Verdict) -> None:
    """A work of 74 x 54 mm with 3 mm on each side is 80 x 60 mm: 1260 x 945 px at 400 ppi."""
    crop = {"x": 0, "y": 0, "width": width_px, "height": height_px, "skew_deg": 0.0}
    jobs: dict[str, Any] = {
        "SL-0401": {"outcome": "archive", "crop": crop},
        "SL-0402": {"outcome": "rework", "crop": None},
    }
    row = outcome.judge_masters({"SL-0401": (74.0, 54.0)}, jobs, 400 / 25.4)
    assert row.verdict is verdict


def test_works_never_seen() -> None:
    def verdict(*jobs: object) -> Verdict:
        return outcome.judge_not_seen(("SL-0412",), {"expected_not_seen": list(jobs)}).verdict

    assert verdict("SL-0412") is Verdict.FOUND
    assert verdict({"job": "SL-0412", "due": "2027-01-20"}) is Verdict.FOUND
    assert verdict() is Verdict.MISSED
    assert verdict("SL-0412", "SL-0401") is Verdict.FALSE


def test_the_summary_has_to_agree_with_the_jobs() -> None:
    piles = {"SL-0401": "may go back", "SL-C405": "scan again"}
    right = {"may_go_back": ["SL-0401"], "scan_again": [{"job": "SL-C405"}]}
    assert outcome.judge_morning(piles, right).verdict is Verdict.FOUND
    swapped = {"may_go_back": ["SL-C405"], "scan_again": ["SL-0401"]}
    twice = {"may_go_back": ["SL-0401"], "look_first": ["SL-0401"], "scan_again": ["SL-C405"]}
    for wrong in (swapped, twice, {}):
        assert outcome.judge_morning(piles, wrong).verdict is Verdict.MISSED


def test_every_file_needs_its_home() -> None:
    assert outcome.judge_homes({"a1": "x.tif"}, {"a1": 2}).verdict is Verdict.FOUND
    lost = outcome.judge_homes({"a1": "x.tif", "b2": "y.tif"}, {"a1": 1})
    assert lost.verdict is Verdict.MISSED
    assert "y.tif" in lost.said
