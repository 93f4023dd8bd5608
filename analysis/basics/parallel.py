"""Doing independent pieces of work in this process and in others at once, so that a report uses every core."""

from __future__ import annotations

import atexit
import gc
import os
import pickle
import signal
import threading
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context, parent_process


class SideBySide:
    """Workers that wait for work; without any, everything is done here."""

    def __init__(self, warm_up: Callable[[], None] | None = None, *, cores: int | None = None):
        self.workers = min(cores or os.cpu_count() or 1, 4) - 1
        self._pool, self._times = None, 0
        self.share(None)
        if self.workers > 0:
            try:
                self._pool = ProcessPoolExecutor(self.workers, get_context("spawn"), _begin_worker)
                with _deaf_to_ctrl_c():  # workers inherit it: stopping them is the business of this process
                    for _ in range(self.workers):
                        self._pool.submit(warm_up or _nothing)
            except (BrokenProcessPool, OSError, RuntimeError):  # the machine gives none
                self.workers = 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)

    def _stop(self) -> None:
        """End the workers at once: what they were doing is not wanted any more."""
        for worker in list((getattr(self._pool, "_processes", None) or {}).values()):
            worker.terminate()
        if (answers := getattr(self._pool, "_result_queue", None)) is not None:
            answers._writer.close()  # else the rest of an answer that a worker was giving would be awaited for ever

    def share(self, shared) -> None:
        """Set what every piece of work is given first."""
        self.shared = shared
        self._times += 1
        self._sent = (self._times, pickle.dumps(shared) if self.workers > 0 else b"")

    def run(self, work: Callable, pieces: Sequence, *, meanwhile: Callable[[], object] = lambda: None) -> list:
        """Return `work(shared, piece)` of every piece, in order."""
        waiting = deque(enumerate(pieces))
        found: dict = {}
        threads = [
            threading.Thread(target=self._elsewhere, args=(work, waiting, found))
            for _ in range(min(self.workers, len(pieces) - 1))
        ]
        for thread in threads:
            thread.start()
        try:
            meanwhile()
            while waiting:
                number, piece = waiting.popleft()
                found[number] = work(self.shared, piece)
        except BaseException:
            self._stop()
            raise
        finally:
            waiting.clear()
            for thread in threads:
                thread.join()
        for number, piece in enumerate(pieces):
            if number not in found:
                found[number] = work(self.shared, piece)
            elif isinstance(found[number], _Failed):
                raise found[number].error
        return [found[number] for number in range(len(pieces))]

    def _elsewhere(self, work, waiting, found) -> None:
        while True:
            try:
                number, piece = waiting.popleft()
            except IndexError:
                return
            try:
                found[number] = self._pool.submit(_do, work, piece, *self._sent).result()
            except (BrokenProcessPool, OSError, RuntimeError):
                return  # no worker to be had: this piece is done here at the end
            except Exception as error:
                found[number] = _Failed(error)


class _Failed:
    def __init__(self, error):
        self.error = error


_shared: dict = {}


def _do(work, piece, key, content):
    if key not in _shared:
        _shared.clear()
        _shared[key] = pickle.loads(content)
    return work(_shared[key], piece)


def be_quick() -> None:
    """Look for objects that refer to each other less often, and not at all when Python ends."""
    gc.set_threshold(50_000)
    atexit.register(gc.freeze)


@contextmanager
def _deaf_to_ctrl_c():
    """Ignore Ctrl+C for a moment, where this is the thread that may."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _begin_worker() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    be_quick()
    _end_with_parent()


def _end_with_parent() -> None:
    """Let a worker end when the process that started it is killed; otherwise it would wait for work for ever."""

    def watch():
        parent_process().join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _nothing() -> None:
    """Start a worker."""
