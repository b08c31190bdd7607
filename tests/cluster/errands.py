"""A task of the tests' own, in a module that children of a helper can import: it holds memory for a while."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dawnproof.errors import NotWhole


@dataclass(frozen=True)
class Hold:
    """Says that it needs `says_mb`, and holds `takes_mb` for some seconds."""

    says_mb: int
    takes_mb: int
    seconds: float

    def reads(self) -> tuple[str, ...]:
        return ()

    def writes(self) -> tuple[str, ...]:
        return ()

    def placed(self, reads: Sequence[str], writes: Sequence[str]) -> Hold:
        return self

    def needs_mb(self) -> int:
        return self.says_mb

    def digests(self, result: Any) -> Mapping[str, str]:
        return {}


@dataclass(frozen=True)
class Held:
    """By a child of which process, and from when to when of the machine's clock."""

    parent: int
    begun_s: float
    ended_s: float


def hold(question: Hold) -> Held:
    begun_s = time.monotonic()
    block = bytearray(question.takes_mb * 1_000_000)
    block[::4096] = b"x" * len(block[::4096])
    time.sleep(question.seconds)
    return Held(os.getppid(), begun_s, time.monotonic())


def fail(question: Hold) -> Held:
    raise NotWhole("the picture ends early")
