"""Letters to the studio through its own mail server (RFC 5321, STARTTLS by RFC 3207, message by RFC 5322).

A letter is composed once and kept as a file, so that every try sends the same bytes under the same Message-ID. The one
moment after which a server may have it is when its text is handed over; `before_handing_over` is called just before,
so that whoever keeps the record can make it durable and never send it twice."""

from __future__ import annotations

import os
import re
import smtplib
import socket
import ssl
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from email.utils import format_datetime, getaddresses, make_msgid
from pathlib import Path

from ..model import shown
from ..rulebook import Mail

PORTS = {"starttls": 587, "tls": 465, "none": 25}
PASSWORD_VARIABLE = "DAWNPROOF_MAIL_PASSWORD"
TIMEOUT_S = 30.0  # for one answer of the server
SUBJECT_COLUMNS = 150
GOES_ON, READY_FOR_TEXT, TAKEN, REFUSED_FOR_GOOD = 250, 354, range(200, 300), range(500, 600)


@dataclass(frozen=True, slots=True)
class Letter:
    """What is to be told: subject, the text, the same as simple HTML, and pages (name, HTML) that go with it."""

    subject: str
    text: str
    html: str = ""
    pages: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class NotSent:
    """Why a try came to nothing. `again`: another try may succeed; `perhaps`: the server may have the letter."""

    words: str
    again: bool = True
    perhaps: bool = False


@dataclass(frozen=True, slots=True)
class Sent:
    """The server has the letter; `refused` are the addresses it did not take."""

    refused: tuple[str, ...] = ()


def compose(letter: Letter, rules: Mail, when: datetime) -> bytes:
    """The letter as it goes over the wire. Nothing in it can end a header or begin another: control characters of the
    subject are written out, addresses were proved plain when the rule book was read."""
    message = EmailMessage(policy=policy.SMTP)
    message["Subject"] = _one_line(letter.subject)
    message["From"] = rules.sender or ""
    message["To"] = ", ".join(rules.to)
    message["Date"] = format_datetime(when)
    message["Message-ID"] = make_msgid("dawnproof", (rules.sender or "").rpartition("@")[2] or "localhost")
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: no holiday notice is sent back
    message.set_content(_encodable(letter.text), cte="quoted-printable")
    if letter.html:
        message.add_alternative(_encodable(letter.html), subtype="html", cte="quoted-printable")
    for name, page in letter.pages:
        message.add_attachment(page.encode("utf-8", "backslashreplace"), "text", "html", filename=name)
    return message.as_bytes()


def password_of(rules: Mail, root: Path, environment: Mapping[str, str] = os.environ) -> str:
    """From the file the rule book names (relative to the studio), else from the environment. ValueError, which says
    the mend, where there is none."""
    if rules.password_file is not None:
        path = root / rules.password_file
        try:
            return path.read_text("utf-8").strip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            reason = error.strerror if isinstance(error, OSError) else "it is no text"
            raise ValueError(f"the password file {shown(str(path))} cannot be read ({reason})") from error
    if password := environment.get(PASSWORD_VARIABLE, ""):
        return password
    raise ValueError(f"no password: name [mail] password_file in the rule book, or set {PASSWORD_VARIABLE}")


