// Follows the case by server-sent events: passes on every View, and says when nobody should rely on it.

const STALE_AFTER_MS = 3000; // three missed heartbeats
const RENEW_AFTER_MS = 4000; // a connection can be dead without an error
const STILL = "The machine stands still. Nothing is heard.";

/**
 * Calls onView(view, ageMs) for each View, and onLink(kind, words) at least every quarter second. Its
 * kind is "live", "still" (the server lives, the live loop does not) or "stale" (the server is silent).
 * After the end of a record nothing changes and nobody relies on it, so silence then is no failure.
 */
export function follow(onView, onLink) {
  let source, renewed, heard;
  let still = false;
  let closed = false;
  let over = false; // closed, or recording has stopped

  const tell = (now) => {
    const silent = now - (heard ?? started);
    if (silent > STALE_AFTER_MS && !closed) {
      onLink("stale", `Not live for ${Math.floor(silent / 1000)} s. Do not rely on this.`);
    } else if (still && !over) {
      onLink("still", STILL);
    } else {
      onLink("live", "");
    }
    return silent;
  };

  const sign = (isStill) => {
    heard = performance.now();
    still = isStill;
    tell(heard);
  };

  const connect = () => {
    source?.close();
    renewed = performance.now();
    source = new EventSource("/events" + location.search);
    source.addEventListener("view", (event) => {
      const { view, age_s } = JSON.parse(event.data);
      closed = view.gate.barrier === "record_closed";
      over = closed || view.gate.barrier === "stopped";
      onView(view, age_s * 1000);
      sign(false);
    });
    source.addEventListener("beat", () => sign(false));
    source.addEventListener("still", () => sign(true));
  };

  const started = performance.now();
  connect();
  setInterval(() => {
    const now = performance.now();
    if (tell(now) > RENEW_AFTER_MS && now - renewed > RENEW_AFTER_MS) connect();
  }, 250);
}
