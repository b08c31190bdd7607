"""Who helps, who is silent, who is unfit; each thing is said once."""

from __future__ import annotations

from dawnproof.cluster.errand import News
from dawnproof.cluster.helpers import UNFIT_S, Helpers
from dawnproof.cluster.link import Helper, Look

A, B = "tcp://10.0.0.2:1", "tcp://10.0.0.3:1"


def look(seen: float, *addresses: str, memory_mb: float = 4000.0) -> Look:
    names = {A: "annex", B: "barn"}
    return Look(0.0, {a: Helper(a, names[a], 2, memory_mb, seen) for a in addresses})


def helpers() -> tuple[Helpers, list[News]]:
    told: list[News] = []
    return Helpers(10.0, told.append), told


def test_a_task_goes_where_its_memory_is() -> None:
    known, told = helpers()
    known.see(look(1.0, A), 0.0)
    known.see(Look(0.0, {**look(1.0, A).helpers, **look(1.0, B, memory_mb=9000.0).helpers}), 0.0)
    assert known.fit_for(3000, set(), 0.0) == [A, B]
    assert known.fit_for(6000, set(), 0.0) == [B]
    assert known.fit_for(6000, {B}, 0.0) == []
    assert known.places() == 4
    known.say_why_here("SL-0401", 20_000, 0)
    assert told == [News("", "SL-0401 wants 20000 MB, which no other computer offers; it is done here")]


def test_silence_is_no_new_sign_of_life_by_our_own_clock() -> None:
    """The scheduler's clock may stand anywhere: only that its figure changes counts."""
    known, _ = helpers()
    known.see(look(99_999.0, A, B), 0.0)
    known.see(Look(0.0, {**look(99_999.0, A).helpers, **look(100_000.0, B).helpers}), 9.0)
    assert not known.is_silent(A, 9.9)
    assert known.is_silent(A, 10.1)
    assert not known.is_silent(B, 10.1)
    assert known.fit_for(100, set(), 10.1) == [B]
    known.see(look(100_001.0, A, B), 11.0)
    assert not known.is_silent(A, 11.0)


def test_one_that_is_unfit_is_said_once_and_asked_again_later() -> None:
    known, told = helpers()
    known.see(look(1.0, A), 0.0)
    known.dismiss(A, "annex", "/mnt/a.tif cannot be read there")
    known.dismiss(A, "annex", "/mnt/b.tif cannot be read there")
    assert [n.text for n in told] == ["annex is worked without: /mnt/a.tif cannot be read there"]
    assert known.places() == 0
    known.see(look(2.0, A), 1.0)
    assert known.fit_for(100, set(), 1.0) == []
    late = 1e9 + UNFIT_S
    known.see(look(3.0, A), late)
    assert known.fit_for(100, set(), late) == [A]
    known.praise(A)
    assert told[-1] == News("helper annex", "", over=True)


def test_one_that_is_gone_keeps_its_name_and_its_alarm_is_over() -> None:
    known, told = helpers()
    known.see(look(1.0, A, B), 0.0)
    known.dismiss(A, "annex", "an old version")
    known.see(look(2.0, B), 1.0)
    assert known.is_gone(A)
    assert known.name(A) == "annex"
    assert told[-1] == News("helper annex", "", over=True)


def test_nobody_at_the_scheduler_is_an_alarm_until_somebody_comes() -> None:
    known, told = helpers()
    known.say_why_here("a.tif", 100, 0)
    known.say_why_here("b.tif", 100, 0)
    known.see(look(1.0, A), 0.0)
    assert [(n.key, n.over) for n in told] == [("nobody", False), ("nobody", True)]
