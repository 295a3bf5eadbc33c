"""Who is at the bench: sessions that expire, pairing by a token that works once, visitors."""

import secrets
from collections.abc import Callable
from threading import Lock
from time import monotonic
from typing import Literal

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


class Sessions:
    """Sessions and pairings of one server. A class because requests share them.

    Attributes:
        clock: Seconds that only go up.
    """

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        self.clock = clock
        self._lock = Lock()
        self._held: dict[str, tuple[Session, float]] = {}
        self._pairings: dict[str, tuple[Role, float]] = {}

    def begin(self, role: Role) -> Session:
        """Return a new session."""
        session = Session(id=secrets.token_urlsafe(24), role=role, token=secrets.token_urlsafe(24))
        with self._lock:
            self._sweep()
            while len(self._held) >= MOST_SESSIONS:
                self._held.pop(next(iter(self._held)))
            self._held[session.id] = (session, self.clock() + IDLE_SECONDS)
        return session

    def find(self, session_id: str) -> Session | None:
        """Return a session that has not expired, and let it last from now on."""
        with self._lock:
            self._sweep()
            found = self._held.get(session_id)
            if found is None:
                return None
            self._held[session_id] = (found[0], self.clock() + IDLE_SECONDS)
            return found[0]

    def end(self, session_id: str) -> None:
        """End a session."""
        with self._lock:
            self._held.pop(session_id, None)

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
        return self.begin(role) if until > self.clock() else None

    def _sweep(self) -> None:
        at = self.clock()
        for session_id in [s for s, (_, until) in self._held.items() if until <= at]:
            del self._held[session_id]