class Attempt:
    """One try to hand over one letter, in a thread of its own; `break_off` from any other thread ends it."""

    def __init__(self, rules: Mail, root: Path, before_handing_over: Callable[[], None],
                 timeout_s: float = TIMEOUT_S) -> None:  # fmt: skip
        self._rules, self._root, self._mark, self._timeout_s = rules, root, before_handing_over, timeout_s
        self._server: smtplib.SMTP | None = None
        self._handing_over = self._broken_off = False

    def send(self, data: bytes) -> Sent | NotSent:
        """Hand the letter over. Every error of network and server becomes a NotSent in plain words."""
        return self._with_server(lambda server: self._hand_over(server, data))

    def knock(self) -> Sent | NotSent:
        """Reach the server and sign in as for a letter, and send none: Sent() where one could go out."""
        return self._with_server(lambda server: Sent())

    def _with_server(self, task: Callable[[smtplib.SMTP], Sent]) -> Sent | NotSent:
        try:
            self._server = self._connected()
            self._sign_in(self._server)
            came = task(self._server)
            self._take_leave(self._server)
            return came
        except smtplib.SMTPResponseException as error:
            return self._failed(f"answered {error.smtp_code} {_said(error.smtp_error)}",
                                error.smtp_code not in REFUSED_FOR_GOOD)  # fmt: skip
        except smtplib.SMTPNotSupportedError as error:
            return self._failed(f"cannot do what is asked: {_said(str(error))}", again=False)
        except ssl.SSLCertVerificationError as error:
            return self._failed(
                f"has a certificate that cannot be trusted ({_said(error.verify_message)})", again=False
            )
        except TimeoutError:
            return self._failed(f"did not answer within {self._timeout_s:.0f} s")
        except smtplib.SMTPServerDisconnected:
            return self._failed("closed the connection")
        except smtplib.SMTPException as error:
            return self._failed(f"cannot be used: {_said(str(error))}")
        except ValueError as error:
            return NotSent(str(error), again=False)
        except OSError as error:
            return self._failed(f"cannot be reached ({_said(error.strerror or str(error))})")
        finally:
            if self._server is not None:
                self._server.close()

    def break_off(self) -> None:
        """End the try: a server that answers drop by drop must not hold the letter for ever."""
        self._broken_off = True
        if self._server is not None and self._server.sock is not None:
            try:
                self._server.sock.shutdown(socket.SHUT_RDWR)
            except OSError:
                return  # it has ended by itself

    def _take_leave(self, server: smtplib.SMTP) -> None:
        """QUIT; what goes wrong now changes nothing about the letter."""
        try:
            if server.sock is not None:
                server.sock.settimeout(2.0)
            server.quit()
        except OSError:
            return

    def _connected(self) -> smtplib.SMTP:
        rules = self._rules
        host, port = rules.host or "", rules.port or PORTS[rules.security]
        if rules.security == "tls":
            return smtplib.SMTP_SSL(host, port, timeout=self._timeout_s, context=self._trust())
        return smtplib.SMTP(host, port, timeout=self._timeout_s)

    def _sign_in(self, server: smtplib.SMTP) -> None:
        server.ehlo_or_helo_if_needed()
        if self._rules.security == "starttls":
            server.starttls(context=self._trust())
            server.ehlo()
        if self._rules.user is not None:
            server.login(self._rules.user, password_of(self._rules, self._root))

    def _hand_over(self, server: smtplib.SMTP, data: bytes) -> Sent:
        sender, to = _envelope(data)
        _expect(server.mail(sender), GOES_ON)
        answers = [(address, server.rcpt(address)) for address in to]
        refused = tuple(address for address, (code, _) in answers if code not in TAKEN)
        if len(refused) == len(answers):
            raise smtplib.SMTPResponseException(*answers[0][1])
        _expect(server.docmd("DATA"), READY_FOR_TEXT)
        self._mark()
        self._handing_over = True
        server.send(re.sub(rb"(?m)^\.", b"..", data) + (b"" if data.endswith(b"\r\n") else b"\r\n") + b".\r\n")
        answer = server.getreply()
        self._handing_over = False
        _expect(answer, GOES_ON)
        return Sent(refused)

    def _trust(self) -> ssl.SSLContext:
        name = self._rules.ca_file
        try:
            return ssl.create_default_context(cafile=str(self._root / name) if name else None)
        except (OSError, ssl.SSLError) as error:
            raise ValueError(f"the certificates in {shown(str(name))} cannot be read ({_said(str(error))})") from error

    def _failed(self, words: str, again: bool = True) -> NotSent:
        words = "was too slow, broken off" if self._broken_off else words
        said = f"the mail server {shown(self._rules.host or '')} {words}"
        return NotSent(said, again and not self._handing_over, self._handing_over)


def _envelope(data: bytes) -> tuple[str, list[str]]:
    message = message_from_bytes(data, policy=policy.SMTP)
    to = [address for _, address in getaddresses([str(message["To"])])]
    return str(message["From"]), to


def _expect(answer: tuple[int, bytes], code: int) -> None:
    if answer[0] != code:
        raise smtplib.SMTPResponseException(*answer)


def _one_line(text: str) -> str:
    line = " ".join(shown(text).split())
    return line if len(line) <= SUBJECT_COLUMNS else f"{line[: SUBJECT_COLUMNS - 1]}…"


def _encodable(text: str) -> str:
    """What is no character of Unicode (a byte of a strange name) is written out."""
    return text.encode("utf-8", "backslashreplace").decode()


def _said(answer: bytes | str) -> str:
    text = answer.decode("utf-8", "surrogateescape") if isinstance(answer, bytes) else answer
    return shown(" ".join(text.split()))[:200]
