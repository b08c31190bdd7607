"""`watch`, `look`, `rehearse`: the daemon and its screens."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from . import app
from .studio import HERE, StudioFolder

if TYPE_CHECKING:
    from ..ledger.ledger import Ledger
    from ..model import EventRow, Night
    from ..pipeline.watched import WatchedNight
    from ..service import Service, Tick
    from ..storage.studio import Studio

REFRESH_S = 0.5
SILENT_S = 1.0  # the screen waits no longer for a folder


@app.command()
def watch(
    studio: StudioFolder = HERE,
    until_idle: Annotated[bool, typer.Option("--until-idle", help="Judge what is there, then end.")] = False,
    plain: Annotated[bool, typer.Option("--plain", help="One line an event instead of the dashboard.")] = False,
) -> None:
    """The daemon: waits for whole files, judges, joins, crops and files them.

    Example: dawnproof watch prints
    """
    import sys

    from ..storage.studio import open_studio

    opened = open_studio(studio)
    show = not plain and sys.stdout.isatty()
    run_daemon(opened, until_idle, _Screen(opened) if show else _lines())


@app.command()
def look(studio: StudioFolder = HERE) -> None:
    """The dashboard from another terminal; reads the ledger only and disturbs nothing.

    Example: dawnproof look prints
    """
    import time

    from ..ledger.ledger import Ledger
    from ..storage.studio import open_studio

    opened = open_studio(studio)
    ledger = Ledger.read(opened.ledger_path)
    screen = _Screen(opened)
    try:
        screen.begin(ledger)
        while True:
            screen.draw()
            time.sleep(1.0)
    finally:
        screen.end()
        ledger.close()


@app.command()
def rehearse(
    folder: Annotated[Path | None, typer.Argument(help="An empty folder to play in.", show_default=False)] = None,
) -> None:
    """The demonstration: invented scans with known faults, the real daemon, the summary, injected against found.

    Example: dawnproof rehearse
    """
    import tempfile

    from ..errors import UsageError

    if folder is not None:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise UsageError(f"{folder} is not empty; name a folder that does not exist yet")
        raise typer.Exit(_rehearse(folder))
    with tempfile.TemporaryDirectory(prefix="dawnproof-rehearsal-") as place:
        code = _rehearse(Path(place) / "saltmarsh-lane")
    raise typer.Exit(code)


def run_daemon(studio: Studio, until_idle: bool, screen: Any) -> None:
    """Watch a studio until stopped or idle; `screen` gets the events and the ticks. KeyboardInterrupt, after an end
    in order, when it was interrupted from the keyboard."""
    from datetime import datetime

    from ..ledger.ledger import Ledger
    from ..service import Service
    from ..service.engine import open_engine
    from ..storage.lock import StudioLock
    from ..storage.names import check_archive
    from ..storage.studio import check_local, make_folders

    make_folders(studio)
    check_local(studio.private)
    check_archive(studio)
    lock = StudioLock(studio, datetime.now().astimezone())
    try:
        ledger = Ledger.open(studio.ledger_path)
        engine, news = open_engine(studio.book.work)
        service = Service(studio, ledger, engine, screen.event, screen.tick, until_idle, news=news)
        try:
            with _stopped_by_signals(service):
                screen.begin(ledger)
                service.run()
        finally:
            screen.end()
            if service.still_moving():
                _leave_at_once()
            ledger.close()
    finally:
        lock.release()


def _leave_at_once() -> None:
    """A thread is held by a disk that hangs. An end like that of a kill is safe, and the only one there is; lock and
    ledger stay as they are, so that nobody else begins while the thread may still move something."""
    import os
    import sys

    error = sys.exc_info()[1]
    if error is not None and not isinstance(error, KeyboardInterrupt):
        return
    sys.stdout.flush()
    os._exit(130 if error else 0)


@contextmanager
def _stopped_by_signals(service: Service) -> Iterator[None]:
    """SIGTERM and SIGINT end the service in order; the latter is then raised as KeyboardInterrupt."""
    import signal
    import threading

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []

    def stop(number: int, frame: object) -> None:
        came.append(number)
        service.stop.set()

    before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    if signal.SIGINT in came:
        raise KeyboardInterrupt


def _rehearse(folder: Path) -> int:
    from datetime import date, datetime, timedelta

    from rich.console import Console
    from rich.progress import Progress
    from rich.text import Text

    from .. import __version__
    from ..ledger.ledger import Ledger
    from ..pipeline.decisions import find_job
    from ..pipeline.morning import write_morning
    from ..pipeline.night import view_of
    from ..rehearsal.evening import Daemon
    from ..rehearsal.evening import rehearse as play
    from ..rehearsal.table import result_table
    from ..report.documents import job_document
    from ..storage.studio import open_studio

    def read_job(number: str) -> dict[str, Any]:
        studio = open_studio(folder)
        ledger = Ledger.read(studio.ledger_path)
        try:
            row = find_job(ledger, number)
            view = view_of(studio, ledger, row, ledger.scans_of(row.job), studio.job_list()[0])
            return job_document(view, ledger.moves_of(row.job), __version__, studio.book.name)
        finally:
            ledger.close()

    def summary() -> Any:
        studio = open_studio(folder)
        ledger = Ledger.read(studio.ledger_path)
        now = datetime.now().astimezone()
        try:
            return write_morning(studio, ledger, now - timedelta(hours=2), now, None)
        finally:
            ledger.close()

    console = Console()
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("the evening", total=1.0)
        result = play(
            folder,
            Daemon(
                lambda: run_daemon(open_studio(folder), True, _Lines(quiet=True)),
                read_job,
                lambda: dict(summary().document),
            ),
            _write_scan,
            lambda text, share: bar.update(task, completed=share, description=Text(text).plain[:40].ljust(40)),
            date.today(),
        )
    console.print(Text(summary().text))
    console.print(result_table(result))
    return 0 if result.is_good else 1


def _write_scan(path: Path, pixels: Any, *, ppi: float, icc: bytes) -> None:
    from ..storage.tiff_write import MasterTags, write_master

    rows, columns, channels = pixels.shape
    write_master(path, [pixels], columns, rows, channels, pixels.dtype.itemsize * 8, icc, (ppi, ppi),
                 MasterTags("", (), "an invented scanner"))  # fmt: skip


class _Lines:
    """One clear line an event, for logs and pipes."""

    def __init__(self, quiet: bool = False) -> None:
        self._quiet = quiet

    def begin(self, ledger: Ledger) -> None:
        """Nothing to prepare."""

    def event(self, event: EventRow) -> None:
        from ..report.dashboard import event_line

        if not self._quiet:
            typer.echo(event_line(event).encode("utf-8", "backslashreplace").decode())

    def tick(self, tick: Tick) -> None:
        """Progress is no event."""

    def end(self) -> None:
        """Nothing to put away."""


class _ToJournal(_Lines):
    """One entry an event, with fields of their own, where the service manager keeps a journal."""

    def __init__(self) -> None:
        from ..notice.journal import Journal

        super().__init__()
        self._journal = Journal()

    def event(self, event: EventRow) -> None:
        try:
            self._journal.say(event)
        except OSError:
            super().event(event)

    def end(self) -> None:
        self._journal.close()


def _lines() -> _Lines:
    from ..notice.journal import speaks_to_journal

    return _ToJournal() if speaks_to_journal() else _Lines()


class _Screen:
    """The live dashboard; drawn from the ledger at most twice a second, and only when something may have changed."""

    def __init__(self, studio: Studio) -> None:
        import os
        from datetime import datetime

        from rich.console import Console
        from rich.live import Live

        from ..watch.reach import Reach

        self._studio = studio
        self._reach: Reach[object] = Reach(os.statvfs, SILENT_S)
        self._console = Console()
        self._live = Live(console=self._console, screen=True, auto_refresh=False)
        self._tick: Tick | None = None
        self._drawn_s = 0.0
        self._begun = datetime.now().astimezone()
        self._watched: WatchedNight | None = None
        self._shown: tuple[Night, int, int] | None = None

    def begin(self, ledger: Ledger) -> None:
        from ..pipeline.watched import WatchedNight

        self._watched = WatchedNight(self._studio, ledger, self._begun)
        self._live.start()

    def event(self, event: EventRow) -> None:
        """Shown with the next drawing."""

    def tick(self, tick: Tick) -> None:
        import time

        self._tick = tick
        busy = bool(tick.progress)
        if time.monotonic() - self._drawn_s >= (REFRESH_S if busy else 2.0):
            self._drawn_s = time.monotonic()
            self.draw()

    def draw(self) -> None:
        from datetime import datetime

        from ..model import shown
        from ..report.dashboard import dashboard

        if self._watched is None:
            return
        tick = self._tick
        silent = self._silent()
        alarms = tick.alarms if tick else tuple(f"{shown(str(root))} does not answer" for root in silent)
        night = self._watched.now(datetime.now().astimezone(), tick.progress if tick else (), alarms, not silent)
        shown_now = (night, self._console.width, self._console.height)
        if self._shown is None or self._shown[0] is not night or self._shown[1:] != shown_now[1:]:
            self._live.update(dashboard(*shown_now), refresh=True)
            self._shown = shown_now

    def _silent(self) -> list[Path]:
        """Folders that hang: a screen that asked them would hang with them."""
        return [root for root, answer in self._reach.look_at_all(self._studio.roots()).items() if not answer.answers]

    def end(self) -> None:
        self._live.stop()
        self._reach.close()
