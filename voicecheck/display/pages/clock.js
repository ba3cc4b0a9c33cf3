// Tells moments in the time of the reader's own zone.

const TIME = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit" });
const ZONE = new Intl.DateTimeFormat("en-GB", { timeZoneName: "short" });

/** Hours and minutes; `moment` is RFC 3339 or milliseconds. */
export function clock(moment) {
  return TIME.format(new Date(moment));
}

/** The zone's short name, such as CET. */
export function zone(moment) {
  return ZONE.formatToParts(new Date(moment)).find((part) => part.type === "timeZoneName").value;
}
