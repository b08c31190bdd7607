"""The one budget of false alarms: whole sound scans through reader, all checks and policy, and how many would go to
rework wrongly.

    python tests/bench/eye_jobs.py FOLDER [TEXTURES ...] [--seeds A:B] [--kinds NAME,...]
                                   [--out results.jsonl] [--keep FOLDER] [--report] [--scale S]

FOLDER: pictures works are made of. Each seed is one scan of the kinds of `job_scenes.py` in turn, written as a TIFF,
measured as `examine` does and judged by the shipped book 'fine-art' with a profile of its bed. `--out` adds one line a
scan and leaves out seeds that are there already, so a long run can be ended and taken up again; `--report` only prints
what is there. Rates come with Wilson's 95 % interval; every scan that would go to rework is named. `eye.py` prints the
same rates as a part of its table.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS.parent / "daemon"), str(TESTS)]
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import scans  # noqa: E402
from bench import job_scenes  # noqa: E402
from bench.eye_pictures import PROFILE, Pictures, picture_sets  # noqa: E402
from bench.rates import Group, Options, Trial, counted, seeds_of, show  # noqa: E402

from dawnproof.model import Finding, Level  # noqa: E402
from dawnproof.naming import outer_sides  # noqa: E402
from dawnproof.policy import Context, judge_scan  # noqa: E402
from dawnproof.rulebook import RuleBook, load_book  # noqa: E402
from dawnproof.workers.asks import Ask  # noqa: E402
from dawnproof.workers.measuring import measure_scan  # noqa: E402

EVERY = "sound jobs not sent to rework"


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
    pictures: Pictures, seeds: Iterable[int], kinds: tuple[str, ...], scale: float
) -> Iterator[tuple[dict[str, Any], scans.Scan]]:
    chosen = job_scenes.Set(pictures.works, pictures.textures)
    with tempfile.TemporaryDirectory() as folder:
        for seed in seeds:
            job = job_scenes.make(chosen, seed, kinds[seed % len(kinds)], scale)
            yield entry(seed, job, examined(job, Path(folder) / "SL-0700_whole.tif")), job.scan


def judged(told: dict[str, Any], scan: scans.Scan | None = None) -> Iterator[Trial]:
    """Among all jobs, and among those of its kind."""
    sound, text = not told["fault"], f"{told['told']}: {'; '.join(told['fault'])}"
    yield Trial(EVERY, sound, text, scan)
    yield Trial(told["kind"], sound, text)


def _trials(pictures: Pictures, seeds: range, _: Options) -> Iterator[Trial]:
    for told, scan in run(pictures, seeds, job_scenes.KINDS, 1.0):
        yield from judged(told, scan)


def report(entries: list[dict[str, Any]]) -> None:
    show(GROUPS[0], counted(GROUPS[0], (trial for told in entries for trial in judged(told))))
    for level in ("fault", "note", "undecided"):
        named = Counter(text.split(":")[0] for each in entries for text in each[level])
        print(f"\n{level}s, of {len(entries)} scans:")
        for name, count in named.most_common():
            where = Counter(e["kind"] for e in entries if any(t.split(":")[0] == name for t in e[level]))
            print(f"  {name:24s} {count:4d}  {', '.join(f'{kind} {n}' for kind, n in where.most_common(5))}")


GROUPS = (
    Group("jobs", "whole sound jobs through reader, all checks and policy, the one budget", _trials, {EVERY: 99}),
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--seeds", type=seeds_of, default="0:24")
    parser.add_argument("--kinds", default=",".join(job_scenes.KINDS).replace("half, run", "half; run"))
    parser.add_argument("--out", type=Path)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--report", action="store_true")
    parser.add_argument("--scale", type=float, default=1.0, help="of the usual 3000 to 4400 px of width")
    asked = parser.parse_args()
    kinds = tuple(kind.replace(";", ",") for kind in asked.kinds.split(","))
    done = [json.loads(line) for line in asked.out.read_text().splitlines()] if asked.out and asked.out.exists() else []
    entries = [e for e in done if e["seed"] in asked.seeds]
    if not asked.report:
        (pictures,) = picture_sets(asked.folders)
        left = [seed for seed in asked.seeds if seed not in {e["seed"] for e in entries}]
        for told, scan in run(pictures, left, kinds, asked.scale):
            entries.append(told)
            counted(GROUPS[0], judged(told, scan), asked.keep)
            if asked.out:
                with asked.out.open("a", encoding="utf-8") as lines:
                    lines.write(json.dumps(told) + "\n")
    report(entries)


if __name__ == "__main__":
    main()
