"""Who may come in from the shop's network: a passcode with limited tries, sessions that end, and tickets.

A ticket opens the capture page of one element and nothing else; it stands in a QR code, so that a phone at
the bench needs no typing. Passcode, sessions and tickets are kept as hashes, in memory: they end with the
program.
"""

import hashlib
import hmac
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from wearview.errors import CallError
from wearview.ui.tray import ElementName

# Without signs that look alike. Eight of 31 are 8.5e11 codes: at 50 tries in a quarter of an hour, the chance
# of a hit in a year is one in half a million.
SIGNS = "23456789abcdefghjkmnpqrstuvwxyz"
LENGTH = 8
TRIES_EACH, TRIES_ALL, TRIES_WINDOW_S = 5, 50, 15 * 60
SESSION_S = 10 * 3600  # one shift
TICKET_S = 10 * 3600
OPEN_NETWORK = (
    "The page is open to this network's devices that know the passcode. Nothing on the way is encrypted: use "
    "it on the shop's own network only, never on one that guests share."
)
_SCRYPT = {
    "n": 2**14,
    "r": 8,
    "p": 1,
}  # OWASP's least for scrypt is 2**17; limited tries do the rest (memory)


@dataclass(frozen=True, slots=True)
class Ticket:
    """What a ticket opens: an element of a record (None: the user's own), with its grades or blind."""

    name: ElementName
    url: str | None = None
    blind: bool = False


class Gate:
    """Passcode, sessions and tickets of one running program.

    Parameters
    ----------
    clock : callable
        Seconds that only grow.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.address: str | None = None  # where other devices find the page; None while they may not
        self._clock = clock
        self._lock = threading.Lock()
        self._passcode: tuple[bytes, bytes] | None = None
        self._sessions: dict[bytes, float] = {}
        self._tickets: dict[bytes, tuple[float, Ticket]] = {}
        self._failed: list[tuple[float, str]] = []

    def new_passcode(self) -> str:
        """A passcode that is told once; the one before, and every session with it, no longer holds."""
        code = "".join(secrets.choice(SIGNS) for _ in range(LENGTH))
        salt = secrets.token_bytes(16)
        with self._lock:
            self._passcode = salt, _slow(code, salt)
            self._sessions.clear()
        return f"{code[:4]}-{code[4:]}"

    def enter(self, typed: str, who: str) -> str:
        """A new session's token for the right passcode.

        Parameters
        ----------
        typed : str
            As typed: case, blanks and dashes do not count.
        who : str
            The device's address.

        Raises
        ------
        CallError
            For a wrong passcode, and for any after too many wrong ones.
        """
        code = "".join(c for c in typed.lower() if c in SIGNS)
        with self._lock:
            self._failed = [f for f in self._failed if f[0] > self._clock() - TRIES_WINDOW_S]
            mine = sum(address == who for _, address in self._failed)
            if mine >= TRIES_EACH or len(self._failed) >= TRIES_ALL:
                raise CallError("passcode", "too many wrong tries", "Wait a quarter of an hour")
            self._failed.append((self._clock(), who))  # counted before it is checked: tries run side by side
            kept = self._passcode
        if kept is None or not hmac.compare_digest(_slow(code, kept[0]), kept[1]):
            raise CallError(
                "passcode", "this is not the right one", "It stands where the program was started"
            )
        token = secrets.token_urlsafe(32)
        with self._lock:
            self._failed = [f for f in self._failed if f[1] != who]
            self._sessions[_quick(token)] = self._clock() + SESSION_S
        return token

    def admits(self, token: str | None) -> bool:
        """Whether a session's token still holds."""
        with self._lock:
            return bool(token) and self._sessions.get(_quick(str(token)), 0.0) > self._clock()

    def new_ticket(self, opens: Ticket) -> str:
        """A code that opens a capture page."""
        code = secrets.token_urlsafe(16)
        now = self._clock()
        with self._lock:
            self._tickets = {key: kept for key, kept in self._tickets.items() if kept[0] > now}
            self._tickets[_quick(code)] = now + TICKET_S, opens
        return code

    def ticket(self, code: str) -> Ticket | None:
        """What a code opens; None where it does not hold."""
        with self._lock:
            ends, opens = self._tickets.get(_quick(code), (0.0, None))
            return opens if ends > self._clock() else None


def _slow(code: str, salt: bytes) -> bytes:
    return hashlib.scrypt(code.encode(), salt=salt, **_SCRYPT)


def _quick(token: str) -> bytes:
    """Tokens are random and long: one round of hashing keeps them."""
    return hashlib.sha256(token.encode()).digest()


@cache
def the_gate() -> Gate:
    """The gate of this program."""
    return Gate()
