"""What is fixed to the bed and not to the work: streaks of the sensor, dust, the grain of the lid. It stands at the
same place in every part, so it must not be compared when parts are laid on one another."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from .view import Grey, View

_AROUND_PX = 6.0
_OUTSTANDING = 5.0  # times its own expected error: what counts as a streak
_ASIDE, _ROUNDS = 0.5, 3  # of the strongest streak near by: its neighbours are not streaks yet
_FILL_PX = 6.0
_MOST_STREAKED = 0.15  # of the columns


def streaks_of(view: View) -> Grey:
    """(columns of the part as scanned,) grey by which each column stands out from those around it all along the
    travel, 0 where it does not plainly."""
    made: Grey = view.remembered("streaks", lambda: _streaks(view))
    return made


def _streaks(view: View) -> Grey:
    """What is around a streak is looked at without the streak, or its neighbours would stand out because of it."""
    grey = view.lines()
    plain = np.ones_like(grey)
    found = np.zeros(grey.shape[1], np.float32)
    for _ in range(_ROUNDS):
        around = _along_lines(grey * plain) / np.maximum(_along_lines(plain), 1e-3)
        high = grey - around
        usual = np.median(high, axis=0)
        error = 1.4826 * np.median(np.abs(high - usual), axis=0) * 1.25 / np.sqrt(len(grey))
        found = np.where(np.abs(usual) > _OUTSTANDING * np.maximum(error, 1e-5), usual, 0.0).astype(np.float32)
        size = np.abs(found)[None, :]
        largest = cv2.dilate(size, np.ones((1, int(4 * _AROUND_PX) + 1), np.uint8))
        plain = np.broadcast_to((size < _ASIDE * largest) | (size == 0), grey.shape).astype(np.float32)
    return found


def _along_lines(values: Grey) -> Grey:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), sigmaX=_AROUND_PX, sigmaY=1e-3))


def hide_streaks(first: View, second: View) -> None:
    """What stands out alike at the same columns of both scans is the sensor's, not the work's."""
    ours, theirs = streaks_of(first), streaks_of(second)
    first.streaks = second.streaks = None
    if ours.shape != theirs.shape:
        return
    alike = (ours * theirs > 0) & (np.abs(ours - theirs) < 0.5 * np.maximum(np.abs(ours), np.abs(theirs)))
    first.streaks = second.streaks = np.where(alike, (ours + theirs) / 2, 0.0).astype(np.float32)


def without_streaks(found: Grey, view: View, x: int, y: int, level: int) -> Grey:
    """A piece of the view, its corner at `x`, `y` in level pixels, without the streaks hidden there."""
    profile = view.streaks
    if profile is None or not profile.any():
        return found
    rows, columns = found.shape
    along = view.turns % 2 == 0
    start, count = (x, columns) if along else (y, rows)
    whole = profile if view.turns in (0, 3) else profile[::-1]
    piece = whole[start * level : (start + count) * level].reshape(count, level).mean(axis=1)
    return np.asarray(found - (piece[None, :] if along else piece[:, None]), dtype=np.float32)


def blind_at(view: View, x: int, y: int, columns: int, rows: int, level: int) -> npt.NDArray[np.bool_] | None:
    """(rows, columns) where marks or streaks are hidden in a piece of the view, corner and size in level pixels; None
    where there are none. Beyond the view nothing is hidden."""
    streaked, marked = _streaked_at(view, x, y, columns, rows, level), _marked_at(view, x, y, columns, rows, level)
    if streaked is None or marked is None:
        return marked if streaked is None else streaked
    return np.asarray(streaked | marked)


def _streaked_at(view: View, x: int, y: int, columns: int, rows: int, level: int) -> npt.NDArray[np.bool_] | None:
    """A streak taken off leaves a little of itself, at the same place of the bed. Where streaks are everywhere that
    little must do."""
    profile = view.streaks
    if profile is None or not 0 < np.count_nonzero(profile) < _MOST_STREAKED * len(profile):
        return None
    along = view.turns % 2 == 0
    start, count = (x, columns) if along else (y, rows)
    whole = profile if view.turns in (0, 3) else profile[::-1]
    at = (start + np.arange(count))[:, None] * level + np.arange(level)
    inside = (at >= 0) & (at < len(whole))
    hidden = (inside & (whole[np.clip(at, 0, len(whole) - 1)] != 0)).any(axis=1)
    if not hidden.any():
        return None
    return np.broadcast_to(hidden[None, :] if along else hidden[:, None], (rows, columns))


def _marked_at(view: View, x: int, y: int, columns: int, rows: int, level: int) -> npt.NDArray[np.bool_] | None:
    if view.hidden is None:
        return None
    factor, marks = view.hidden
    across, down = ((start + np.arange(n)) * level // factor for start, n in ((x, columns), (y, rows)))
    inside = ((down >= 0) & (down < marks.shape[0]))[:, None] & ((across >= 0) & (across < marks.shape[1]))[None, :]
    at = marks[np.clip(down, 0, marks.shape[0] - 1)][:, np.clip(across, 0, marks.shape[1] - 1)]
    hidden = inside & at
    return hidden if hidden.any() else None


def without_marks(found: Grey, view: View, x: int, y: int, level: int) -> Grey:
    """A piece of the view with the marks hidden there filled with what is around them."""
    hidden = _marked_at(view, x, y, found.shape[1], found.shape[0], level)
    return found if hidden is None else _filled(found, hidden)


def _filled(found: Grey, hidden: npt.NDArray[np.bool_]) -> Grey:
    seen = (~hidden).astype(np.float32)
    weight = cv2.GaussianBlur(seen, (0, 0), _FILL_PX)
    around = cv2.GaussianBlur(found * seen, (0, 0), _FILL_PX) / np.maximum(weight, 1e-6)
    middle = float(found[~hidden].mean()) if seen.any() else float(found.mean())
    return np.asarray(np.where(hidden, np.where(weight > 1e-3, around, middle), found), dtype=np.float32)
