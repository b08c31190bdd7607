"""What the contact sheet says of each work."""

from __future__ import annotations

import pytest
from report.nights import HOSTILE, empty_night, good_night, hostile_night, many_jobs, saltmarsh_lane

from dawnproof.model import Pile
from dawnproof.report.contact import contact_labels, contact_title


def test_every_job_has_one_label_and_what_costs_most_comes_first() -> None:
    night = saltmarsh_lane()
    labels = contact_labels(night)
    assert sorted(label.job for label in labels) == sorted(
        [*(view.row.job for view in night.jobs), "SL-0420", "SL-0421"]
    )
    shapes = [label.shape for label in labels]
    assert shapes == sorted(shapes, key="!xd?□■".index)


def test_each_says_pile_and_the_one_thing() -> None:
    night = saltmarsh_lane()
    never_seen = [label for label in contact_labels(night) if label.shape == "!"]
    assert [label.pile for label in never_seen] == ["never seen, due today", "never seen, due Mon 30 Nov"]
    for label in contact_labels(night)[len(never_seen) :]:
        view = next(v for v in night.jobs if v.row.job == label.job)
        assert label.pile
        assert label.thing
        assert len(label.thing.split()) <= 10
        if view.pile is Pile.SCAN_AGAIN:
            assert label.pile.startswith("scan again")
        assert label.width_mm > 0
        assert label.height_mm > 0


def test_a_good_night_has_nothing_found() -> None:
    assert {label.shape for label in contact_labels(good_night())} == {"■"}


def test_title_counts_the_piles() -> None:
    assert "may go back" in contact_title(saltmarsh_lane(), contact_labels(saltmarsh_lane()))
    assert contact_title(empty_night(), ()).endswith("no work came")


def test_three_hundred() -> None:
    assert len(contact_labels(many_jobs(300))) == 300


def test_hostile_names_are_harmless() -> None:
    night = hostile_night()
    for label in contact_labels(night):
        text = label.number + label.pile + label.thing + contact_title(night, (label,))
        assert HOSTILE not in text
        assert not {"\x1b", "\u202e", "\u2028", "\n"} & set(text)


def test_two_pictures_under_one_number_have_room_side_by_side() -> None:
    """Their picture holds both: drawn in the frame of one they would be squeezed."""
    widths = {label.job: label.width_mm for label in contact_labels(saltmarsh_lane())}
    assert widths["SL-0415"] == pytest.approx(2 * widths["SL-0410"], rel=0.01)
