"""Values that make no sense beside one another, and those that do although they look odd."""

from __future__ import annotations

import pytest

from dawnproof.errors import RuleBookError
from dawnproof.rulebook import read_book
from dawnproof.rulebook.sense import bed_of, limits_of
from dawnproof.rulebook.tables import BedRules


def bed(seam_mm: float | list[float] | None) -> BedRules:
    return BedRules(width_mm=600.0, length_mm=450.0, seam_mm=seam_mm)


@pytest.mark.parametrize(
    ("seam_mm", "told"), [(None, ()), (300.0, (300.0,)), ([400.0, 200.0], (200.0, 400.0)), ([], ())]
)
def test_stitches_are_told_from_left_to_right(seam_mm: float | list[float] | None, told: tuple[float, ...]) -> None:
    assert bed_of("studio", "bed-a", bed(seam_mm)).seams_mm == told


@pytest.mark.parametrize("seam_mm", [0.0, 600.0, [300.0, 700.0]])
def test_a_stitch_at_the_edge_of_the_bed_or_beyond_is_refused(seam_mm: float | list[float]) -> None:
    with pytest.raises(RuleBookError, match=r"studio.*beds\.bed-a\.seam_mm"):
        bed_of("studio", "bed-a", bed(seam_mm))


@pytest.mark.parametrize(
    ("rules", "mend"),
    [
        ({"note": 2.0, "fault": 1.0}, "must lie below"),
        ({"note": 1.0, "fault": 2.0, "below": True}, "must lie above"),
    ],
)
def test_a_fault_that_comes_before_its_note_is_refused(rules: dict[str, object], mend: str) -> None:
    with pytest.raises(RuleBookError, match=mend) as caught:
        limits_of("studio", {"seam": {"doubling": rules}}, {"limits.seam.doubling": "house"})
    assert (caught.value.key, str(caught.value).startswith("house")) == ("limits.seam.doubling", True)


@pytest.mark.parametrize(
    ("check", "reading", "rules"),
    [
        ("seam", "doubling", {"note": 2.0, "fault": 2.0}),
        ("seam", "doubling", {"fault": 2.0}),
        ("crop", "margin", {"note": 3.0, "fault": 0.0, "below": True}),
        # an abrupt edge of the spectrum is a fault from another figure on than a gradual one is a note
        ("resolution", "detail_x", {"note": 0.7, "fault": 0.85, "below": True}),
    ],
)
def test_what_only_looks_odd_is_taken(check: str, reading: str, rules: dict[str, object]) -> None:
    found = limits_of("studio", {check: {reading: rules}}, {})[check, reading]
    assert (found.note, found.fault) == (rules.get("note"), rules["fault"])


def test_the_limits_of_a_kind_are_held_to_the_same() -> None:
    """They are used only when such a job comes, perhaps months later."""
    kind = '[kinds.canvas]\njobs = "SL-C*"\n[kinds.canvas.limits.seam]\n'
    with pytest.raises(RuleBookError, match=r"must lie below"):
        read_book(f"{kind}doubling = {{ note = 3.0, fault = 2.0 }}", "studio")
    with pytest.raises(RuleBookError, match="did you mean 'doubling'"):
        read_book(f"{kind}dubling = {{ fault = 3.0 }}", "studio")


def test_a_password_never_travels_in_the_clear() -> None:
    mail = '[mail]\nhost = "smtp.example.org"\nfrom = "prints@example.org"\nto = ["a@example.org"]\nsecurity = "none"\n'
    assert read_book(mail, "studio").mail.security == "none"
    with pytest.raises(RuleBookError, match="in the clear"):
        read_book(f'{mail}user = "prints"', "studio")
