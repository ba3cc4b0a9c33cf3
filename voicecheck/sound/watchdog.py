"""A watchdog over one open stream of sound: which blocks came, and when."""

from __future__ import annotations

STALLED_AFTER_S = 0.5
START_GRACE_S = 3.0
LAGGING_BY_S = 0.4
CLOCK_DRIFT = 0.0005
"""How fast a sound card's clock may drift from ours: five times a usual crystal (from memory)."""

LAGGING = "Some sound from the microphone was lost: say the last words again."
STALLED = "No sound comes from the microphone: check its cable and its switch."


class Watchdog:
    """Notices failures that PortAudio does not report.

    The thresholds come from failures provoked on a virtual sound card. The first block came up to
    2.1 s after the start, the others 100 to 165 ms apart. No flag reported lost sound; only the
    clock showed it.
    """

    def __init__(self, opened_s: float) -> None:
        self._last_s = self._began_s = opened_s
        self._heard_s = self._usual_s = 0.0
        self.begun = False

    def heard(self, duration_s: float, came_s: float) -> str:
        """A block came; returns a complaint if sound before it is missing or stale, else ""."""
        if not self.begun:
            self.begun, self._began_s = True, came_s - duration_s
        allowed_s = self._usual_s + CLOCK_DRIFT * (came_s - self._last_s)
        self._heard_s += duration_s
        self._last_s = came_s
        behind_s = came_s - self._began_s - self._heard_s
        self._usual_s = min(behind_s, allowed_s)
        return LAGGING if behind_s - self._usual_s > LAGGING_BY_S else ""

    def missed(self, now_s: float) -> str:
        """No block came; returns a complaint if none has for too long, else ""."""
        patience_s = STALLED_AFTER_S if self.begun else START_GRACE_S
        return STALLED if now_s - self._last_s > patience_s else ""
