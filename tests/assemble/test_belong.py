"""What keeps parts from one join before a pixel is compared."""

import numpy as np
import pytest
from bench.join_scene import ArraySource

from dawnproof.assemble.belong import check_formats
from dawnproof.assemble.parts import JoinPart, JoinSettings
from dawnproof.errors import JoinRefused

DEEP = np.zeros((4, 5, 3), np.uint16)


def part(name: str, pixels: np.ndarray = DEEP, ppi: float = 600.0, icc: bytes | None = b"p") -> JoinPart:
    return JoinPart(name, "L", ArraySource(pixels), ppi, icc)


def test_equal_settings_pass_and_a_rounded_resolution_too() -> None:
    check_formats([part("a"), part("b", ppi=600.3), part("c", np.zeros((9, 9, 3), np.uint16))], JoinSettings())


@pytest.mark.parametrize(
    ("parts", "code", "words"),
    [
        ([part("a")], "count", "at least two parts"),
        ([], "count", "at least two parts"),
        ([part("a"), part("b"), part("a")], "same", "a is given twice"),
        ([part("a"), part("b", ppi=601.0)], "format", "a and b differ in resolution: 600 and 601 ppi"),
        ([part("a"), part("b", DEEP[:, :, :1])], "format", "differ in channels: 3 and 1"),
        ([part("a"), part("b", DEEP.astype(np.uint8))], "format", "differ in bits a channel: 16 and 8"),
        ([part("a"), part("b", icc=None)], "format", "a and b differ in profile"),
        ([part("a"), part("b"), part("c", icc=b"q")], "format", "a and c differ in profile"),
    ],
)
def test_refused_by_name(parts: list[JoinPart], code: str, words: str) -> None:
    with pytest.raises(JoinRefused) as refused:
        check_formats(parts, JoinSettings())
    assert refused.value.code == code
    assert words in refused.value.reason
