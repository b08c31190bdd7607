"""Readings against limits: just inside, at, and just outside; what a fault needs; where the morning puts a job."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dawnproof.model import Finding, Level, ListedJob, Needs, Outcome, Pile, Reading, Role, Where
from dawnproof.policy import Context, judge_scan, judge_size, make_finding, outcome_of, pile_of
from dawnproof.rulebook import load_book, read_book

FINE_ART = load_book("fine-art")


def level(check: str, name: str, value: float | str | None, book: str = "fine-art", context: Context | None = None,
          certain: bool = True) -> Level | None:  # fmt: skip
    rules = load_book(book)
    found = judge_scan([Reading(check, name, value, "", certain=certain)], rules, context or Context())
    return next((f.level for f in found if f.name == name), None)


@pytest.mark.parametrize(
    ("book", "check", "name", "inside", "at", "outside", "at_is_worse"),
    [
        # FADGI 2016, prints and photographs: misregistration < 0.50 px at 3 star, < 0.33 px at 4: the limit fails
        ("fadgi-3", "fringe", "red_green", 0.49, 0.50, 0.51, True),
        ("fadgi-4", "fringe", "blue_green", 0.32, 0.33, 0.34, True),
        # illuminance non-uniformity < 3 % and < 1 %
        ("fadgi-3", "light", "evenness", 2.99, 3.0, 3.01, True),
        ("fadgi-4", "light", "evenness", 0.99, 1.0, 1.01, True),
        # resolution 400 and 600 ppi: the figure itself is enough; a header's rounding (0.05 %) is none of the scan's
        ("fadgi-3", "resolution", "ppi_x", 400.01, 400.0, 399.7, False),
        ("fadgi-4", "resolution", "ppi_y", 600.01, 600.0, 599.6, False),
        # 16 bits at 4 star
        ("fadgi-4", "encoding", "depth_declared", 16.0, 16.0, 8.0, False),
    ],
)
def test_published_limits(book: str, check: str, name: str, inside: float, at: float, outside: float,
                          at_is_worse: bool) -> None:  # fmt: skip
    assert level(check, name, inside, book) is Level.SOUND
    assert (level(check, name, at, book) is Level.FAULT) is at_is_worse
    assert level(check, name, outside, book) is Level.FAULT


@pytest.mark.parametrize(
    ("per_cm", "meant", "expected"),
    [
        (118.11, 300.0, Level.NOTE),  # exactly what the fault asks for: no fault
        (118.0, 299.72, Level.FAULT),
        (157.48, 400.0, Level.SOUND),
        (236.22, 600.0, Level.SOUND),
        (157.0, 398.78, Level.NOTE),
    ],
)
def test_a_header_in_centimetres_loses_nothing_to_rounding(per_cm: float, meant: float, expected: Level) -> None:
    # TIFF 6.0, ResolutionUnit 3: 236.22 px/cm stands for 600 ppi
    ppi = per_cm * 2.54
    assert ppi == pytest.approx(meant, rel=5e-5)
    assert level("resolution", "ppi_x", ppi) is expected
    assert level("resolution", "ppi_y", ppi) is expected


@pytest.mark.parametrize(
    ("px", "ppi", "sound"),
    [
        (9999, 599.0, False),
        (10_000, 300.0, True),
        (5000, 600.0, True),
        (9999, 600.0, True),
        (9999, 236.22 * 2.54, True),
    ],
)
def test_pixels_or_ppi_is_one_reading(px: int, ppi: float, sound: bool) -> None:
    # FADGI 2016, paintings and other two-dimensional art, 3 star: 10 000 px or 600 ppi, either suffices
    book = load_book("fadgi-3-paintings")
    readings = [Reading("resolution", "ppi_x", ppi, "1/in"), Reading("resolution", "ppi_y", ppi, "1/in")]
    found = judge_scan(readings, book, Context(width_px=px, height_px=1000))
    assert next(f for f in found if f.name == "sampling").level is (Level.SOUND if sound else Level.FAULT)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (0.99, Level.SOUND),
        (1.0, Level.SOUND),
        (1.01, Level.NOTE),
        (2.0, Level.NOTE),
        (2.01, Level.FAULT),
        (-2.01, Level.FAULT),
    ],
)
def test_doubling_by_its_absolute_value(value: float, expected: Level) -> None:
    assert level("seam", "doubling", value) is expected


def test_what_is_not_certain_is_a_note() -> None:
    assert level("seam", "doubling", 8.0, certain=False) is Level.NOTE


def test_what_could_not_be_taken_is_undecided_with_its_reason() -> None:
    reading = Reading("seam", "doubling", None, "px", 0.0, why="blank paper at the stitch")
    finding = judge_scan([reading], FINE_ART, Context())[0]
    assert finding.level is Level.UNDECIDED
    assert "blank paper at the stitch" in finding.text


def test_doubling_on_the_ordered_print() -> None:
    # a tenth of a millimetre on the print: printed at half size from 600 ppi that is 0.2 mm = 4.7 px of the scan
    listed = ListedJob("SL-0412", 400.0, 300.0, print_mm=200.0)
    context = Context(listed=listed, ppi=600.0)
    assert level("seam", "doubling", 4.0, context=context) is Level.NOTE
    assert level("seam", "doubling", 5.0, context=context) is Level.FAULT
    enlarged = replace(context, listed=replace(listed, print_mm=800.0))
    assert level("seam", "doubling", 2.5, context=enlarged) is Level.FAULT


def test_a_strip_that_is_not_used_is_only_a_note() -> None:
    reading = Reading("seam", "doubling", 8.0, "px", where=Where(1, 2, 3, 4))
    finding = judge_scan([reading], FINE_ART, Context(seam_unused=True))[0]
    assert finding.level is Level.NOTE
    assert "not used" in finding.text


@pytest.mark.parametrize(("ppi", "expected"), [(300.0, Level.SOUND), (200.0, Level.NOTE), (170.0, Level.FAULT)])
def test_resolution_is_judged_at_the_ordered_size(ppi: float, expected: Level) -> None:
    context = Context(listed=ListedJob("SL-0412", 400.0, 300.0, print_mm=400.0), ppi=ppi)
    assert level("resolution", "ppi_x", ppi, context=context) is expected


def test_detail_abrupt_and_gradual() -> None:
    assert level("resolution", "detail_x", 0.84, certain=True) is Level.FAULT
    assert level("resolution", "detail_x", 0.86, certain=True) is Level.SOUND
    assert level("resolution", "detail_x", 0.75, certain=False) is Level.SOUND
    assert level("resolution", "detail_x", 0.69, certain=False) is Level.NOTE


def test_a_missing_profile_is_mended_at_the_desk() -> None:
    reading = Reading("encoding", "profile", "", "text", why="none is embedded")
    finding = judge_scan([reading], FINE_ART, Context())[0]
    assert (finding.level, finding.needs) == (Level.FAULT, Needs.DESK)
    assumed = read_book('[output]\nassume_profile = "Adobe RGB (1998)"', "dawnproof.toml")
    assert judge_scan([reading], assumed, Context())[0].level is Level.NOTE


def test_a_profile_the_level_does_not_allow() -> None:
    # FADGI 2016, prints, 3 star: Adobe 1998, ProPhoto, eciRGBv2
    assert level("encoding", "profile", "sRGB IEC61966-2.1", "fadgi-3") is Level.FAULT
    assert level("encoding", "profile", "Adobe RGB (1998)", "fadgi-3") is Level.SOUND


@pytest.mark.parametrize("role", [Role.BACK, Role.OVERVIEW, Role.TARGET])
def test_what_is_not_the_work_never_goes_to_rework(role: Role) -> None:
    assert level("encoding", "depth_declared", 8.0, context=Context(role)) is Level.NOTE


@pytest.mark.parametrize(
    ("width", "height", "expected"),
    [
        (420.0, 297.0, Level.SOUND),
        (297.0, 420.0, Level.SOUND),  # either way round
        (431.0, 297.0, Level.NOTE),  # beyond 10 mm
        (420.0, 307.0, Level.NOTE),  # beyond 3 %
        (470.0, 297.0, Level.FAULT),  # beyond 10 %
    ],
)
def test_size_against_the_job_list(width: float, height: float, expected: Level) -> None:
    finding = judge_size(width, height, ListedJob("SL-0412", 420.0, 297.0), FINE_ART)
    assert finding is not None
    assert finding.level is expected


def test_no_stated_size_is_no_finding() -> None:
    assert judge_size(1, 1, ListedJob("SL-0412"), FINE_ART) is None


def test_cautions_stand_beside_every_advice_that_handles_the_work() -> None:
    handled = make_finding("seam", "doubling", Level.FAULT, "x")
    assert "conservator" in handled.advice
    assert "conservator" not in make_finding("encoding", "profile", Level.FAULT, "x").advice


def finding(check: str, name: str, level: Level, needs: Needs | None = None) -> Finding:
    return Finding(check, name, level, needs, "x")


@pytest.mark.parametrize(
    ("findings", "hold", "second_missing", "pile"),
    [
        ([], False, False, Pile.MAY_GO_BACK),
        ([finding("seam", "doubling", Level.UNDECIDED)], False, False, Pile.LOOK_FIRST),
        ([finding("seam", "lift", Level.UNDECIDED)], False, False, Pile.MAY_GO_BACK),
        ([finding("streaks", "worst", Level.UNDECIDED)], False, False, Pile.MAY_GO_BACK),
        ([], True, False, Pile.LOOK_FIRST),
        ([], False, True, Pile.LOOK_FIRST),
        ([finding("encoding", "profile", Level.FAULT, Needs.DESK)], False, False, Pile.DESK),
        ([finding("encoding", "profile", Level.FAULT, Needs.DESK),
          finding("seam", "doubling", Level.FAULT, Needs.ARTWORK)], False, False, Pile.SCAN_AGAIN),
    ],
)  # fmt: skip
def test_piles(findings: list[Finding], hold: bool, second_missing: bool, pile: Pile) -> None:
    assert pile_of(outcome_of(findings), findings, hold, second_missing) is pile


def test_only_a_fault_sends_to_rework() -> None:
    assert outcome_of([finding("seam", "doubling", Level.NOTE)]) is Outcome.ARCHIVE
    assert outcome_of([finding("seam", "doubling", Level.FAULT)]) is Outcome.REWORK


def test_what_was_not_asked_for_is_undecided_but_holds_nothing_back() -> None:
    book = load_book("fine-art")
    no_stitch = Reading("seam", "doubling", None, "px", 0.0, None, "the bed has no stitch", certain=False)
    blank = Reading("seam", "doubling", None, "px", 0.0, None, "too little detail")
    (unasked,), (open_one,) = (judge_scan([r], book, Context()) for r in (no_stitch, blank))
    assert unasked.level is open_one.level is Level.UNDECIDED
    assert pile_of(Outcome.ARCHIVE, [unasked], hold=False) is Pile.MAY_GO_BACK
    assert pile_of(Outcome.ARCHIVE, [open_one], hold=False) is Pile.LOOK_FIRST


def test_a_note_says_what_is_better_and_a_fault_what_is_needed_or_allowed() -> None:
    """One quantity never has two limits without a word which is which."""

    def text(check: str, name: str, value: float, unit: str, certain: bool = True) -> str:
        (found,) = judge_scan([Reading(check, name, value, unit, certain=certain)], FINE_ART, Context())
        return found.text

    assert text("seam", "doubling", 1.2, "px") == (
        "doubling at the stitch 1.2 px; at most 1 px is better, above 2 px is a fault"
    )
    assert text("seam", "doubling", 6.2, "px") == "doubling at the stitch 6.2 px; at most 2 px allowed"
    assert text("resolution", "ppi_x", 350, "1/in") == (
        "resolution across 350 ppi; 400 ppi or more is better, below 300 ppi is a fault"
    )
    assert text("resolution", "ppi_x", 200, "1/in") == "resolution across 200 ppi; at least 300 ppi needed"
    assert text("encoding", "depth_true", 8, "bit") == "bits really used 8; a scan set to 16 bits uses 12 or more"
    assert text("join", "overlap", 21, "mm") == "overlap 21 mm; 40 mm or more is better, below 15 mm is a fault"
    unsure = text("seam", "doubling", 2.4, "px", certain=False)
    assert unsure.endswith("above 2 px is a fault; not certain enough to be a fault by itself")


@pytest.mark.parametrize(
    ("reading", "text"),
    [
        # 118 px/cm
        (Reading("resolution", "ppi_x", 299.72, "1/in"), "resolution across 299.7 ppi; at least 300 ppi needed"),
        (Reading("resolution", "ppi_x", 200.0, "1/in"), "resolution across 200 ppi; at least 300 ppi needed"),
        (Reading("seam", "doubling", 2.04, "px"), "doubling at the stitch 2.04 px; at most 2 px allowed"),
    ],
)
def test_a_figure_that_misses_its_limit_is_not_told_as_the_limit(reading: Reading, text: str) -> None:
    (found,) = judge_scan([reading], FINE_ART, Context())
    assert (found.level, found.text) == (Level.FAULT, text)


@pytest.mark.parametrize(
    ("mm", "expected", "text"),
    [
        (0.0, Level.FAULT, "the work runs to the edge of the frame on the left: a part of it may be cut off"),
        (2.14, Level.NOTE, "only 2.1 mm of lid shows beside the work on the left; 3 mm or more is better"),
        (8.0, Level.SOUND, "margin around the work 8.0 mm; 3 mm or more is wanted"),
    ],
)
def test_a_work_at_the_edge_of_the_frame_is_told_in_words(mm: float, expected: Level, text: str) -> None:
    (found,) = judge_scan([Reading("crop", "margin", mm, "mm", side="left")], FINE_ART, Context())
    assert (found.level, found.text) == (expected, text)


def test_a_studio_that_asks_for_more_lid_is_told_how_much() -> None:
    limits = "[limits.crop]\nmargin = { note = 6.0, fault = 5.0, below = true }\n"
    book = read_book(f'based_on = "fine-art"\n{limits}', "studio")
    (found,) = judge_scan([Reading("crop", "margin", 4.0, "mm", side="bottom")], book, Context())
    assert found.text == "only 4.0 mm of lid shows beside the work at the bottom; 5 mm or more is needed"


@pytest.mark.parametrize("figure", [float("nan"), float("inf"), float("-inf")])
def test_a_figure_that_is_no_number_is_neither_sound_nor_a_fault(figure: float) -> None:
    """Nothing compares with it, so every comparison would have called it sound."""
    (found,) = judge_scan([Reading("seam", "doubling", figure, "px", 0.9)], load_book("fine-art"), Context())
    assert found.level is Level.UNDECIDED
    assert "no number" in found.text
    assert pile_of(Outcome.ARCHIVE, [found], hold=False) is Pile.LOOK_FIRST


def test_a_place_without_numbers_is_left_out_and_its_figure_judged() -> None:
    nowhere = Where(float("nan"), 0.0, 1.0, 1.0)
    (found,) = judge_scan([Reading("crop", "skew", 9.0, "degree", where=nowhere)], load_book("fine-art"), Context())
    assert (found.level, found.where) == (Level.FAULT, None)
