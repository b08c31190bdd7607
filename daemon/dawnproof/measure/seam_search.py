"""Finds the stitch within its tolerance by what doubling would explain there, and holds it against the scan's own
columns without a stitch; then follows the displacement along the stitch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .doubling import Evidence, Search, evidence, repeat_strength, templates
from .seam_path import BEGIN_COST, COMMON, LOUDEST, Paths, Spread, deviations, spread_of
from .seam_profile import follow
from .seam_strip import BLOCK_ROWS, Piece, Strip

LEAST_CONTROLS = 90  # columns without a stitch that the stitch is compared with


@dataclass(frozen=True)
class Ground:
    """Where to look: rows and columns of the work, px, and the columns the stitch may lie in."""

    rows: range
    columns: range
    stitch: range


@dataclass(frozen=True)
class Sample:
    """Displacement in the block of rows from `row`: px, None where none was found; `strength`: deviations above
    chance that the block alone shows; `promise`: how many a displacement of NEEDED_PX would show there."""

    row: int
    px: float | None
    strength: float
    promise: float


@dataclass(frozen=True)
class Suspect:
    """The column that doubling would explain best. `score` is compared with `rival`, the highest of the columns
    without a stitch; `promise` is the score that a displacement of NEEDED_PX all along would have had."""

    column: int
    blend_px: float
    score: float
    rival: float
    promise: float
    controls: int
    samples: tuple[Sample, ...]


NEEDED_PX = 5.0


def find(own: list[Strip], controls: list[Strip], ground: Ground) -> Suspect | None:
    """The best suspect among the columns of `ground.stitch`; None when nothing can be compared there."""
    search = own[0].search
    seam_parts = [_Part(strip, ground.columns, ground.stitch) for strip in own]
    other_parts = [_Part(strip, ground.columns, None) for strip in controls]
    seam_columns = np.concatenate([part.columns for part in seam_parts])
    other_columns = np.concatenate([part.columns for part in other_parts]) if other_parts else np.zeros(0, np.int64)
    rows = _shared_rows([part for part in seam_parts + other_parts if len(part.columns)], ground.rows)
    if not rows or not len(seam_columns) or len(other_columns) < LEAST_CONTROLS:
        return None
    paths, chances = Paths(search, len(seam_columns) + len(other_columns)), []
    for row in rows:
        at_seam = np.concatenate([part.evidence(row) for part in seam_parts], axis=-1)
        elsewhere = np.concatenate([part.evidence(row) for part in other_parts], axis=-1)
        chance = spread_of(elsewhere)
        chances.append(chance)
        paths.add(deviations(np.concatenate([at_seam, elsewhere], axis=-1), chance))
    best = paths.best() - BEGIN_COST
    blend, place = np.unravel_index(int(best[:, : len(seam_columns)].argmax()), (len(best), len(seam_columns)))
    column = int(seam_columns[place])
    strip = next(part.strip for part in seam_parts if column in part.strip.columns)
    chance = _mean(chances)
    samples = _along(strip, column, int(blend), chance, ground.rows)
    reach = max((s.px or 0.0) for s in samples) + search.blends_px[blend] / 2 + 8 if samples else 0.0
    away = np.abs(other_columns - column) > reach
    rivals = best[:, len(seam_columns) :][:, away]
    return Suspect(
        column=column,
        blend_px=search.blends_px[blend],
        score=float(best[blend, place]),
        rival=float(rivals.max()) if rivals.size else 0.0,
        promise=_promise(strip, chance, rows),
        controls=int(away.sum()),
        samples=samples,
    )


class _Part:
    """A strip's evidence for those of its columns that are wanted."""

    def __init__(self, strip: Strip, work: range, stitch: range | None) -> None:
        inside = [c for c in strip.columns if c in work and (stitch is None or c in stitch)]
        self.strip = strip
        self.columns = np.asarray(inside, dtype=np.int64)
        self.pieces = {piece.row: piece for piece in strip.pieces}

    def evidence(self, row: int) -> Evidence:
        whole = evidence(self.pieces[row].products.astype(np.float32), self.strip.search)
        return whole[..., self.columns - self.strip.columns.start]


def _shared_rows(parts: list[_Part], rows: range) -> list[int]:
    shared = set.intersection(*[set(part.pieces) for part in parts]) if parts else set()
    return sorted(row for row in shared if row >= rows.start and row + BLOCK_ROWS <= rows.stop)


def _mean(chances: list[Spread]) -> Spread:
    return Spread(
        np.mean([c.middle for c in chances], axis=0, dtype=np.float32),
        np.sqrt(np.mean([c.deviation**2 for c in chances], axis=0, dtype=np.float32)),
    )


def _along(strip: Strip, column: int, blend: int, chance: Spread, rows: range) -> tuple[Sample, ...]:
    """The displacement along the stitch, from all pieces of the strip within the rows."""
    search = strip.search
    pieces = [p for p in strip.pieces if p.row >= rows.start and p.row + BLOCK_ROWS <= rows.stop]
    if not pieces:
        return ()
    first = column - strip.first - search.margin
    shape = templates(search)[blend]
    window = np.stack([p.products[:, first : first + shape.shape[1]].astype(np.float32) for p in pieces])
    blocks = np.einsum("klx,lx->kl", window, shape)
    blocks = (blocks - chance.middle[blend, :, 0]) / chance.deviation[blend, :, 0]
    return tuple(
        Sample(piece.row, step.px, step.strength, _promised(piece, search, blend, chance))
        for piece, step in zip(pieces, follow(blocks, search.lags_px), strict=True)
    )


def _promised(piece: Piece, search: Search, blend: int, chance: Spread) -> float:
    """Deviations above chance that NEEDED_PX would show in this piece, by its noise."""
    lag = int(np.argmin(np.abs(np.asarray(search.lags_px) - NEEDED_PX)))
    strength = repeat_strength(NEEDED_PX, search.blends_px[blend])
    return BLOCK_ROWS * piece.energy * piece.agreement * strength / float(chance.deviation[blend, lag, 0])


def _promise(strip: Strip, chance: Spread, rows: list[int]) -> float:
    """The path score that NEEDED_PX all along would have had, at the blend width where it shows least."""
    wanted = set(rows)
    pieces = [piece for piece in strip.pieces if piece.row in wanted]
    scores = []
    for blend in range(len(strip.search.blends_px)):
        each = [min(_promised(piece, strip.search, blend, chance), LOUDEST) - COMMON for piece in pieces]
        scores.append(sum(max(gain, 0.0) for gain in each))
    return float(min(scores, default=0.0))
