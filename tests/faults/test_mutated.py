"""Row 20, by numbers: sound TIFFs with bytes changed at random, through real children. Each ends as readings or as a
reason; no child hangs, the pool lives. 100 by default, 2000 with --sweep; a seed that fails is printed."""

from __future__ import annotations

import io
import time
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import numpy as np
import tifffile

from dawnproof.errors import ScanError
from dawnproof.model import Bed, Measured
from dawnproof.workers.asks import Ask
from dawnproof.workers.measuring import measure_scan
from dawnproof.workers.pool import Pool

KINDS: tuple[dict[str, Any], ...] = (
    {}, {"compression": "lzw", "rowsperstrip": 8}, {"compression": "zlib", "tile": (32, 32)}, {"bigtiff": True},
    {"byteorder": ">", "planarconfig": "separate"}, {"compression": "zstd", "predictor": True},
)  # fmt: skip
BED = Bed("bed-a", 600.0, 450.0)
LIMIT_S = 20.0


def mutated(seed: int) -> bytes:
    """A small sound TIFF with 1 to 12 bytes changed, mostly in its directory, sometimes cut short."""
    rng = np.random.default_rng(seed)
    kind = KINDS[seed % len(KINDS)]
    shape = (3, 48, 64) if "planarconfig" in kind else (48, 64, 3)
    pixels = rng.integers(0, 65535, shape, dtype=np.uint16)
    out = io.BytesIO()
    tifffile.imwrite(out, pixels, photometric="rgb", resolution=(400, 400), metadata=None, **kind)
    data = bytearray(out.getvalue())
    head = min(len(data), 512)
    for _ in range(int(rng.integers(1, 13))):
        at = int(rng.integers(0, head)) if rng.random() < 0.85 else int(rng.integers(0, len(data)))
        data[at] = int(rng.choice([0, 1, 0x7F, 0x80, 0xFF, int(rng.integers(0, 256))]))
    return bytes(data[: int(rng.integers(8, len(data)))] if rng.random() < 0.1 else data)


def test_whatever_bytes_come(tmp_path: Path, sweep: bool) -> None:
    pool = Pool(2, 4000, LIMIT_S, 200)
    refused = measured = 0
    seeds = range(2000 if sweep else 100)
    running: dict[int, tuple[Future[Measured], float, Path]] = {}
    try:
        for seed in seeds:
            path = tmp_path / f"{seed}.tif"
            path.write_bytes(mutated(seed))
            running[seed] = (
                pool.submit("measuring", path.name, measure_scan, Ask(str(path), BED)),
                time.monotonic(),
                path,
            )
            while len(running) >= 8 or (seed == seeds[-1] and running):
                pool.watch()
                for done in [s for s, (future, _, _) in running.items() if future.done()]:
                    future, begun, where = running.pop(done)
                    where.unlink()
                    assert time.monotonic() - begun < 4 * LIMIT_S, f"seed {done}"
                    error = future.exception()
                    refused += error is not None
                    measured += error is None
                    assert error is None or isinstance(error, ScanError), f"seed {done}: {error!r}"
                    assert error is None or len(str(error)) > 15, f"seed {done}: no reason: {str(error)!r}"
                time.sleep(0.01)
    finally:
        pool.close(wait=False)
    print(f"seeds {seeds.start} to {seeds.stop - 1}: {measured} measured, {refused} refused with a reason")
    assert measured + refused == len(seeds)
