"""Letters through a real mail server on this machine: what arrives, and what is said where nothing does."""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest
from mail_server import HOST, PASSWORD, USER, PostBox, certificate, free_port, mail_server, silent_server
from small_studio import called, make_studio

from dawnproof.notice.mail import PASSWORD_VARIABLE, Attempt, Letter, NotSent, Sent, compose, password_of
from dawnproof.rulebook import Mail, load_book, read_book

WHEN = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
LETTER = Letter(
    "Saltmarsh Lane, 2 to scan again", "first line\n.\n.. dots\nlast", "<p>hello</p>", (("page.html", "<p>x"),)
)
HOSTILE = "[bold]x[/] <script>alert(1)</script> \x1b[31m \u202egnp.fit \r\nBcc: someone@example.org \udcff"


def rules(more: str, security: str = "none") -> Mail:
    book = read_book(
        f'[mail]\nhost = "{HOST}"\nsecurity = "{security}"\nfrom = "prints@example.org"\n'
        f'to = ["a@example.org", "b@example.org"]\n{more}', "dawnproof.toml")  # fmt: skip
    return book.mail


def sent(by: Mail, root: Path, letter: Letter = LETTER, timeout_s: float = 20.0) -> Sent | NotSent:
    return Attempt(by, root, lambda: None, timeout_s).send(compose(letter, by, WHEN))


def parsed(data: bytes) -> EmailMessage:
    message = message_from_bytes(data, policy=policy.default)
    assert isinstance(message, EmailMessage)
    return message


def body(message: EmailMessage, kind: str) -> str:
    part = message.get_body((kind,))
    assert part is not None
    return str(part.get_content()).replace("\r\n", "\n")


def test_a_letter_arrives_whole_at_every_address(tmp_path: Path) -> None:
    with mail_server() as server:
        assert sent(rules(f"port = {server.port}"), tmp_path) == Sent()
    (envelope,), (message,) = server.box.letters, server.box.messages()
    assert envelope.rcpt_tos == ["a@example.org", "b@example.org"]
    assert (message["Subject"], message["From"]) == (LETTER.subject, "prints@example.org")
    assert body(message, "plain").rstrip("\n") == LETTER.text
    assert body(message, "html").rstrip("\n") == LETTER.html
    (page,) = message.iter_attachments()
    assert (page.get_filename(), page.get_content_type(), page.get_content()) == ("page.html", "text/html", "<p>x")


@pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS")  # the whole line is TLS already
@pytest.mark.parametrize("direct", [False, True])
def test_signs_in_under_tls(direct: bool, tmp_path: Path) -> None:
    context, authority = certificate(tmp_path)
    (tmp_path / "secret").write_text(f"{PASSWORD}\n", "utf-8")
    with mail_server(tls=context, auth=True, direct_tls=direct) as server:
        by = rules(f'port = {server.port}\nuser = "{USER}"\npassword_file = "secret"\nca_file = "{authority}"',
                   "tls" if direct else "starttls")  # fmt: skip
        assert sent(by, tmp_path) == Sent()
    assert server.box.signed_in
    assert server.box.encrypted == [not direct]  # a server that speaks nothing but TLS keeps no note of it


def test_a_wrong_password_is_refused_for_good(tmp_path: Path) -> None:
    context, authority = certificate(tmp_path)
    (tmp_path / "secret").write_text("not that one", "utf-8")
    with mail_server(tls=context, auth=True) as server:
        by = rules(
            f'port = {server.port}\nuser = "{USER}"\npassword_file = "secret"\nca_file = "{authority}"', "starttls"
        )
        came = sent(by, tmp_path)
    assert isinstance(came, NotSent)
    assert not came.again
    assert "535" in came.words
    assert "not that one" not in came.words
    assert not server.box.letters


def test_a_certificate_nobody_vouches_for_is_not_trusted(tmp_path: Path) -> None:
    context, _ = certificate(tmp_path)
    with mail_server(tls=context) as server:
        came = sent(rules(f"port = {server.port}", "starttls"), tmp_path)
    assert isinstance(came, NotSent)
    assert "certificate" in came.words
    assert not server.box.letters


def test_a_server_without_starttls_gets_no_letter(tmp_path: Path) -> None:
    with mail_server() as server:
        came = sent(rules(f"port = {server.port}", "starttls"), tmp_path)
    assert isinstance(came, NotSent)
    assert not came.again
    assert not server.box.letters


def test_what_is_refused_for_now_is_tried_again_and_what_is_refused_for_good_is_not(tmp_path: Path) -> None:
    box = PostBox(data=["451 busy", "554 no"], rcpt=["250 yes", "550 nobody"] * 2)
    with mail_server(box) as server:
        first, second, third = (sent(rules(f"port = {server.port}"), tmp_path) for _ in range(3))
    assert isinstance(first, NotSent)
    assert (first.again, first.perhaps) == (True, False)
    assert isinstance(second, NotSent)
    assert (second.again, second.perhaps) == (False, False)
    assert third == Sent()
    assert len(box.letters) == 1


def test_one_refused_address_does_not_keep_the_letter_from_the_other(tmp_path: Path) -> None:
    with mail_server(PostBox(rcpt=["550 nobody", "250 yes"])) as server:
        assert sent(rules(f"port = {server.port}"), tmp_path) == Sent(("a@example.org",))
    assert server.box.letters[0].rcpt_tos == ["b@example.org"]


def test_nobody_listens(tmp_path: Path) -> None:
    came = sent(rules(f"port = {free_port()}"), tmp_path)
    assert isinstance(came, NotSent)
    assert came.again
    assert "cannot be reached" in came.words


