// Follows the case: hands on every View, and says when none has been confirmed for too long.

const STALE_AFTER_MS = 3000; // three signs of life that did not come
const RENEW_AFTER_MS = 4000; // an open connection may be dead without anybody knowing

/**
 * Calls onView(view, ageMs) for each View and onLink(silentMs | null) every quarter second.
 * A closed record changes no more: silence after it is no trouble, but the calm end of a case.
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
