"""How many calls of a tablet's kind one address may make that no tablet in use has signed.

Rules (OWASP ASVS 5.0, 2.4.1):
- counted are uploads and requests of unknown or disabled tablets, and what cannot be read;
  an address may make thirty at once and one every ten seconds from then on;
- an address over its count is answered 429 with the seconds to wait, before anything is stored.
  A tablet in use is known by its signature and never held back, whoever else is behind its address;
- a readable question whether this server can be reached is always answered:
  every tablet begins with it, it cannot be signed yet, it costs one signature and stores nothing;
- counts lie in memory, for a bounded number of addresses;
  of IPv6 the first 64 bits count, which one network is given whole (RFC 6177).

Decision: strangers are counted by address, tablets are known by signature. All tablets of a shop may stand
behind one address, so shutting an address out would shut them out. What such a call costs the server at
most is five signature checks.
"""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from datetime import datetime
from ipaddress import IPv6Address, ip_address

AT_ONCE = 30
SECONDS_EACH = 10
MOST_ADDRESSES = 4096
NETWORK_BITS = 64


class Strangers:
    """Counts by address. Threads may share it."""

    def __init__(self) -> None:
        self._left: OrderedDict[str, tuple[float, datetime]] = OrderedDict()
        self._lock = threading.Lock()

    def wait_seconds(self, address: str, now: datetime) -> int:
        """How long this address has to wait, in whole seconds; 0: not at all."""
        with self._lock:
            left = self._now_left(_network(address), now)
        return 0 if left >= 1 else math.ceil((1 - left) * SECONDS_EACH)

    def count(self, address: str, now: datetime) -> None:
        """One more call of a stranger from this address."""
        network = _network(address)
        with self._lock:
            self._left[network] = (max(0.0, self._now_left(network, now) - 1), now)
            self._left.move_to_end(network)
            while len(self._left) > MOST_ADDRESSES:
                self._left.popitem(last=False)

    def _now_left(self, network: str, now: datetime) -> float:
        left, since = self._left.get(network, (float(AT_ONCE), now))
        if now < since:  # a clock that was set back gives nothing and takes nothing: it counts on from here
            self._left[network] = (left, now)
            return left
        return min(float(AT_ONCE), left + (now - since).total_seconds() / SECONDS_EACH)


def _network(address: str) -> str:
    try:
        found = ip_address(address)
    except ValueError:
        return address[:NETWORK_BITS]
    if isinstance(found, IPv6Address) and found.ipv4_mapped is None:
        return str(IPv6Address(int(found) >> NETWORK_BITS << NETWORK_BITS))
    return str(getattr(found, "ipv4_mapped", None) or found)
