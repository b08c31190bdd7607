"""The other side: a computer that offers its cores and memory to a studio's scheduler, until it is stopped."""

from __future__ import annotations

import asyncio
import logging
import os
import signal
import socket
from collections.abc import Callable

from ..errors import EnvironmentFault
from .address import address_in
from .allowance import offered

AGAIN_S = 3.0
MEMORY_SHARE = 0.75  # of this machine's memory, offered where nothing else is said
ENVIRONMENT = {"VIPS_BLOCK_UNTRUSTED": "1", "OPENBLAS_NUM_THREADS": "1"}


def memory_of_machine_mb() -> int:
    """What is offered where nothing else is said."""
    total = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    return int(total * MEMORY_SHARE) >> 20


def serve(
    address: str | None, file: str | None, slots: int, memory_mb: int, name: str, host: str | None,
    say: Callable[[str], None],
) -> None:  # fmt: skip
    """Work for the scheduler at `address`, or named in `file`. One that is away or restarted is waited for; an end
    comes by SIGTERM or SIGINT alone. EnvironmentFault where the cluster's libraries are missing."""
    try:
        import dask
        import distributed  # noqa: F401
    except ImportError as error:
        raise EnvironmentFault(f"{error.name} is not installed; install dawnproof[cluster]") from error
    os.environ.update(ENVIRONMENT)
    dask.config.set({"distributed.worker.profile.enabled": False})
    logging.getLogger("distributed").setLevel(logging.WARNING)
    offered.begin(memory_mb)
    asyncio.run(_serve(address, file, slots, memory_mb, name or socket.gethostname(), host, say))


async def _serve(
    address: str | None, file: str | None, slots: int, memory_mb: int, name: str, host: str | None,
    say: Callable[[str], None],
) -> None:  # fmt: skip
    from distributed import Worker

    over = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, over.set)
    said = ""
    while not over.is_set():
        text = f"waiting for the scheduler at {address or file}"
        try:
            worker = Worker(
                address_in(file) if file else address, nthreads=slots, memory_limit=0, name=name, host=host,
                resources={"memory_mb": float(memory_mb)}, dashboard=False,
            )  # fmt: skip
            async with worker:
                said = f"{name} helps at {address or file}: {slots} task(s) at a time, {memory_mb} MB"
                say(said)
                await _first(worker.finished(), over.wait())
        except (OSError, ValueError, TimeoutError, asyncio.CancelledError) as error:
            text = f"{text} ({str(error).splitlines()[0] if str(error) else type(error).__name__})"
        if not over.is_set():
            if said != text:
                said = text
                say(text)
            await _first(asyncio.sleep(AGAIN_S), over.wait())


async def _first(*waiting: object) -> None:
    tasks = [asyncio.ensure_future(one) for one in waiting]  # type: ignore[call-overload]
    await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    for task in tasks:
        task.cancel()
