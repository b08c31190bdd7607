"""What is said of joins that were made."""

from dataclasses import replace

import pytest

from dawnproof.assemble.findings import _light, _scale, readings_of
from dawnproof.assemble.parts import JoinSettings, Overlap

SOUND = Overlap("a", "b", 0.15, 0.05, 0.0, 0.2, 0.0, 0.3, 0.95, 60.0, 0.01)


def test_the_worst_overlap_speaks() -> None:
    worse = replace(SOUND, residual_px=0.4, relief=0.6, rotation_deg=-1.2, overlap_mm=30.0)
    values = {r.name: r.value for r in readings_of([SOUND, worse])}
    assert values == {
        "residual": 0.4, "warp": 0.0, "tone": 0.3, "relief": 0.6, "overlap": 30.0, "rotation": -1.2,
    }  # fmt: skip


def test_without_relief_the_reading_says_why() -> None:
    relief = next(r for r in readings_of([replace(SOUND, relief=None)]) if r.name == "relief")
    assert relief.value is None
    assert relief.why


@pytest.mark.parametrize(("percent", "said"), [(0.05, []), (-0.2, [False]), (0.4, [True])])
def test_scale_is_a_note_then_a_fault(percent: float, said: list[bool]) -> None:
    assert [n.fault for n in _scale([replace(SOUND, scale_percent=percent)], JoinSettings())] == said


@pytest.mark.parametrize(("relief", "count"), [(0.9, 0), (0.3, 1), (None, 0)])
def test_differing_light_is_a_fault(relief: float | None, count: int) -> None:
    assert len(_light([replace(SOUND, relief=relief)], JoinSettings())) == count
