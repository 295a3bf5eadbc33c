"""Who is at the bench: sessions that expire, pairing by a token that works once, visitors."""

import secrets
from collections.abc import Callable
from threading import Lock
from time import monotonic
from typing import Literal, NamedTuple

import msgspec

Role = Literal["owner", "visitor"]
IDLE_SECONDS = 12 * 3600.0  # a working day
PAIRING_SECONDS = 600.0
MOST_SESSIONS = 200


class Session(msgspec.Struct, frozen=True, kw_only=True):
    """One browser.

    Attributes:
        id: What its cookie holds.
        role: A visitor reads and writes nothing.
        token: What its forms must carry.
    """

    id: str
    role: Role
    token: str


class _Held(NamedTuple):
    """A session, until when it lasts, and whether anybody came back with it."""

    session: Session
    until: float
    is_used: bool


class Sessions:
    """Sessions and pairings of one server. A class because requests share them.

    Attributes:
        clock: Seconds that only go up.
    """

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        self.clock = clock
        self._lock = Lock()
        self._held: dict[str, _Held] = {}
        self._pairings: dict[str, tuple[Role, float]] = {}

    def begin(self, role: Role, *, is_used: bool = False) -> Session:
        """Return a new session; where there are too many, one that nobody used goes for it.

        Args:
            role: Whose it is.
            is_used: It is kept like one that somebody came back with.
        """
        session = Session(id=secrets.token_urlsafe(24), role=role, token=secrets.token_urlsafe(24))
        with self._lock:
            self._sweep()
            while len(self._held) >= MOST_SESSIONS:
                unused = (name for name, held in self._held.items() if not held.is_used)
                del self._held[next(unused, None) or next(iter(self._held))]
            self._held[session.id] = _Held(session, self.clock() + IDLE_SECONDS, is_used)
        return session

    def find(self, session_id: str) -> Session | None:
        """Return a session that has not expired, and let it last from now on."""
        with self._lock:
            self._sweep()
            found = self._held.pop(session_id, None)  # and to the end: the longest idle stand first
            if found is None:
                return None
            self._held[session_id] = _Held(found.session, self.clock() + IDLE_SECONDS, True)
            return found.session

    def offer_pairing(self, role: Role) -> str:
        """Return a token with which one browser may begin a session, once and soon."""
        token = secrets.token_urlsafe(18)
        with self._lock:
            self._pairings[token] = (role, self.clock() + PAIRING_SECONDS)
        return token

    def pair(self, token: str) -> Session | None:
        """Return the session of a pairing; None when its token was used or is too old."""
        with self._lock:
            role, until = self._pairings.pop(token, ("visitor", 0.0))
        return self.begin(role, is_used=True) if until > self.clock() else None

    def _sweep(self) -> None:
        at = self.clock()
        for session_id in [s for s, held in self._held.items() if held.until <= at]:
            del self._held[session_id]
