from dataclasses import replace

from report.nights import rework, saltmarsh_lane
from report.scanned import BED_B, at, scan, with_readings

from dawnproof.model import Asked, Place, Reading
from dawnproof.report.before_first import names_a_side, scanner_needs


def low(job: str, ppi: float):  # type: ignore[no-untyped-def]
    readings = with_readings(*(Reading("resolution", name, ppi, "1/in", 1.0) for name in ("ppi_x", "ppi_y")))
    view = rework(job, [scan(job, "whole", at(20), readings, Place.REWORK, bed=BED_B)], None)
    return replace(view, asked=Asked(16, 400))


def test_one_sentence_a_bed_with_the_value_to_set_and_each_setting_once() -> None:
    night = replace(
        saltmarsh_lane(), jobs=(low("SL-0431", 200), low("SL-0432", 240)), marks=(), references=(), space=()
    )
    assert scanner_needs(night) == ("bed-b: set 400 ppi or more (SL-0431: only 200 ppi and SL-0432: only 240 ppi)",)
    assert not names_a_side(scanner_needs(night))


def test_each_bed_has_one_line_in_the_order_of_the_rule_book() -> None:
    needs = scanner_needs(saltmarsh_lane())
    assert [words.partition(":")[0] for words in needs] == ["bed-a", "bed-b", "Make room"]
    assert names_a_side(needs)
