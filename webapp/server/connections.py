"""The connections of this process: those that ask nothing are closed, and one address cannot hold them all.

Rules:
- a connection on which nothing came for ten seconds after it was opened is closed, and one on which nothing
  went either way for five minutes;
- of one address no more than half of all connections stay open. Beyond that go those that asked nothing,
  then those that were quiet for longest, so that a tablet in use keeps its own;
- connections of a trusted proxy are its own to keep: everybody's requests come by them.

Decision: the library that accepts connections counts them together and waits for a request's head only once
its first byte came; it has no setting for either rule. The kernel knows of each connection what is asked here
(tcp(7), TCP_INFO; the places in it are of linux/tcp.h), and one that is ended from outside looks to the
library as if the other side had gone. What is looked at is a second handle on each of this process' sockets,
told by its own two ends, so that a number that is given to another file meanwhile does no harm.
"""

from __future__ import annotations

import contextlib
import os
import socket
import stat
import struct
import time
from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path

OWN_FILES = Path("/proc/self/fd")
LOOK_AGAIN_S = 2.0
TCP_INFO_BYTES = 136
_LAST_SENT_MS = struct.Struct("=I")  # each of these is a number of milliseconds ago
_LAST_SENT_AT, _LAST_CAME_AT = 44, 52
_BYTES_CAME, _BYTES_CAME_AT = struct.Struct("=Q"), 128


@dataclass(frozen=True)
class Bounds:
    """How long, in seconds, and how many."""

    silent_s: float = 10.0
    idle_s: float = 300.0
    of_one_address: int = 512


@dataclass(frozen=True)
class Seen:
    """One connection: who is at its other end, whether anything ever came, and since when nothing did."""

    address: str
    has_asked: bool
    quiet_s: float
    idle_s: float


def to_close(seen: Sequence[Seen], bounds: Bounds, proxies: Collection[str] = ()) -> list[int]:
    """The places in `seen` of those that are closed, in order."""
    closed, of_address = set[int](), defaultdict[str, list[int]](list)
    for place, one in enumerate(seen):
        if one.address in proxies:
            continue
        of_address[one.address].append(place)
        is_silent = not one.has_asked and one.quiet_s >= bounds.silent_s
        if is_silent or one.idle_s >= bounds.idle_s:
            closed.add(place)
    for places in of_address.values():
        most_quiet_first = sorted(places, key=lambda place: (seen[place].has_asked, -seen[place].quiet_s))
        closed.update(most_quiet_first[: max(len(places) - bounds.of_one_address, 0)])
    return sorted(closed)


def tend(port: int, proxies: Collection[str], bounds: Bounds = Bounds()) -> None:
    """Look at the connections to this port every two seconds, for ever. Ends at once where the system does
    not list a process' own files.
    """
    while OWN_FILES.is_dir():
        tend_once(port, proxies, bounds)
        time.sleep(LOOK_AGAIN_S)


def tend_once(port: int, proxies: Collection[str], bounds: Bounds) -> None:
    """Look once, and close what is to be closed."""
    with _handles() as handles:
        found = [(handle, one) for handle in handles if (one := _look(handle, port)) is not None]
        for place in to_close([one for _, one in found], bounds, proxies):
            with contextlib.suppress(OSError):  # it ended by itself
                found[place][0].shutdown(socket.SHUT_RDWR)


@contextmanager
def _handles() -> Iterator[list[socket.socket]]:
    """A handle of our own on every socket of this process, closed with the block; no connection ends by
    that.
    """
    with contextlib.ExitStack() as stack:
        yield [stack.enter_context(one) for one in _sockets()]


def _sockets() -> Iterator[socket.socket]:
    for file in OWN_FILES.iterdir():
        with contextlib.suppress(OSError):  # closed since
            if not stat.S_ISSOCK(os.fstat(int(file.name)).st_mode):
                continue
            handle = os.dup(int(file.name))
            try:
                yield socket.socket(fileno=handle)
            except OSError:
                os.close(handle)


def _look(handle: socket.socket, port: int) -> Seen | None:
    """What is seen of one socket; None where it is no connection to this port."""
    try:
        if handle.family not in {socket.AF_INET, socket.AF_INET6} or handle.getsockname()[1] != port:
            return None
        address = ip_address(handle.getpeername()[0].partition("%")[0])
        told = handle.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, TCP_INFO_BYTES)
    except (OSError, ValueError):
        return None
    if len(told) < TCP_INFO_BYTES:
        return None
    sent_ms, came_ms = (_LAST_SENT_MS.unpack_from(told, at)[0] for at in (_LAST_SENT_AT, _LAST_CAME_AT))
    return Seen(
        address=str(getattr(address, "ipv4_mapped", None) or address),
        has_asked=_BYTES_CAME.unpack_from(told, _BYTES_CAME_AT)[0] > 0,
        quiet_s=came_ms / 1000,
        idle_s=min(sent_ms, came_ms) / 1000,
    )
