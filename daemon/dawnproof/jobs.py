"""Grouping and the life of a job: which take counts for each part, what is missing, and what to do now. Pure: the
time comes in as an argument."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import Enum

from .model import ListedJob, Place, Role, ScanRow
from .naming import count_place, grid_place, job_key, job_spelling
from .rulebook import Jobs

LIST_COLUMNS = ("job", "width_mm", "height_mm", "medium", "print_mm", "due", "hold", "handling", "up", "parts")
NO_WORDS = {"", "no", "n", "0", "false", "-"}


class Step(Enum):
    """What a job wants done now."""

    WAIT = "wait"  # parts still to come, or quiet not long enough
    SAY_UNFINISHED = "say unfinished"  # waited long enough to say so; it stays
    JUDGE = "judge"  # complete: join, crop, file
    GIVE_UP = "give up"  # unfinished for too long: to rework as it stands
    DOUBLED = "doubled"  # two scans claim the same part and take: a person must say which
    NOTHING = "nothing"  # all its scans have their outcome


@dataclass(frozen=True, slots=True)
class Standing:
    """A job's parts as they stand. `used` the scan that counts for each part, `superseded` lower takes, `strangers`
    newer takes that show another picture and so supersede nothing, `doubled` labels claimed twice, `missing`
    labels, `contradiction` a sentence or ''."""

    used: tuple[ScanRow, ...]
    superseded: tuple[ScanRow, ...]
    strangers: tuple[ScanRow, ...]
    doubled: tuple[str, ...]
    missing: tuple[str, ...]
    contradiction: str
    grid: tuple[int, int] | None

    @property
    def parts(self) -> tuple[ScanRow, ...]:
        """The used scans that show the work itself."""
        return tuple(row for row in self.used if _role(row) is Role.WORK)


@dataclass(frozen=True, slots=True)
class Wanted:
    """The next step, what it waits for in words, and when it becomes due."""

    step: Step
    waits_for: str = ""
    due: datetime | None = None


def part_key(row: ScanRow) -> str:
    """The part a scan claims, with its light where the name has one."""
    if row.name is None:
        return ""
    return f"{row.name.part}@{row.name.light}" if row.name.light else row.name.part


def standing(scans: Iterable[ScanRow], listed: ListedJob | None = None) -> Standing:
    """Which scan counts for each part. Closed and unplaced scans do not count; of equal takes the part is doubled."""
    counted = [r for r in scans if r.name and r.place in {Place.INBOX, Place.ARCHIVE, Place.REWORK}]
    groups: dict[str, list[ScanRow]] = {}
    for row in counted:
        groups.setdefault(part_key(row), []).append(row)
    used, superseded, strangers, doubled = [], [], [], []
    for key in sorted(groups, key=_part_order):
        rows = sorted(groups[key], key=lambda r: (_take(r), r.admitted_utc, r.id))
        own = [r for r in rows if not is_stranger(r)]
        if not own:
            strangers += rows
            continue
        waiting = [r for r in own if r.place is not Place.ARCHIVE and _take(r) == _take(own[-1])]
        if len({r.sha256 for r in waiting}) > 1:
            doubled.append(key)
        used.append(own[-1])
        superseded += [r for r in rows if r is not own[-1] and _take(r) <= _take(own[-1])]
        strangers += [r for r in rows if is_stranger(r) and _take(r) > _take(own[-1])]
    work = [r for r in used if _role(r) is Role.WORK]
    return Standing(
        tuple(used), tuple(superseded), tuple(strangers), tuple(doubled), _missing(work, listed), _contradiction(work),
        _grid([r.name.part for r in work if r.name]),
    )  # fmt: skip


def of_one_session(state: Standing, hours: float) -> tuple[ScanRow, ...]:
    """The takes to be tried before the highest ones where these came more than `hours` apart: of every part the highest
    take that came within `hours` of the newest scan. () where there is nothing else to be tried.

    A higher take supersedes a lower one, and that holds whenever the job has had an outcome: a take filed to rework or
    archive was scanned again for a reason and never comes back by itself. Only among takes that are all still held in
    the inbox, because the job waited, may the session decide, for there names can be out of step with the clock. The
    newest session is the one tried; an older one never takes the place of what was scanned since. The caller leaves
    out a set whose older takes carry a fault, and says plainly which take was used.
    """
    held = [r for r in (*state.parts, *state.superseded) if r.place is Place.INBOX and _role(r) is Role.WORK]
    if len(state.parts) < 2 or not held:
        return ()
    newest, span = max(map(_came, held)), timedelta(hours=hours)
    if newest - min(map(_came, state.parts)) <= span:
        return ()
    chosen = []
    for row in state.parts:
        takes = [r for r in held if part_key(r) == part_key(row)] if row.place is Place.INBOX else []
        near = [r for r in (*takes, row) if newest - _came(r) <= span]
        if not near:
            return ()
        chosen.append(max(near, key=_take))
    return tuple(chosen)


def with_takes(state: Standing, scans: Collection[int]) -> Standing:
    """The same standing when these scans, by their ids, were used for their parts."""
    chosen = {part_key(r): r for r in (*state.used, *state.superseded) if r.id in scans}
    used = tuple(chosen.get(part_key(r), r) for r in state.used)
    rest = tuple(r for r in (*state.superseded, *state.used) if r not in used)
    return replace(state, used=used, superseded=rest)


def _came(row: ScanRow) -> datetime:
    return datetime.fromisoformat(row.admitted_utc)


def is_stranger(row: ScanRow) -> bool:
    """Whether this take shows another picture than the one it would supersede."""
    return any((f.check, f.name) == ("job", "other_picture") for f in row.findings)


def wanted(scans: Sequence[ScanRow], rules: Jobs, now: datetime, listed: ListedJob | None = None,
           idle: bool = False, said: bool = False) -> Wanted:  # fmt: skip
    """What the job wants done at `now` (UTC). `idle`: nothing more will come, judge as it stands. `said`: it was
    already said to be unfinished."""
    fresh = [r for r in scans if r.place is Place.INBOX and r.name]
    if not fresh:
        return Wanted(Step.NOTHING)
    state = standing(scans, listed)
    last = max(datetime.fromisoformat(r.admitted_utc) for r in fresh)
    if state.doubled:
        return Wanted(Step.DOUBLED)
    if not state.missing:
        quiet = last + timedelta(minutes=rules.grid_quiet_min)
        open_grid = state.grid is not None and not (listed and listed.parts)
        if idle or not open_grid or now >= quiet:
            return Wanted(Step.JUDGE)
        return Wanted(Step.WAIT, "quiet, in case more rows or columns come", quiet)
    names = "part " + ", ".join(state.missing) if len(state.missing) == 1 else "parts " + ", ".join(state.missing)
    give_up = last + timedelta(hours=rules.unfinished_h)
    say = last + timedelta(minutes=rules.wait_min)
    if idle or now >= give_up:
        return Wanted(Step.GIVE_UP, names)
    if now >= say and not said:
        return Wanted(Step.SAY_UNFINISHED, names, give_up)
    return Wanted(Step.WAIT, names, give_up if said else say)


def read_job_list(text: str) -> tuple[dict[str, ListedJob], tuple[str, ...]]:
    """The job list (CSV with a header) by job key, and what could not be understood, a sentence a line."""
    rows = csv.DictReader(io.StringIO(text.lstrip("\ufeff")), skipinitialspace=True)
    found: dict[str, ListedJob] = {}
    problems: list[str] = []
    if rows.fieldnames is not None and "job" not in [f.strip() for f in rows.fieldnames if f]:
        return {}, (f"jobs.csv has no column 'job'; its first line must be {','.join(LIST_COLUMNS)}",)
    for row in rows:
        cells = {(k or "").strip(): (v or "").strip() if isinstance(v, str) else "" for k, v in row.items()}
        number = cells.get("job", "")
        if not number or number.startswith("#"):
            continue
        line = _listed(number, cells, problems, rows.line_num)
        if job_key(number) in found:
            problems.append(f"jobs.csv line {rows.line_num}: {number} stands twice; the first line counts")
        else:
            found[job_key(number)] = line
    return found, tuple(problems)


def _listed(number: str, cells: dict[str, str], problems: list[str], line: int) -> ListedJob:
    sizes: dict[str, float | None] = {}
    for column in ("width_mm", "height_mm", "print_mm"):
        cell = cells.get(column, "").replace(",", ".")
        try:
            sizes[column] = float(cell) if cell else None
            if sizes[column] is not None and not 0 < float(cell) < 100_000:
                raise ValueError
        except ValueError:
            sizes[column] = None
            problems.append(f"jobs.csv line {line}: {column} {cell!r} is not a length in mm; it is left out")
    hold = cells.get("hold", "")
    parts = tuple(_part_label(p) for p in re.split(r"[\s;+/]+", cells.get("parts", "")) if p)
    return ListedJob(job_spelling(number), sizes["width_mm"], sizes["height_mm"], cells.get("medium", ""),
                     sizes["print_mm"], cells.get("due", ""), "" if hold.casefold() in NO_WORDS else hold,
                     cells.get("handling", ""),
                     cells.get("up", ""), _counted_parts(parts))  # fmt: skip


def _part_label(word: str) -> str:
    upper = word.upper()
    return upper if upper in {"L", "R", "T", "B"} else word.lower()


def _counted_parts(parts: tuple[str, ...]) -> tuple[str, ...]:
    """A plain number means so many parts: 1 is the whole, 2 any two halves, otherwise k of n."""
    if len(parts) == 1 and parts[0].isdigit():
        count = int(parts[0])
        return ("whole",) if count <= 1 else (f"#{count}",)
    grid = re.fullmatch(r"(\d+)x(\d+)", parts[0]) if len(parts) == 1 else None
    if grid:
        return tuple(f"r{r}c{c}" for r in range(1, int(grid[1]) + 1) for c in range(1, int(grid[2]) + 1))
    return parts


def _missing(work: Sequence[ScanRow], listed: ListedJob | None) -> tuple[str, ...]:
    missing: list[str] = []
    for light in sorted({r.name.light for r in work if r.name}) or [""]:
        have = [r.name.part for r in work if r.name and r.name.light == light]
        suffix = f" ({light})" if light else ""
        missing += [part + suffix for part in _missing_of(have, listed)]
    return tuple(missing)


def _missing_of(have: Sequence[str], listed: ListedJob | None) -> list[str]:
    if listed and listed.parts:
        counted = re.fullmatch(r"#(\d+)", listed.parts[0])
        if counted:
            short = int(counted[1]) - len(have)
            return [f"{short} more of {counted[1]}"] if short > 0 else []
        return [p for p in listed.parts if p not in have]
    if not have:
        return ["whole"]
    counts = [c for c in map(count_place, have) if c]
    if counts:
        total = max(n for _, n in counts)
        return [f"{k}of{total}" for k in range(1, total + 1) if k not in {c for c, _ in counts}]
    grid = _grid(have)
    if grid:
        cells = [f"r{r}c{c}" for r in range(1, grid[0] + 1) for c in range(1, grid[1] + 1)]
        # one cell alone is no grid yet: at least one neighbour must come
        return [c for c in cells if c not in have] or (["r1c2 or r2c1"] if len(cells) == 1 else [])
    for one, other in (("L", "R"), ("T", "B")):
        if one in have or other in have:
            return [p for p in (one, other) if p not in have]
    return []


def _contradiction(work: Sequence[ScanRow]) -> str:
    """Parts that cannot belong to one job by their names."""
    for light in {r.name.light for r in work if r.name}:
        labels = [r.name.part for r in work if r.name and r.name.light == light]
        families = {_family(p) for p in labels}
        if len(families) > 1:
            return f"{', '.join(sorted(labels, key=_part_order))} do not go together"
    return ""


def beds_differ(parts: Sequence[ScanRow]) -> str:
    """In what scans of one light from different beds differ so that they cannot be one work; '' where in nothing.
    Stitch, lid and parallax are looked after part by part; the colour profile, resolution and depth are not."""
    for light in sorted({r.name.light for r in parts if r.name}):
        rows = [r for r in parts if r.name and r.name.light == light and r.measured]
        first = next(iter(rows), None)
        other = next((r for r in rows if first and r.bed != first.bed and _settings(r) != _settings(first)), None)
        if first is not None and other is not None:
            return f"{_set_up(first)}, {_set_up(other)}"
    return ""


def _settings(row: ScanRow) -> tuple[object, ...]:
    found = row.measured
    if found is None:
        return ()
    return (found.icc_sha256, round(found.ppi_x or 0), round(found.ppi_y or 0), found.depth_bits, found.channels)


def _set_up(row: ScanRow) -> str:
    part, found = row.name.part if row.name else row.file, row.measured
    if found is None:
        return f"part {part} from {row.bed}"
    ppi = f"{found.ppi_x:.0f} ppi" if found.ppi_x else "no usable resolution"
    return (f"part {part} from {row.bed} has {ppi}, {found.depth_bits} bits, {found.channels} channels, profile "
            f"{found.profile or 'none'}")  # fmt: skip


def _family(part: str) -> str:
    count = count_place(part)
    if count:
        return f"of{count[1]}"
    if grid_place(part):
        return "grid"
    return "LR" if part in {"L", "R"} else "TB" if part in {"T", "B"} else part


def _grid(parts: Sequence[str]) -> tuple[int, int] | None:
    cells = [c for c in map(grid_place, parts) if c]
    return (max(r for r, _ in cells), max(c for _, c in cells)) if cells else None


def _role(row: ScanRow) -> Role:
    return row.name.role if row.name else Role.WORK


def _take(row: ScanRow) -> int:
    return row.name.take if row.name else 1


def _part_order(key: str) -> tuple[str, int, int, str]:
    part = key.split("@")[0]
    cell = grid_place(part) or count_place(part) or (0, 0)
    order = {"whole": 0, "L": 1, "T": 1, "R": 2, "B": 2}.get(part, 3)
    return (key.partition("@")[2], order, cell[0] * 100 + cell[1], part)
