"""The one budget of false alarms: whole sound scans through reader, all checks and policy, and how many would go to
rework wrongly.

    python tests/bench/eye_jobs.py FOLDER ... [--textures FOLDER ...] [--seeds A:B] [--kinds NAME,...]
                                   [--out results.jsonl] [--keep FOLDER] [--report] [--scale S]

FOLDER: pictures works are made of. Each seed is one scan of the kinds of `job_scenes.py` in turn, written as a TIFF,
measured as `examine` does and judged by the shipped book 'fine-art' with a profile of its bed. `--out` adds one line a
scan and leaves out seeds that are there already, so a long run can be ended and taken up again; `--report` only prints
what is there. Rates come with Wilson's 95 % interval; every scan that would go to rework is named.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2] / "daemon"), str(HERE.parents[1]), str(HERE.parent)]
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import job_scenes  # type: ignore[import-not-found]  # noqa: E402
import scans  # noqa: E402
from eye_zones import Rate  # type: ignore[import-not-found]  # noqa: E402

from dawnproof.model import Finding, Level  # noqa: E402
from dawnproof.naming import outer_sides  # noqa: E402
from dawnproof.policy import Context, judge_scan  # noqa: E402
from dawnproof.rulebook import RuleBook, load_book  # noqa: E402
from dawnproof.workers.asks import Ask  # noqa: E402
from dawnproof.workers.measuring import measure_scan  # noqa: E402

PROFILE = HERE.parents[1] / "data" / "icc" / "sRGB-v4.icc"
SUFFIXES = {".png", ".jpg", ".jpeg", ".tif", ".tiff"}


@cache
def _book() -> RuleBook:
    return load_book("fine-art")


def examined(job: job_scenes.Job, path: Path) -> tuple[Finding, ...]:
    """What the whole way from file to findings says of a scan."""
    scans.write_tiff(path, job.scan, icc=PROFILE.read_bytes())
    frame, book = job.scan.frame, _book()
    measured = measure_scan(Ask(str(path), frame.bed, outer_sides(job.part)))
    context = Context(width_px=frame.width_px, height_px=frame.height_px, ppi=frame.ppi_x, whole=job.part == "whole")
    return judge_scan(measured.readings, book, context)


def entry(seed: int, job: job_scenes.Job, findings: tuple[Finding, ...]) -> dict[str, Any]:
    said: dict[str, list[str]] = {level.value: [] for level in Level if level is not Level.SOUND}
    for finding in findings:
        if finding.level is not Level.SOUND and (finding.level is not Level.UNDECIDED or finding.asked):
            said[finding.level.value].append(f"{finding.check}.{finding.name}: {finding.text}")
    return {"seed": seed, "kind": job.kind, "told": job.told, **said}


def run(
    chosen: job_scenes.Set, seeds: range, kinds: tuple[str, ...], scale: float, keep: Path | None
) -> Iterator[dict[str, Any]]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "SL-0700_whole.tif"
        for seed in seeds:
            job = job_scenes.make(chosen, seed, kinds[seed % len(kinds)], scale)
            told = entry(seed, job, examined(job, path))
            if keep is not None and told["fault"]:
                keep.mkdir(parents=True, exist_ok=True)
                path.rename(keep / f"{seed}_{job.kind.replace(' ', '-')}.tif")
            yield told


def report(entries: list[dict[str, Any]]) -> None:
    every = Rate("sound scans not sent to rework")
    kinds = {kind: Rate(f"  {kind}") for kind in sorted({e["kind"] for e in entries})}
    for each in entries:
        for rate in (every, kinds[each["kind"]]):
            rate.add(not each["fault"], f"{each['told']}: {'; '.join(each['fault'])}")
    print(f"aim: at most 1 % wrongly to rework\n{every.line()}")
    for rate in kinds.values():
        print(rate.line())
    print("\nwrongly sent to rework:", *every.misses or ["none"], sep="\n  ")
    for level in ("fault", "note", "undecided"):
        named = Counter(text.split(":")[0] for each in entries for text in each[level])
        print(f"\n{level}s, of {len(entries)} scans:")
        for name, count in named.most_common():
            where = Counter(e["kind"] for e in entries if any(t.split(":")[0] == name for t in e[level]))
            print(f"  {name:24s} {count:4d}  {', '.join(f'{kind} {n}' for kind, n in where.most_common(5))}")


def _images(folders: list[Path]) -> tuple[Path, ...]:
    return tuple(p for folder in folders for p in sorted(folder.iterdir()) if p.suffix.lower() in SUFFIXES)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("pictures", nargs="+", type=Path)
    parser.add_argument("--textures", nargs="*", type=Path, default=[HERE.parents[1] / "data" / "textures"])
    parser.add_argument("--seeds", default="0:24")
    parser.add_argument("--kinds", default=",".join(job_scenes.KINDS).replace("half, run", "half; run"))
    parser.add_argument("--out", type=Path)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--report", action="store_true")
    parser.add_argument("--scale", type=float, default=1.0, help="of the usual 3000 to 4400 px of width")
    asked = parser.parse_args()
    first, past = map(int, asked.seeds.split(":"))
    kinds = tuple(kind.replace(";", ",") for kind in asked.kinds.split(","))
    done = [json.loads(line) for line in asked.out.read_text().splitlines()] if asked.out and asked.out.exists() else []
    entries = [e for e in done if first <= e["seed"] < past]
    if not asked.report:
        chosen = job_scenes.Set(_images(asked.pictures), _images(asked.textures))
        there = {e["seed"] for e in entries}
        for seed in (s for s in range(first, past) if s not in there):
            for told in run(chosen, range(seed, seed + 1), kinds, asked.scale, asked.keep):
                entries.append(told)
                if asked.out:
                    with asked.out.open("a", encoding="utf-8") as lines:
                        lines.write(json.dumps(told) + "\n")
    report(entries)


if __name__ == "__main__":
    main()
