"""What is said of a stitch that the joined image shows."""

import pytest

from dawnproof.model import Level, Reading
from dawnproof.rulebook import load_book
from dawnproof.workers.join_record import shown_doubling


@pytest.mark.parametrize(
    ("value", "certain", "said"),
    [(8.9, False, True), (-8.9, False, True), (1.5, False, False), (8.9, True, False), (None, False, False)],
)
def test_doubling_that_is_seen_but_not_certain_is_looked_at_first(
    value: float | None, certain: bool, said: bool
) -> None:
    """A certain one is a fault already, a small one a note."""
    reading = Reading("seam", "doubling", value, "px", certain=certain)
    found = shown_doubling("SL-0412_L.tif", (reading,), load_book("fine-art"))
    assert (found is not None) == said
    if found is not None:
        assert found.level is Level.UNDECIDED
        assert "the stitch of SL-0412_L.tif" in found.text
