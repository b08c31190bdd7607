from dataclasses import replace

import pytest
from report.nights import saltmarsh_lane

from dawnproof.advice import _TABLE
from dawnproof.model import Asked, Finding, Level, Needs
from dawnproof.report.account import Said, what_to_do
from dawnproof.report.mend import mend_words, next_file, save_words, steps, to_set

ASKED = Asked(16, 450, "{job}_{part}[_t{take}]")
VIEWS = {view.row.job: replace(view, asked=ASKED) for view in saltmarsh_lane().jobs}


def test_a_setting_has_its_value() -> None:
    assert to_set("encoding", "depth_true", ASKED) == "set 16 bits a channel"
    assert to_set("resolution", "ppi_x", ASKED) == "set 450 ppi or more"
    assert to_set("resolution", "halo", ASKED) == "switch sharpening off"
    assert to_set("seam", "doubling", ASKED) == ""


@pytest.mark.parametrize("key", [key for key, (needs, _, _) in _TABLE.items() if needs is Needs.ARTWORK])
def test_every_fault_that_needs_the_artwork_has_few_words_what_to_do(key: tuple[str, str]) -> None:
    words = mend_words(Said(Finding(*key, Level.FAULT, Needs.ARTWORK, "", _TABLE[key][2])), ASKED)
    assert 2 <= len(words.split()) <= 16


def test_the_advice_of_a_card_names_the_value_where_the_rule_book_is_known() -> None:
    view = VIEWS["SL-0409"]
    assert steps(view)[0].endswith("scanner's or its program's settings. Set 16 bits a channel, and scan again")
    assert steps(replace(view, asked=Asked())) == what_to_do(view)


def test_the_next_take_has_a_name_of_its_own() -> None:
    assert next_file(VIEWS["SL-C405"], "whole") == "SL-C405_whole_t3.tif"
    assert next_file(VIEWS["SL-0411"], "R") == "SL-0411_R.tif"
    assert save_words(VIEWS["SL-0406"]) == ("Save the new scan as SL-0406_whole_t2.tif",)
    assert save_words(VIEWS["SL-0415"]) == ()
    assert next_file(replace(VIEWS["SL-C405"], asked=Asked()), "whole") == ""
