"""A real mail server on this machine for the tests: it takes letters, wants TLS or a password, refuses, or hangs."""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

HOST = "127.0.0.1"
USER, PASSWORD = "prints", "a secret with spaces"


@dataclass
class PostBox:
    """Takes letters; `rcpt` and `data` are what it answers where they are set, one after the other."""

    letters: list[Envelope] = field(default_factory=list)
    signed_in: list[str] = field(default_factory=list)
    encrypted: list[bool] = field(default_factory=list)
    rcpt: list[str] = field(default_factory=list)
    data: list[str] = field(default_factory=list)

    async def handle_RCPT(  # noqa: N802 - the names and arguments are the server's
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        answer = self.rcpt.pop(0) if self.rcpt else "250 taken"
        if answer.startswith("2"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        answer = self.data.pop(0) if self.data else "250 taken"
        if answer.startswith("2"):
            self.letters.append(envelope)
            self.encrypted.append(session.ssl is not None)
        return answer

    def authenticate(self, server: SMTP, session: Session, envelope: Envelope, kind: str, data: Any) -> AuthResult:
        assert isinstance(data, LoginPassword)
        right = (data.login, data.password) == (USER.encode(), PASSWORD.encode())
        if right:
            self.signed_in.append(kind)
        return AuthResult(success=right, handled=right)

    def messages(self) -> list[EmailMessage]:
        found = [message_from_bytes(_bytes(e.content), policy=policy.default) for e in self.letters]
        return [message for message in found if isinstance(message, EmailMessage)]


def _bytes(content: bytes | str | None) -> bytes:
    return content.encode() if isinstance(content, str) else content or b""


@dataclass(frozen=True)
class Running:
    port: int
    box: PostBox


@contextmanager
def mail_server(box: PostBox | None = None, tls: ssl.SSLContext | None = None, auth: bool = False,
                direct_tls: bool = False) -> Iterator[Running]:  # fmt: skip
    """A server that listens; with `tls` it wants STARTTLS first, or TLS from the first byte."""
    box = box or PostBox()
    options: dict[str, Any] = {}
    if auth:
        options |= {"authenticator": box.authenticate, "auth_required": True, "auth_require_tls": not direct_tls}
    if tls is not None:
        options |= {"ssl_context": tls} if direct_tls else {"tls_context": tls, "require_starttls": True}
    controller = Controller(box, hostname=HOST, port=free_port(), ready_timeout=20, **options)
    controller.start()
    try:
        yield Running(controller.port, box)
    finally:
        controller.stop()


@contextmanager
def silent_server(says: bytes = b"") -> Iterator[int]:
    """Takes connections, says `says` to each, then nothing more."""
    listening = socket.create_server((HOST, 0))
    held: list[socket.socket] = []

    def serve() -> None:
        while True:
            try:
                connection, _ = listening.accept()
            except OSError:
                return
            held.append(connection)
            if says:
                connection.sendall(says)

    threading.Thread(target=serve, daemon=True).start()
    try:
        yield int(listening.getsockname()[1])
    finally:
        listening.close()
        for connection in held:
            connection.close()


def free_port() -> int:
    """A port nobody listens at."""
    with socket.create_server((HOST, 0)) as found:
        return int(found.getsockname()[1])


def certificate(folder: Path) -> tuple[ssl.SSLContext, Path]:
    """What the server shows, and the file of the house's own authority that vouches for it."""
    authority = trustme.CA()
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(HOST).configure_cert(context)
    file = folder / "house-ca.pem"
    authority.cert_pem.write_to_path(str(file))
    return context, file
