"""The studio's letters in the daemon's hands: sent once, tried a few times, never in anybody's way."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from mail_server import HOST, PostBox, free_port, mail_server, silent_server
from small_studio import make_studio

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import EventRow, MailState
from dawnproof.pipeline.morning import moment, write_morning
from dawnproof.service.nights import NightWork
from dawnproof.service.post import ALARM_GAP_S, LOOK_S, PERHAPS, STANDS_S, WALL_S, Post
from dawnproof.service.voice import Voice
from dawnproof.storage.studio import make_folders, open_studio

MORNING = datetime(2026, 11, 25, 6, 1).astimezone()
DAY = "2026-11-25"
AT_ONCE = (0.0, 0.0)


@dataclass
class Office:
    """A studio's post with its ledger, as one daemon after the other has it."""

    root: Path
    ledger: Ledger
    said: list[EventRow]
    now_s: float = 0.0

    def begin(self, waits_s: tuple[float, ...] = AT_ONCE) -> tuple[Post, Voice]:
        voice = Voice(self.ledger, self.said.append)
        return Post(open_studio(self.root), self.ledger, voice, waits_s), voice

    def nights(self, post: Post, voice: Voice) -> NightWork:
        return NightWork(open_studio(self.root), self.ledger, voice, ThreadPoolExecutor(1), lambda: None, post)

    def enter(self, post: Post, day: str = DAY) -> None:
        made = write_morning(open_studio(self.root), self.ledger, moment(None, MORNING), MORNING, None)
        post.morning(day, made, MORNING)

    def until(self, post: Post, done: Callable[[], bool]) -> None:
        end = time.monotonic() + 20
        while not done():
            assert time.monotonic() < end
            self.now_s += LOOK_S
            post.look(self.now_s, self.local())
            time.sleep(0.005)

    def local(self) -> datetime:
        return MORNING + timedelta(seconds=self.now_s)

    def stands(self, *states: MailState) -> bool:
        return all(self.ledger.mails_in(state) for state in states)

    def lines(self) -> list[str]:
        return [event.text for event in self.said if event.kind == "mail"]


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Callable[..., Office]]:
    opened: list[Ledger] = []

    def make(port: int, when: str = '["morning"]', more: str = "") -> Office:
        mail = (f'[mail]\nhost = "{HOST}"\nport = {port}\nsecurity = "none"\nfrom = "prints@example.org"\n'
                f'to = ["a@example.org"]\nwhen = {when}\n{more}')  # fmt: skip
        studio = open_studio(make_studio(tmp_path / "[b]x\u202e<script>", more=mail))
        make_folders(studio)
        opened.append(Ledger.open(studio.ledger_path))
        return Office(studio.root, opened[-1], [])

    yield make
    for ledger in opened:
        ledger.close()


def test_the_summary_is_sent_once_with_its_page(office: Callable[..., Office]) -> None:
    with mail_server() as server:
        here = office(server.port)
        post, _ = here.begin()
        assert post.wants(DAY)
        here.enter(post)
        assert not post.wants(DAY)
        here.until(post, lambda: here.stands(MailState.SENT))
        again, _ = here.begin()
        assert not again.wants(DAY)
        for _ in range(20):
            again.look(here.now_s, here.local())
            here.now_s += LOOK_S
    (message,) = server.box.messages()
    (page,) = message.iter_attachments()
    assert page.get_filename() == f"{DAY}.html"
    text = message.get_body(("plain",))
    assert text is not None
    told = (open_studio(here.root).morning / f"{DAY}.txt").read_text("utf-8")
    assert told.strip() in str(text.get_content()).replace("\r\n", "\n")
    assert not list(open_studio(here.root).outbox.iterdir())
    assert here.ledger.unsent_mails("") == ()


def test_a_page_too_large_for_a_letter_is_named(office: Callable[..., Office]) -> None:
    with mail_server() as server:
        here = office(server.port, more="page_mb = 0.001\n")
        post, _ = here.begin()
        here.enter(post)
        here.until(post, lambda: here.stands(MailState.SENT))
    (message,) = server.box.messages()
    assert not list(message.iter_attachments())
    text = message.get_body(("plain",))
    assert text is not None
    assert f"{DAY}.html" in str(text.get_content())


def test_names_are_harmless_in_subject_text_and_html(office: Callable[..., Office]) -> None:
    with mail_server() as server:
        here = office(server.port)
        post, _ = here.begin()
        here.enter(post)
        here.until(post, lambda: here.stands(MailState.SENT))
    (message,) = server.box.messages()
    html = message.get_body(("html",))
    assert html is not None
    text = message.get_body(("plain",))
    assert text is not None
    plain, marked = str(text.get_content()), str(html.get_content())
    for sign in ("\u202e", "\x1b"):
        assert sign not in message["Subject"] + plain + marked
    assert "[b]x\\u202e<script>" in message["Subject"]
    assert "[b]x\\u202e<script>" in plain
    assert "[b]x\\u202e&lt;script&gt;" in marked
    assert "<script>" not in marked


