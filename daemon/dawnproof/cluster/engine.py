"""The pool's interface with other computers behind it. Each task goes where it fits; whatever goes wrong there, it goes
elsewhere a few times and is then done here."""

from __future__ import annotations

import asyncio
import pickle
import threading
import time
import uuid
from collections import deque
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import replace
from functools import partial
from typing import Any
from weakref import WeakKeyDictionary

from ..errors import MoveError
from ..model import Progress
from .bringing import bring_in, lend, take_back
from .build import BUILD
from .errand import Answer, Done, Errand, Failed, News, Outgrown, Unfit
from .helpers import Helpers
from .lines import Lines
from .link import Line, LineState
from .proof import placed, sample_of, seen_differently, seen_from
from .task import Local, Task

TURN_S = 0.25
RETRY_S = 10.0
MOST_TRIES = 3  # elsewhere; then here
CLOSE_S = 0.5  # twice: the daemon's own end has 8 s of its 10


class ClusterPool:
    """`local` does what cannot be done elsewhere; `limited` gives, for a need in MB, the function that runs a task in
    a limited child there. `address` or `file` leads to the scheduler, `paths` from folders here to those there. One
    thread of its own does all that may wait."""

    def __init__(
        self, local: Local, limited: Callable[[int], Callable[..., Any]], address: str | None, file: str | None,
        paths: Mapping[str, str], silence_s: float, retry_s: float = RETRY_S,
    ) -> None:  # fmt: skip
        self._local, self._limited, self._paths = local, limited, dict(paths)
        self._silence_s = silence_s
        self._queue: deque[Task] = deque()
        self._out: dict[str, Task] = {}
        self._news: deque[News] = deque()
        self._done_by: WeakKeyDictionary[Future[Any], str] = WeakKeyDictionary()
        self._helpers = Helpers(silence_s, self._news.append)
        self._lock = threading.RLock()
        self._wake, self._over = threading.Event(), threading.Event()
        made = partial(Line, address, file, self._wake.set, self._told)
        self._lines = Lines(made, partial(self._helpers.say, "line"), silence_s, retry_s)
        self._thread = threading.Thread(target=self._run, name="cluster", daemon=True)
        self._thread.start()

    # what the daemon asks

    def submit(
        self, what: str, subject: str, function: Callable[..., Any], *arguments: Any, long: bool = False
    ) -> Future[Any]:
        """Run `function(question)` wherever it fits. The future fails with the function's own error, or WorkerDied."""
        (question,) = arguments
        task = Task(what, subject, function, question, long)
        with self._lock:
            self._queue.append(task)
        self._wake.set()
        return task.future

    def places(self) -> int:
        """Tasks that can run at the same time."""
        return self._helpers.places() or self._local.places()

    def waiting(self) -> int:
        """Tasks that have not begun."""
        with self._lock:
            return len(self._queue) + sum(not t.begun_s for t in self._out.values()) + self._local.waiting()

    def progress(self) -> tuple[Progress, ...]:
        """What is done now, here and elsewhere."""
        now = time.monotonic()
        with self._lock:
            away = tuple(Progress(t.what, t.subject, t.share, now - t.begun_s, self._helpers.name(t.address))
                         for t in self._out.values() if t.begun_s)  # fmt: skip
        return (*self._local.progress(), *away)

    def helper_of(self, future: Future[Any]) -> str:
        """The computer that did a task which is done, as the studio calls it; '' = this machine."""
        return self._done_by.get(future, "")

    def news(self) -> tuple[News, ...]:
        """What is to be said since the last time."""
        found = []
        while self._news:
            found.append(self._news.popleft())
        return tuple(found)

    def watch(self) -> None:
        """Called regularly by the owner: the children here are watched by it, the rest by a thread."""
        self._local.watch()

    def close(self, wait: bool = True) -> None:
        """What is away is wanted no more; the network is waited for a little only."""
        self._over.set()
        self._wake.set()
        self._thread.join(CLOSE_S)
        with self._lock:
            tasks = [*self._queue, *self._out.values()]
            self._queue.clear()
            self._out.clear()
        for task in tasks:
            task.future.cancel()
            take_back(task.lent)
        if self._lines.line is not None:
            self._lines.line.close().join(CLOSE_S)
        self._local.close(wait)

    # the thread

    def _run(self) -> None:
        while not self._over.is_set():
            self._wake.wait(TURN_S)
            self._wake.clear()
            try:
                self._turn(time.monotonic())
            except Exception as error:  # the cluster's errors have no common kind; the work must go on all the same
                self._helpers.say_line(f"the line to the scheduler is taken up anew ({type(error).__name__}: {error})")
                self._drop_line(time.monotonic())

    def _turn(self, now: float) -> None:
        if self._lines.tend(now):
            self._drop_line(now)
        line = self._lines.line
        if line is not None and line.state is LineState.UP:
            self._helpers.see(line.look, now)
        for task in list(self._out.values()):
            self._follow(task, now)
        self._send_on(now)

    def _drop_line(self, now: float) -> None:
        """Hang up; what is away is done here."""
        self._lines.drop(now)
        self._helpers.clear()
        for task in list(self._out.values()):
            self._recall(task)
            self._here(task)

    def _told(self, number: str, share: float) -> None:
        with self._lock:
            task = self._out.get(number)
            if task is not None:
                task.share, task.begun_s = share, task.begun_s or time.monotonic()

    # tasks that are away

    def _follow(self, task: Task, now: float) -> None:
        if task.answer is not None:
            self._answered(task, task.answer)
            return
        line = self._lines.line
        if line is None or line.look.at_s < task.sent_s:
            return
        held = line.look.held_by.get(task.number, "")
        if held != task.address:
            if task.address and self._helpers.is_gone(task.address):
                name = self._helpers.name(task.address)
                self._helpers.say_line(f"{name} went away in the middle of {task.subject}; it is done again")
            task.address, task.sent_s = held, now
            task.begun_s = now if held else 0.0
        if held and self._helpers.is_silent(held, now):
            self._helpers.say_line(
                f"{self._helpers.name(held)} says nothing any more; {task.subject} is done elsewhere"
            )
            self._again(task, held)
        elif not held and (now - task.sent_s > self._silence_s or not self._fit(task, now)):
            self._again(task, "")

    def _answered(self, task: Task, answer: Answer | BaseException) -> None:
        if isinstance(answer, Done):
            self._bring_in(task, answer)
        elif isinstance(answer, Failed):
            # no verdict on a file: a store that went away there, a bad wire or bad memory look the same
            self._helpers.say_line(f"{task.subject}: {answer.name} could not do it ({answer.error}); it is done here")
            self._recall(task)
            self._here(task)
        elif isinstance(answer, Unfit):
            if answer.path and self._changed_here(task):
                self._recall(task)
                self._here(task)  # no fault of that computer: whoever looks next finds out what became of the file
                return
            self._helpers.dismiss(answer.address, answer.name, answer.reason)
            self._recall(task)
            self._back(task)
        elif isinstance(answer, Outgrown):
            self._helpers.say_line(
                f"{task.subject} outgrew the {answer.offered_mb} MB of {answer.name}; it is done elsewhere"
            )
            self._again(task, answer.address)
        else:
            self._helpers.say_line(f"{task.subject}: {type(answer).__name__} at the cluster; it is done again")
            self._again(task, task.address)

    def _bring_in(self, task: Task, done: Done) -> None:
        try:
            bring_in(task.lent, done.pieces)
        except MoveError as error:
            self._helpers.say_line(f"{task.subject}: {error}; it is done again")
            self._again(task, done.address)
            return
        self._helpers.praise(done.address)
        self._recall(task)
        self._done_by[task.future] = self._helpers.name(done.address)
        task.future.set_result(done.result)

    def _changed_here(self, task: Task) -> bool:
        """Whether the task's files cannot be read here either, or are no longer what was sampled."""
        return any(seen_differently(sample) for sample in task.samples)

    def _again(self, task: Task, avoid: str) -> None:
        task.tries += 1
        if avoid:
            task.avoid.add(avoid)
        self._recall(task)
        self._back(task)

    def _recall(self, task: Task) -> None:
        """The task is no longer away, and its rooms are no longer lent."""
        with self._lock:
            self._out.pop(task.number, None)
        if task.away is not None and self._lines.line is not None and task.answer is None:
            self._lines.line.withdraw(task.away)
        take_back(task.lent)
        task.away, task.answer, task.lent, task.begun_s, task.share = None, None, (), 0.0, 0.0

    def _back(self, task: Task) -> None:
        with self._lock:
            self._queue.appendleft(task)

    # tasks that want a place

    def _send_on(self, now: float) -> None:
        if self._lines.line is None or self._lines.line.state is LineState.CONNECTING:
            if self._lines.line is not None and self._lines.none_was_lost():
                return  # at the start the scheduler has a moment to answer
            self._all_here()
            return
        while self._queue:
            with self._lock:
                task = self._queue.popleft()
            fit = self._fit(task, now)
            if not fit or task.tries >= MOST_TRIES:
                self._helpers.say_why_here(task.subject, task.question.needs_mb(), task.tries)
                self._here(task)
            else:
                self._send(task, fit, now)

    def _fit(self, task: Task, now: float) -> list[str]:
        return self._helpers.fit_for(task.question.needs_mb(), task.avoid, now)

    def _all_here(self) -> None:
        while self._queue:
            with self._lock:
                task = self._queue.popleft()
            self._here(task)

    def _send(self, task: Task, fit: list[str], now: float) -> None:
        number = f"dawnproof-{uuid.uuid4().hex}"
        task.number, task.sent_s, task.address = number, now, ""
        with self._lock:
            self._out[number] = task
        try:
            errand = self._errand(task, number)
        except OSError:  # it cannot be read or written here: the child says so better
            self._recall(task)
            self._here(task)
            return
        assert self._lines.line is not None
        task.away = self._lines.line.send(number, BUILD, errand, fit, task.question.needs_mb(), not task.long)
        task.away.add_done_callback(partial(self._finished, task, number))

    def _errand(self, task: Task, number: str) -> bytes:
        task.samples = tuple(sample_of(path) for path in task.question.reads())
        task.lent = lend(task.question, number)
        return pickle.dumps(Errand(
            number, task.what, task.subject, self._limited(task.question.needs_mb()), task.function, task.question,
            tuple(replace(s, path=seen_from(s.path, self._paths)) for s in task.samples),
            tuple(placed(x.room, self._paths) for x in task.lent),
        ))  # fmt: skip

    def _finished(self, task: Task, number: str, away: Any) -> None:
        """In a thread of the client's: the answer is fetched by a thread that nobody waits for."""
        threading.Thread(target=self._fetch, args=(task, number, away), daemon=True).start()

    def _fetch(self, task: Task, number: str, away: Any) -> None:
        answer: Answer | BaseException
        try:
            answer = pickle.loads(away.result(timeout=self._silence_s))
        except (Exception, asyncio.CancelledError) as error:  # the cluster's errors have no common kind
            answer = error
        with self._lock:
            if self._out.get(number) is task:
                task.answer = answer
        self._wake.set()

    # here

    def _here(self, task: Task) -> None:
        inner = self._local.submit(task.what, task.subject, task.function, task.question, long=task.long)
        inner.add_done_callback(partial(_pass_on, task.future))


def _pass_on(outer: Future[Any], inner: Future[Any]) -> None:
    if outer.cancelled() or inner.cancelled():
        outer.cancel()
    elif (error := inner.exception()) is not None:
        outer.set_exception(error)
    else:
        outer.set_result(inner.result())
