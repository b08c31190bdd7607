"""What is fixed to the bed and not to the work: streaks of the sensor, dust, the grain of the lid. It stands at the
same place in every part, so it must not be compared when parts are laid on one another."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from .view import Grey, View

_AROUND_PX = 6.0
_OUTSTANDING = 5.0  # times its own expected error: what counts as a streak
_FILL_PX = 6.0


def streaks_of(view: View) -> Grey:
    """(columns of the part as scanned,) grey by which each column stands out from those around it all along the
    travel, 0 where it does not plainly."""
    made: Grey = view.remembered("streaks", lambda: _streaks(view))
    return made


def _streaks(view: View) -> Grey:
    grey = view.lines()
    high = grey - cv2.GaussianBlur(grey, (0, 0), sigmaX=_AROUND_PX, sigmaY=1e-3)
    usual = np.median(high, axis=0)
    error = 1.4826 * np.median(np.abs(high - usual), axis=0) * 1.25 / np.sqrt(len(grey))
    return np.where(np.abs(usual) > _OUTSTANDING * np.maximum(error, 1e-5), usual, 0.0).astype(np.float32)


def without_streaks(found: Grey, view: View, x: int, y: int, level: int) -> Grey:
    """A piece of the view, its corner at `x`, `y` in level pixels, without the streaks."""
    profile = streaks_of(view)
    if not profile.any():
        return found
    rows, columns = found.shape
    along = view.turns % 2 == 0
    start, count = (x, columns) if along else (y, rows)
    whole = profile if view.turns in (0, 3) else profile[::-1]
    piece = whole[start * level : (start + count) * level].reshape(count, level).mean(axis=1)
    return np.asarray(found - (piece[None, :] if along else piece[:, None]), dtype=np.float32)


def without_marks(found: Grey, view: View, x: int, y: int, level: int) -> Grey:
    """A piece of the view with the marks hidden there filled with what is around them."""
    if view.hidden is None:
        return found
    factor, marks = view.hidden
    rows, columns = found.shape
    across, down = ((start + np.arange(n)) * level // factor for start, n in ((x, columns), (y, rows)))
    hidden = marks[np.minimum(down, marks.shape[0] - 1)][:, np.minimum(across, marks.shape[1] - 1)]
    if not hidden.any():
        return found
    return _filled(found, hidden)


def _filled(found: Grey, hidden: npt.NDArray[np.bool_]) -> Grey:
    seen = (~hidden).astype(np.float32)
    weight = cv2.GaussianBlur(seen, (0, 0), _FILL_PX)
    around = cv2.GaussianBlur(found * seen, (0, 0), _FILL_PX) / np.maximum(weight, 1e-6)
    middle = float(found[~hidden].mean()) if seen.any() else float(found.mean())
    return np.asarray(np.where(hidden, np.where(weight > 1e-3, around, middle), found), dtype=np.float32)