@pytest.mark.parametrize("says", [b"", b"220 wait\r\n", b"220"])
def test_a_server_that_hangs_is_left(says: bytes, tmp_path: Path) -> None:
    with silent_server(says) as port:
        came = sent(rules(f"port = {port}"), tmp_path, timeout_s=0.3)
    assert isinstance(came, NotSent)
    assert (came.again, came.perhaps) == (True, False)


def test_a_try_can_be_broken_off_from_another_thread(tmp_path: Path) -> None:
    by = rules("")
    found: list[Sent | NotSent] = []
    with silent_server(b"220 wait\r\n") as port:
        attempt = Attempt(by.model_copy(update={"port": port}), tmp_path, lambda: None, 30.0)
        thread = threading.Thread(target=lambda: found.append(attempt.send(compose(LETTER, by, WHEN))))
        thread.start()
        until = time.monotonic() + 10
        while thread.is_alive() and time.monotonic() < until:
            attempt.break_off()
            thread.join(0.05)
    assert not thread.is_alive()
    (came,) = found
    assert isinstance(came, NotSent)
    assert came.again
    assert "broken off" in came.words


def test_a_letter_the_server_was_given_without_an_answer_is_perhaps_sent(tmp_path: Path) -> None:
    answers = (
        b"220 x\r\n250 x\r\n250 x\r\n250 x\r\n250 x\r\n354 go on\r\n"  # to HELO, MAIL, two RCPT and DATA; then silence
    )
    marked: list[bool] = []
    with silent_server(answers) as port:
        by = rules(f"port = {port}")
        came = Attempt(by, tmp_path, lambda: marked.append(True), 0.3).send(compose(LETTER, by, WHEN))
    assert isinstance(came, NotSent)
    assert (came.again, came.perhaps) == (False, True)
    assert marked == [True]


def test_nothing_is_handed_over_where_that_cannot_be_recorded(tmp_path: Path) -> None:
    class Full(Exception):
        pass

    def refuse() -> None:
        raise Full

    with mail_server() as server:
        by = rules(f"port = {server.port}")
        with pytest.raises(Full):
            Attempt(by, tmp_path, refuse).send(compose(LETTER, by, WHEN))
    assert not server.box.letters


def test_no_name_can_steer_a_letter(tmp_path: Path) -> None:
    with mail_server() as server:
        assert sent(rules(f"port = {server.port}"), tmp_path, Letter(HOSTILE, HOSTILE, HOSTILE)) == Sent()
    (message,) = server.box.messages()
    assert message["Bcc"] is None
    assert set(message.keys()) >= {"Subject", "From", "To", "Date", "Message-ID", "Auto-Submitted"}
    assert "\n" not in message["Subject"]
    assert "\x1b" not in message["Subject"]
    assert "\u202e" not in message["Subject"]
    assert "[bold]x[/] <script>" in message["Subject"]
    assert server.box.letters[0].rcpt_tos == ["a@example.org", "b@example.org"]


def test_a_long_subject_of_other_letters_stays_one_header() -> None:
    message = parsed(compose(Letter("Zürich " * 60, "x"), rules(""), WHEN))
    assert len(message["Subject"]) == 150
    assert message["Subject"].endswith("…")


def test_the_password_comes_from_a_file_or_the_environment(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text(" of two words \n", "utf-8")
    assert password_of(rules('user = "x"\npassword_file = "secret"', "tls"), tmp_path, {}) == " of two words "
    assert password_of(rules('user = "x"', "tls"), tmp_path, {PASSWORD_VARIABLE: "here"}) == "here"
    with pytest.raises(ValueError, match=PASSWORD_VARIABLE):
        password_of(rules('user = "x"', "tls"), tmp_path, {})
    with pytest.raises(ValueError, match="gone"):
        password_of(rules('user = "x"\npassword_file = "gone"', "tls"), tmp_path, {})


def test_nothing_is_sent_until_a_book_says_so() -> None:
    assert load_book("fine-art").mail.host is None


def test_knocking_signs_in_and_sends_nothing(tmp_path: Path) -> None:
    context, authority = certificate(tmp_path)
    (tmp_path / "secret").write_text(PASSWORD, "utf-8")
    with mail_server(tls=context, auth=True) as server:
        by = rules(
            f'port = {server.port}\nuser = "{USER}"\npassword_file = "secret"\nca_file = "{authority}"', "starttls"
        )
        assert Attempt(by, tmp_path, lambda: None).knock() == Sent()
        (tmp_path / "secret").write_text("wrong", "utf-8")
        assert isinstance(Attempt(by, tmp_path, lambda: None).knock(), NotSent)
    assert not server.box.letters


def test_ready_says_who_can_read_the_password(tmp_path: Path) -> None:
    mail = f'[mail]\nhost = "{HOST}"\nfrom = "p@example.org"\nto = ["a@example.org"]\nport = {free_port()}\n'
    here = make_studio(tmp_path / "prints", more=f'{mail}user = "x"\npassword_file = "secret"\n')
    (here / "secret").write_text("x")
    for mode, told in ((0o644, True), (0o600, False)):
        (here / "secret").chmod(mode)
        assert ("chmod 600" in called("ready", here)[1]) is told


def test_ready_says_whether_the_server_answers(tmp_path: Path) -> None:
    with mail_server() as server:
        mail = f'[mail]\nhost = "{HOST}"\nsecurity = "none"\nfrom = "p@example.org"\nto = ["a@example.org"]\n'
        here = make_studio(tmp_path / "prints", more=f"{mail}port = {server.port}\n")
        _, text, _ = called("ready", here)
        assert f"ok       mail: {HOST} answers" in text
    code, text, _ = called("ready", here)
    assert code == 1
    assert "PROBLEM  mail: the mail server 127.0.0.1 cannot be reached" in text
    assert not server.box.letters
