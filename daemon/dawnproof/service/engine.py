"""Who measures and joins for this studio: children of this machine, or other computers and these as a last resort."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

from ..cluster.errand import News
from ..cluster.serving import memory_of_machine_mb
from ..errors import EnvironmentFault
from ..rulebook import Work
from ..workers.away import Limits, run_limited
from ..workers.engine import Engine
from ..workers.pool import Pool

ROOM = 2.0  # address space of a child elsewhere, as a multiple of what its task is thought to need


def open_engine(work: Work) -> tuple[Engine, Callable[[], Iterable[News]]]:
    """The engine the rule book names, and what gives its news. EnvironmentFault where its libraries are missing."""
    pool = Pool(
        work.slots, work.memory_mb, work.wall_s, work.renew_after, room_mb=work.room_mb or memory_of_machine_mb()
    )
    if work.engine == "local":
        return pool, tuple
    try:
        import distributed  # noqa: F401
    except ImportError as error:
        raise EnvironmentFault(f'[work] engine = "dask" needs {error.name}; install dawnproof[cluster]') from error
    except OSError as error:  # its libraries read the machine's memory when they are loaded
        raise EnvironmentFault(
            f'[work] engine = "dask" cannot be loaded ({error}); under systemd it needs ProcSubset=all'
        ) from error
    from ..cluster.engine import ClusterPool

    cluster = ClusterPool(
        pool, partial(limited_run, work), work.scheduler, work.scheduler_file, work.paths, work.silence_s
    )
    return cluster, cluster.news


def limited_run(work: Work, needs_mb: int) -> Callable[..., Any]:
    """What runs a task in a limited child on another computer: the book's limits, wider for a task that needs more."""
    memory_mb = work.memory_mb
    while memory_mb < ROOM * needs_mb:
        memory_mb *= 2
    return partial(run_limited, Limits(memory_mb, work.wall_s, work.renew_after))
