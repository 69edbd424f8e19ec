"""The work on the cores of this machine: a process each, a few logs under way, no more."""

import os
import signal
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import active_children, get_context, parent_process
from threading import Thread
from typing import Final

from tracelens.batch.work import Job, Outcome, failure, work

AHEAD: Final = 2
"""Jobs handed out for each process: the next is at hand when one is done, and memory stays flat."""

HEARTBEAT_S: Final = 0.5
"""An interrupt that another thread receives is felt when the waiting one wakes: so often."""

DIED: Final = "the process that read it died, most likely for want of memory"


def outcomes(
    jobs: Sequence[Job], processes: int, act: Callable[[Job], Outcome] = work
) -> Iterator[Outcome]:
    """The outcome of every job, each once, in the order in which they are done.

    `act` does one job, and is a function that another process can import.

    A process that dies takes its pool with it. What was under way then is done again, one log at
    a time, each in a process of its own: only the log that kills is lost.
    """
    waiting = deque(jobs)
    while waiting:
        suspects = yield from _until_broken(waiting, processes, act)
        for job in suspects:
            if (yield from _until_broken(deque([job]), 1, act)):
                yield failure(job, DIED)


def _until_broken(
    waiting: deque[Job], processes: int, act: Callable[[Job], Outcome]
) -> Generator[Outcome, None, list[Job]]:
    """Work off `waiting`; returns the jobs under way when a process died, [] if none did."""
    under_way: dict[Future[Outcome], Job] = {}
    with _one_thread_each():
        others = set(active_children())
        pool = ProcessPoolExecutor(
            processes, mp_context=get_context("spawn"), initializer=_end_with_the_parent
        )
        try:
            while waiting or under_way:
                while waiting and len(under_way) < AHEAD * processes:
                    with _interrupts_for_us_alone():
                        under_way[pool.submit(act, waiting[0])] = waiting[0]
                    waiting.popleft()
                done, _ = wait(under_way, HEARTBEAT_S, FIRST_COMPLETED)
                for future in done:
                    outcome = future.result()
                    del under_way[future]
                    yield outcome
        except BrokenProcessPool:
            return list(under_way.values())
        except (KeyboardInterrupt, GeneratorExit):
            for process in set(active_children()) - others:
                process.terminate()  # reports are written whole or not at all
            raise
        finally:
            pool.shutdown(cancel_futures=True)
    return []


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Processes begun here give the table library one thread: the cores are shared by log.

    The environment is the only way to say so; the library reads it when it is loaded.
    """
    name = "POLARS_MAX_THREADS"
    before = os.environ.get(name)
    os.environ[name] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]
        else:
            os.environ[name] = before


def _end_with_the_parent() -> None:
    """In a new process: a thread that ends it when the one that began it is no more."""
    parent = parent_process()
    assert parent is not None

    def watch() -> None:
        parent.join()
        os._exit(1)

    Thread(target=watch, daemon=True).start()


@contextmanager
def _interrupts_for_us_alone() -> Iterator[None]:
    """Processes begun here do not feel Ctrl-C, which would make each print where it was."""
    if not hasattr(signal, "pthread_sigmask"):  # not POSIX
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
