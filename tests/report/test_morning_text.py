import pytest
from report.nights import empty_night, evening, good_night, hostile_night, many_jobs, saltmarsh_lane

from dawnproof.advice import CAUTIONS
from dawnproof.model import Night
from dawnproof.report.morning_text import summary_text

TEXT = summary_text(saltmarsh_lane())


def test_the_first_lines_answer_before_any_detail() -> None:
    head = TEXT.partition("May go back")[0]
    for words in (
        "cut off from 00:09",
        "Never seen: SL-0420",
        "SL-C405",
        "clean the glass",
        "two places",
    ):
        assert words in head


def test_a_good_night_is_one_sentence_before_the_piles() -> None:
    head = summary_text(good_night()).partition("May go back")[0]
    assert head.count(".") == 1
    assert "! " not in head


def test_the_piles_have_their_counts() -> None:
    counts = {"May go back": 4, "Look first": 3, "Scan again": 3, "Mend at the desk": 2, "Unfinished": 1}
    for words, count in counts.items():
        assert any(line.startswith(f"{words:<17}{count:>3}") for line in TEXT.splitlines())


def test_a_job_to_redo_says_what_where_and_how() -> None:
    block = TEXT.partition("SCAN AGAIN")[2].partition("SL-0406")[0]
    for words in (
        "6.2 px",
        "at most",
        "worst at",
        "210 mm",
        "Stop: this would be the third take",
        "takes so far: whole 2",
    ):
        assert words in block


def test_the_cautions_stand_once() -> None:
    joined = " ".join(TEXT.split())
    assert all(joined.count(caution) == 1 for caution in CAUTIONS)


def test_files_without_a_place_have_their_reasons_and_the_mend() -> None:
    block = " ".join(TEXT.partition("FILES SET ASIDE")[2].partition("SCAN AGAIN ---")[0].split())
    for words in (
        "did you mean SL-0412_L.tif?",
        "41 of 120 strips",
        "link.tif stays where it is",
        "dawnproof place STUDIO 'SL0412 left side final.tif' --as SL-0412_L.tif",
        "it lies in /studio/rework/_unplaced; its work must stay",
    ):
        assert words in block


def test_no_code_names() -> None:
    for words in ("depth_true", "ppi_x", "scale_plausible", "Level.", "None", "seam."):
        assert words not in TEXT


@pytest.mark.parametrize("night", [saltmarsh_lane(), evening(), good_night(), empty_night(), many_jobs(40)])
def test_no_line_is_wider_than_a_terminal(night: Night) -> None:
    assert max(map(len, summary_text(night).splitlines())) <= 78


def test_hostile_names_are_shown_harmlessly() -> None:
    text = summary_text(hostile_night())
    assert not any(c in text for c in "\x1b\u202e\u2028\x07")
    assert "[bold]x[/]" in text
    assert "\\x1b[2J" in text
    assert not any(line.startswith("line") for line in text.splitlines())  # the name's own line end breaks nothing
