// Follows the case by server-sent events: passes on every View, and says when the stream falls silent.

const STALE_AFTER_MS = 3000; // three missed heartbeats
const RENEW_AFTER_MS = 4000; // a connection can be dead without an error

/**
 * Calls onView(view, ageMs) for each View and onLink(silentMs | null) every quarter second.
 * A closed record never changes again, so silence after it is not a failure.
 */
export function follow(onView, onLink) {
  let source, renewed, heard;
  let ended = false;

  const connect = () => {
    source?.close();
    renewed = performance.now();
    source = new EventSource("/events" + location.search);
    source.addEventListener("view", (event) => {
      heard = performance.now();
      const { view, age_s } = JSON.parse(event.data);
      ended = view.gate.barrier === "record_closed";
      onView(view, age_s * 1000);
      onLink(null);
    });
    source.addEventListener("beat", () => { heard = performance.now(); onLink(null); });
  };

  connect();
  const started = performance.now();
  setInterval(() => {
    const now = performance.now();
    const silent = now - (heard ?? started);
    onLink(silent > STALE_AFTER_MS && !ended ? silent : null);
    if (silent > RENEW_AFTER_MS && now - renewed > RENEW_AFTER_MS) connect();
  }, 250);
}
