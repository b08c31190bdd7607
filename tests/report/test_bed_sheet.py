from xml.etree import ElementTree

import pytest
from report.nights import HOSTILE

from dawnproof.model import Bed
from dawnproof.naming import compile_rule, read_name
from dawnproof.report.bed_sheet import (
    barred_zones,
    bed_sheet,
    clear_zones,
    draw_bed,
    naming_examples,
    scan_ppi,
    widest_clear,
    widest_covered,
    widest_flat,
)

BED = Bed("bed-a", 600.0, 450.0, (300.0,), 5.0, 0.5, "white", 2.0)


def test_zones_fill_the_bed() -> None:
    assert [(z.start_mm, z.end_mm) for z in barred_zones(BED)] == [(294.0, 306.0)]
    assert [(z.start_mm, z.end_mm) for z in clear_zones(BED)] == [(0.0, 294.0), (306.0, 600.0)]
    assert clear_zones(Bed("b", 500, 400))[0].width_mm == 500


def test_widest_works_can_really_be_covered() -> None:
    # two parts shifted by the narrower clear zone: each barred strip lies inside the other part
    shift = 294.0
    assert widest_covered(BED, 2) == pytest.approx(600 + shift - 20)
    for own, other in ((0.0, shift), (shift, 0.0)):
        strip = (own + 294, own + 306)
        assert other <= strip[0]
        assert strip[1] <= other + 600
    assert widest_covered(BED, 1) is None
    assert widest_covered(Bed("b", 500, 400), 2) is None
    assert widest_flat(BED, 1) == 580
    assert widest_flat(BED, 2) == pytest.approx(600 * 1.85 - 20)
    assert widest_clear(BED, 1) == 274
    assert widest_clear(BED, 2) == pytest.approx(294 * 1.85 - 20)


def test_scan_ppi_is_print_ppi_times_enlargement() -> None:
    assert scan_ppi(297, 594) == 600
    assert scan_ppi(420, 420) == 300


@pytest.mark.parametrize("pattern", ["{job}_{part}[_t{take}]", "{job}-{part}[-{take}]", "{job} {part}[ t{take}]"])
def test_every_example_is_understood_by_the_rule_it_shows(pattern: str) -> None:
    rule = compile_rule(pattern)
    for name, _ in naming_examples(pattern, "SL-0412"):
        assert not hasattr(read_name(name, rule), "why"), name


def test_the_drawing_is_to_scale() -> None:
    svg = ElementTree.fromstring(draw_bed(BED, [(33.0, None, "streak"), (100.0, 50.0, "spot")], 1.0))
    strip = next(e for e in svg.iter("rect") if e.get("class") == "fault")
    assert (float(strip.get("x", "")), float(strip.get("width", ""))) == (294.0, 12.0)
    rings = [(float(e.get("cx", "")), float(e.get("cy", ""))) for e in svg.iter("circle")]
    assert rings == [(33.0, 225.0), (100.0, 50.0)]
    assert "stitch at 300 mm. 1: streak; 2: spot" in svg.get("aria-label", "")


def test_the_sheet_has_what_is_pinned_up() -> None:
    page = bed_sheet(BED, "Saltmarsh Lane Print Room", calibrated="calibrated 24 Nov 2026 with a shim of 2 mm")
    for words in (
        "294 to 306 mm",
        "8 px at 400 ppi",
        "calibrated 24 Nov 2026",
        "SL-0412_R_t2.tif",
        "Shims are card or film",
        "Widest work",
    ):
        assert words in page
    assert "has not been calibrated" in bed_sheet(Bed("b", 600, 450, (300.0,)))
    assert "No stitch" in bed_sheet(Bed("b", 600, 450))
    assert "<script" not in bed_sheet(Bed(HOSTILE, 600, 450), HOSTILE)
