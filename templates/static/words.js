// Lengths of time and numbers of things in the words the server uses.

export function durationText(seconds) {
  const s = Math.floor(Math.abs(seconds));
  const hours = Math.floor(s / 3600);
  const minutes = Math.floor(s / 60) % 60;
  if (s >= 48 * 3600) return `${Math.floor(s / 86400)} d ${Math.floor((s % 86400) / 3600)} h`;
  if (s >= 3600) return `${hours} h ${String(minutes).padStart(2, "0")} min`;
  if (s >= 60) return `${minutes} min`;
  return `${s} s`;
}

// Minutes and seconds within the last hour, where a hand hurries.
export function fineText(seconds) {
  const s = Math.max(0, Math.floor(seconds));
  if (s > 3600) return durationText(s);
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
}

// "1 piece", "2 pieces".
export function counted(count, one) {
  return `${count} ${one}${Number(count) === 1 ? "" : "s"}`;
}
