"""Rates of the stitch check: flat scans, lifts over all of the stitch or a part of it, steps, shifts, sound cases by
name."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np
from bench.eye_pictures import Pictures
from bench.eye_stitch import LONG_ROWS, SOUND, Made, doubling_of, make, readings_of, sound_case, word
from bench.rates import Group, Options, Trial

from dawnproof.model import Reading

ENDS_MM, SIZE_PX, SHIFT_PX = 5.0, 0.5, 0.3


def _made(kind: str, pictures: Pictures, seeds: range, options: Options) -> Iterator[Made]:
    for seed in seeds:
        yield make(pictures, seed, kind, options.place_known, options.height or LONG_ROWS)


def _flat(kind: str, pictures: Pictures, seeds: range, options: Options) -> Iterator[Trial]:
    for made in _made(kind, pictures, seeds, options):
        readings = readings_of(made.scan)
        reading, step, shift = (readings[name] for name in ("doubling", "step", "shift"))
        said = word(reading)
        told = f"{made.told}: {said} {reading.value} {reading.why}"
        yield Trial("no wrong fault", said != "fault", told, made.scan)
        yield Trial("no note either", said not in {"fault", "note"}, told, made.scan)
        yield Trial("said to be sound", said == "sound", told, made.scan)
        if options.place_known:
            small = abs(float(step.value or 0.0)) <= 1.0
            told = f"{made.told}: step {step.value} certain {step.certain}"
            yield Trial("no note of a step (1 delta E)", small, told, made.scan)
            small = abs(float(shift.value or 0.0)) <= 0.5
            told = f"{made.told}: shift {shift.value} certain {shift.certain}"
            yield Trial("no note of a shift (0.5 px)", small, told, made.scan)


def _doubled(kind: str, pictures: Pictures, seeds: range, options: Options) -> Iterator[Trial]:
    for made in _made(kind, pictures, seeds, options):
        reading = doubling_of(made.scan)
        said, truth = word(reading), float(made.truth_px.max())
        told = f"{made.told}: {said} {reading.value} {reading.why}"
        seen = reading.value is not None and float(reading.value) > 0.5
        if kind == "big":
            yield Trial("not called sound", said != "sound", told, made.scan)
            yield Trial("decided", reading.value is not None, told, made.scan)
        else:
            yield Trial("found", seen, told, made.scan)
        yield Trial("a certain fault", said == "fault", told)
        if seen and reading.value is not None:
            near = abs(float(reading.value) - truth) <= SIZE_PX
            yield Trial("size within 0.5 px, of those found", near, told, made.scan)
            if kind == "part":
                yield Trial("ends within 5 mm, of those found", _place_right(reading, made), told, made.scan)


def _place_right(reading: Reading, made: Made) -> bool:
    lifted = np.flatnonzero(made.truth_px >= made.truth_px.max() / 2)
    if reading.where is None:
        return False
    first, last = made.scan.frame.mm_y(float(lifted[0])), made.scan.frame.mm_y(float(lifted[-1]))
    where = reading.where
    return abs(where.y_mm - first) <= ENDS_MM and abs(where.y_mm + where.height_mm - last) <= ENDS_MM


def _stepped(pictures: Pictures, seeds: range, options: Options) -> Iterator[Trial]:
    """By whether the views are cut or blended."""
    for made in _made("step", pictures, seeds, options):
        reading = readings_of(made.scan)["step"]
        told = f"{made.told}: {reading.value} {reading.why}"
        seen = bool(reading.value)
        yield Trial(f"{_cut(made)}: found", seen, told, made.scan)
        yield Trial(f"{_cut(made)}: certain", seen and reading.certain, told)


def _shifted(pictures: Pictures, seeds: range, options: Options) -> Iterator[Trial]:
    for made in _made("shift", pictures, seeds, options):
        reading = readings_of(made.scan)["shift"]
        told = f"{made.told}: {reading.value} {reading.why}"
        yield Trial(f"{_cut(made)}: found", bool(reading.value), told, made.scan)
        if reading.value:
            near = abs(float(reading.value) - made.scan.stitches[0].shift_px) <= SHIFT_PX
            yield Trial(f"{_cut(made)}: within 0.3 px, of those found", near, told, made.scan)


def _cut(made: Made) -> str:
    return "cut" if made.scan.stitches[0].blend_px == 0 else "blend"


def _named(_: Pictures, seeds: range, __: Options) -> Iterator[Trial]:
    """What looks like doubling and is none; made of no pictures."""
    for name in SOUND:
        for seed in seeds:
            made = sound_case(name, seed)
            reading = doubling_of(made.scan)
            told = f"{made.told}: {word(reading)} {reading.value} {reading.why}"
            yield Trial(f"{name}, no wrong fault", word(reading) != "fault", told, made.scan)


GROUPS = (
    Group("flat", "stitch of sound scans", partial(_flat, "flat"), {"no wrong fault": 99.5}),
    Group("long", "stitch of sound scans as high as those of part", partial(_flat, "long"), {"no wrong fault": 99.5}),
    Group(
        "big",
        "stitch, lifted by 5 to 40 px",
        partial(_doubled, "big"),
        {"not called sound": 99.5, "decided": 97, "size within 0.5 px, of those found": 95},
    ),
    Group("mid", "stitch, lifted by 2 to 5 px", partial(_doubled, "mid"), {"found": 97}),
    Group("small", "stitch, lifted by 1 to 2 px", partial(_doubled, "small"), {"found": 50}),
    Group(
        "part",
        "stitch, lifted by 5 to 20 px over 15 % of the stitch",
        partial(_doubled, "part"),
        {"found": 97, "ends within 5 mm, of those found": 97},
    ),
    Group("step", "stitch, a gain of 2.5 to 6 % between the cameras", _stepped),
    Group("shift", "stitch, one view 0.7 to 4 px higher or lower", _shifted),
    Group(
        "named",
        "stitch of sound surfaces that look like doubling (made of no pictures)",
        _named,
        {f"{name}, no wrong fault": 99 for name in SOUND},
    ),
)
