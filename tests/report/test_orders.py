import shlex
from dataclasses import replace

from report.nights import hostile_night, saltmarsh_lane

from dawnproof.model import Pile
from dawnproof.report.account import in_pile
from dawnproof.report.morning_text import summary_text
from dawnproof.report.orders import orders, place_order

NIGHT = replace(saltmarsh_lane(), root="/studios/Saltmarsh Lane; rm -r x")


def test_a_command_carries_the_studio_and_the_job_and_survives_a_shell() -> None:
    lines = orders(Pile.SCAN_AGAIN, in_pile(NIGHT, Pile.SCAN_AGAIN), NIGHT)
    assert [shlex.split(line)[:4] for line in lines] == [
        ["dawnproof", "accept", NIGHT.root, job] for job in ("SL-C405", "SL-0406", "SL-0409")
    ]


def test_what_is_looked_at_is_released_or_refused() -> None:
    verbs = [shlex.split(line)[1] for line in orders(Pile.LOOK_FIRST, in_pile(NIGHT, Pile.LOOK_FIRST)[:1], NIGHT)]
    assert verbs == ["release", "refuse"]
    assert orders(Pile.DESK, in_pile(NIGHT, Pile.DESK), NIGHT) == ()


def test_a_file_is_given_the_name_that_was_proposed() -> None:
    words = [shlex.split(order) for scan in NIGHT.unplaced if (order := place_order(scan, NIGHT))]
    assert words == [["dawnproof", "place", NIGHT.root, "SL0412 left side final.tif", "--as", "SL-0412_L.tif"]]


def test_a_command_to_copy_stands_in_one_line() -> None:
    assert any("'SL0412 left side final.tif' --as SL-0412_L.tif" in line for line in summary_text(NIGHT).splitlines())


def test_a_name_that_is_not_shown_as_it_is_gets_no_command() -> None:
    night = hostile_night()
    assert orders(Pile.SCAN_AGAIN, in_pile(night, Pile.SCAN_AGAIN), night) == ()
    assert not any(place_order(scan, night) for scan in night.unplaced)
