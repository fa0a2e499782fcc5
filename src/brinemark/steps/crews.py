"""Who does the work of a study: processes of this computer, or a Dask cluster.

Each worker computes with one thread, so that workers do not wait for each other's threads and sums are added in one
order. Dask's own connections are open to whoever reaches them, and who reaches a worker may run anything there: so a
scheduler is spoken to on this computer, or over TLS with certificates, and nowhere else.
"""

from __future__ import annotations

import ipaddress
import os
import re
import signal
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from importlib import import_module
from importlib.util import find_spec
from multiprocessing import active_children, get_context, parent_process
from threading import Thread
from typing import Any

from brinemark.science.planning.study import Crew, Here
from brinemark.terms.errors import Refused

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS", "NUMBA_NUM_THREADS")
PATIENCE_S = 20
MOST = 61  # processes that a pool takes on Windows
REACHED = re.compile(r"(?:(?P<how>[a-z]+)://)?(?P<host>\[[0-9A-Fa-f:]+\]|[^\s/:]+):(?P<port>\d{1,5})/?")


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Processes started meanwhile compute with one thread each."""
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


@contextmanager
def here() -> Iterator[Crew]:
    """This process itself."""
    yield Crew(Here(), 1)


@contextmanager
def processes(workers: int) -> Iterator[Crew]:
    """New processes of this computer, ended when the work is done; at once when it is broken off."""
    before = set(active_children())
    pool = ProcessPoolExecutor(min(workers, MOST), mp_context=get_context("spawn"), initializer=_deaf)
    with one_thread_each():
        try:
            yield Crew(pool, 2 * workers)
        except BaseException:
            for child in set(active_children()) - before:
                child.terminate()
            raise
        finally:
            pool.shutdown(cancel_futures=True)


def _deaf() -> None:
    """Ctrl-C is for the process that started this one; when that one is killed, this one has nobody to work for."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_ended_with_parent, daemon=True).start()


def _ended_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@contextmanager
def cluster(address: str) -> Iterator[Crew]:
    """The workers of a running Dask scheduler. Raises Refused for one that is neither here nor behind TLS."""
    with connected(address) as client:
        try:
            client.wait_for_workers(1, timeout=PATIENCE_S)
        except TimeoutError:
            remedy = f"start one with 'dask worker {address} --nthreads 1'"
            raise Refused(f"the scheduler {address} without a worker", "at least one", remedy) from None
        workers = sum(client.nthreads().values())
        yield Crew(client.get_executor(pure=False), 2 * workers)


@contextmanager
def connected(address: str) -> Iterator[Any]:
    """A connection to a scheduler."""
    check_address(address)
    if find_spec("distributed") is None:
        came = "a scheduler, but the library distributed is not installed"
        raise Refused(came, 'the extra "cluster"', "install brinemark[cluster], or leave out --scheduler")
    dask = import_module("distributed")
    if address.startswith("tls:") and dask.Security().get_connection_args("client")["ssl_context"] is None:
        came = f"the scheduler {address} without certificates"
        raise Refused(came, "those of distributed.comm.tls in Dask's configuration", "name them there")
    try:
        client = dask.Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, TypeError, ValueError, RuntimeError) as fault:
        what = " ".join(str(fault).split())[:200]
        raise Refused(f"no answer from the scheduler {address} ({what})", "one that runs", "start it first") from None
    try:
        yield client
    finally:
        client.close()


def check_address(address: str) -> None:
    """Raises Refused for a scheduler that is neither on this computer nor behind TLS."""
    found = REACHED.fullmatch(address.strip())
    if found is None:
        raise Refused(f"the scheduler {address!r}", "HOST:PORT, tcp://HOST:PORT or tls://HOST:PORT", "correct it")
    how: Any = found["how"] or "tcp"
    if how == "tls" or (how == "tcp" and _this_computer(found["host"])):
        return
    came = f"the scheduler {address}, whose connection is open to everyone on the way"
    remedy = "use tls:// with certificates in Dask's configuration, or a tunnel to 127.0.0.1"
    raise Refused(came, "one on this computer, or behind TLS", remedy)


def _this_computer(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False
