import pytest

from dawnproof.advice import needs_of
from dawnproof.model import Finding, Level, Reading, SeamSample, Where
from dawnproof.report.in_brief import _BRIEF, in_brief, most_at, place

PROFILE = (SeamSample(100.0, 1.0, None, 1.0), SeamSample(210.0, -6.2, None, 1.0), SeamSample(260.0, None, None, 0.0))


def fault(check: str, name: str, where: Where | None = None, text: str = "words; more") -> Finding:
    return Finding(check, name, Level.FAULT, needs_of(check, name), text, "", where)


def test_a_doubling_is_told_with_its_figure_and_where_it_is_worst() -> None:
    found = fault("seam", "doubling", Where(297, 165, 6, 90, PROFILE))
    assert in_brief(found, Reading("seam", "doubling", -6.2, "px")) == "doubling 6 px at 210 mm"
    assert most_at(Where(0, 165, 6, 90)) == 165
    assert (
        place(Where(297, 165, 6, 90, PROFILE))
        == "297 to 303 mm from the left, 165 to 255 mm from the top, worst at 210 mm"
    )


def test_a_small_figure_keeps_its_decimal() -> None:
    assert in_brief(fault("seam", "doubling"), Reading("seam", "doubling", 2.4, "px")) == "doubling 2.4 px"


@pytest.mark.parametrize(("ppi", "words"), [(299.72, "only 299.7 ppi across"), (72.009, "only 72 ppi across")])
def test_a_resolution_just_below_a_whole_one_keeps_its_decimal(ppi: float, words: str) -> None:
    assert in_brief(fault("resolution", "ppi_x"), Reading("resolution", "ppi_x", ppi, "1/in")) == words


@pytest.mark.parametrize("ppi", ["149.7", "72"])
def test_at_an_ordered_print_size_the_resolution_there_counts(ppi: str) -> None:
    text = f"resolution at the ordered print size {ppi} ppi; at least 150 ppi needed"
    found = fault("resolution", "ppi_x", text=text)
    assert in_brief(found, Reading("resolution", "ppi_x", 400.0, "1/in")) == f"only {ppi} ppi on the print"


def test_little_lid_beside_a_work_is_not_an_edge_cut_off() -> None:
    found = fault("crop", "margin")
    assert in_brief(found, Reading("crop", "margin", 0.0, "mm")) == "edge of the work cut off"
    assert in_brief(found, Reading("crop", "margin", 4.0, "mm")) == "only 4.0 mm of lid beside it"


def test_without_a_figure_the_findings_own_words_stand() -> None:
    assert in_brief(fault("seam", "doubling", text="doubling at the stitch (why); limit")) == "doubling at the stitch"
    assert in_brief(fault("other", "thing", text="\x1b[2Jodd; limit")) == "\\x1b[2Jodd"


def test_parts_that_never_came_are_named() -> None:
    assert in_brief(fault("job", "missing"), None, ("R",)) == "part R missing"
    assert in_brief(fault("job", "missing"), None, ("r1c2", "r2c2")) == "parts r1c2, r2c2 missing"


def test_what_was_not_judged_says_so() -> None:
    assert in_brief(Finding("focus", "softest", Level.UNDECIDED, None, "…")) == "sharpness not judged"


@pytest.mark.parametrize("key", _BRIEF, ids=".".join)
def test_seven_words_at_most(key: tuple[str, str]) -> None:
    words = in_brief(fault(*key, Where(1, 2, 3, 4)), Reading(*key, 123.4, ""))
    assert len(words.split()) <= 7, words