def test_a_refused_letter_is_tried_a_few_times_and_given_up(office: Callable[..., Office]) -> None:
    here = office(free_port())
    post, _ = here.begin()
    here.enter(post)
    here.until(post, lambda: here.stands(MailState.GIVEN_UP))
    (row,) = here.ledger.unsent_mails("")
    assert row.tries == len(AT_ONCE) + 1
    assert "tried 3 times" in row.words
    assert len(here.lines()) == 2  # that it is tried again, and the end of it
    assert not list(open_studio(here.root).outbox.iterdir())


def test_a_letter_that_must_wait_goes_out_after_a_restart(office: Callable[..., Office]) -> None:
    with mail_server(PostBox(data=["451 busy"])) as server:
        here = office(server.port)
        post, _ = here.begin()
        here.enter(post)
        here.until(post, lambda: any(row.words for row in here.ledger.unsent_mails("")))  # the first try has ended
        assert not server.box.letters
        again, _ = here.begin()
        here.until(again, lambda: here.stands(MailState.SENT))
    assert len(server.box.letters) == 1


def test_a_letter_that_was_being_handed_over_is_not_sent_again(office: Callable[..., Office]) -> None:
    with mail_server() as server:
        here = office(server.port)
        post, _ = here.begin()
        here.enter(post)
        (row,) = here.ledger.mails_in(MailState.WAITING)
        here.ledger.put_mail(replace(row, state=MailState.HANDING_OVER, tries=1))  # and here it was killed
        again, _ = here.begin()
        here.until(again, lambda: here.stands(MailState.GIVEN_UP))
    assert not server.box.letters
    assert here.ledger.unsent_mails("")[0].words == PERHAPS


def test_a_server_that_hangs_holds_up_nothing_and_is_broken_off(office: Callable[..., Office]) -> None:
    with silent_server(b"220 wait\r\n") as port:
        here = office(port)
        post, _ = here.begin((3600.0,))
        here.enter(post)
        longest = 0.0
        for _ in range(50):
            begun = time.monotonic()
            post.look(here.now_s, here.local())
            longest = max(longest, time.monotonic() - begun)
            here.now_s += 0.2
        assert longest < 1.0
        here.now_s += WALL_S
        here.until(post, lambda: any("broken off" in row.words for row in here.ledger.unsent_mails("")))
    assert here.stands(MailState.WAITING)


def test_the_end_of_the_daemon_leaves_a_try_for_the_next_start(office: Callable[..., Office]) -> None:
    with silent_server(b"220 wait\r\n") as port:
        here = office(port)
        post, _ = here.begin()
        here.enter(post)
        post.look(here.now_s, here.local())
        post.end()
    assert here.stands(MailState.WAITING)


def test_what_cannot_wait_is_written_about_once_a_day(office: Callable[..., Office]) -> None:
    with mail_server() as server:
        here = office(server.port, '["alarms"]')
        post, voice = here.begin()
        assert not post.wants(DAY)
        voice.alarm("root a", "the archive's disk is missing \x1b[31m")
        voice.alarm("root b", "so is the other")
        post.look(here.now_s, here.local())
        voice.alarm("short", "gone before anybody could read it")
        here.until(post, lambda: here.now_s > STANDS_S / 2)
        voice.calm("short")
        here.until(post, lambda: len(server.box.letters) == 1 and here.stands(MailState.SENT))
        voice.calm("root a")
        voice.alarm("root a", "the archive's disk is missing once more")
        here.until(post, lambda: here.now_s > 3 * (ALARM_GAP_S + STANDS_S))
        again, later = here.begin()
        later.alarm("root a", "the archive's disk is missing")
        later.alarm("ledger", "something new")
        end_s = here.now_s + 3 * STANDS_S
        here.until(again, lambda: here.now_s > end_s and len(server.box.letters) == 2)
    first, second = (str(m.get_content()) for m in server.box.messages())
    assert "disk is missing" in first
    assert "so is the other" in first
    assert "gone before" not in first
    assert "\x1b" not in first
    assert "something new" in second
    assert "disk is missing" not in second


def test_no_server_named_no_letter(tmp_path: Path) -> None:
    studio = open_studio(make_studio(tmp_path / "prints"))
    make_folders(studio)
    ledger = Ledger.open(studio.ledger_path)
    post = Post(studio, ledger, Voice(ledger, lambda event: None))
    assert not post.wants(DAY)
    post.look(0.0, MORNING)
    ledger.close()


def test_the_hour_sends_even_where_the_daemon_was_stopped_before_it_could_enter_the_letter(
    office: Callable[..., Office],
) -> None:
    with mail_server() as server:
        here = office(server.port)
        post, voice = here.begin()
        write_morning(
            open_studio(here.root), here.ledger, moment(None, MORNING), MORNING, None
        )  # and here it was killed
        here.nights(post, voice).look(0.0, MORNING, quiet=False)
        here.until(post, lambda: here.stands(MailState.SENT))
        here.nights(post, voice).look(0.0, MORNING, quiet=False)
    assert len(server.box.letters) == 1


def test_a_daemon_started_in_the_evening_sends_no_morning(office: Callable[..., Office]) -> None:
    here = office(free_port())
    post, voice = here.begin()
    here.nights(post, voice).look(0.0, MORNING.replace(hour=20), quiet=False)
    assert post.wants(DAY)
    assert (open_studio(here.root).morning / f"{DAY}.txt").exists()
