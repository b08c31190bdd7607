"""A task's life while other computers may do it, and those here who do it otherwise."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any, Protocol

from ..model import Progress
from .bringing import Lent
from .errand import Answer, Question, Sample


class Local(Protocol):
    """The children of this machine."""

    def submit(
        self, what: str, subject: str, function: Callable[..., Any], *arguments: Any, long: bool = False
    ) -> Future[Any]: ...
    def places(self) -> int: ...
    def waiting(self) -> int: ...
    def progress(self) -> tuple[Progress, ...]: ...
    def watch(self) -> None: ...
    def close(self, wait: bool = True) -> None: ...


@dataclass
class Task:
    """One question on its way. `number` changes with every attempt elsewhere; `tries` counts those that failed."""

    what: str
    subject: str
    function: Callable[..., Any]
    question: Question
    long: bool
    future: Future[Any] = field(default_factory=Future)
    tries: int = 0
    avoid: set[str] = field(default_factory=set)
    number: str = ""
    away: Any = None
    address: str = ""
    sent_s: float = 0.0
    begun_s: float = 0.0
    share: float = 0.0
    samples: tuple[Sample, ...] = ()
    lent: tuple[Lent, ...] = ()
    answer: Answer | BaseException | None = None
