// Keeps a screen current: asks for the fragment every few seconds, counts down in between, and says
// so when the server is gone or the readings are old. Nothing on it may look current when it is not.

import { durationText, fineText } from "./words.js";

const SILENT_AFTER_S = 8;
const READINGS_OLD_AFTER_S = 30 * 60;
const TICK_MS = 250;

const root = document.querySelector("[data-live]");
const part = root.querySelector("[data-live-part]");
const refreshS = Number(root.dataset.refreshS);
// With a slow refresh one answer may be a little late without anything being wrong.
const silentAfterS = Math.max(SILENT_AFTER_S, refreshS + 1.5);

let etag = "";
let serverAheadMs = Number(root.dataset.servedAt) * 1000 - Date.now();
let heardAt = { wall: Date.now(), steady: performance.now() };
let asking = false;
let next;

function serverNow() {
  return (Date.now() + serverAheadMs) / 1000;
}

// The larger of two clocks: one stands still while a computer sleeps, the other can be set back.
function silenceS() {
  return Math.max(Date.now() - heardAt.wall, performance.now() - heardAt.steady) / 1000;
}

async function ask() {
  if (asking) return;
  asking = true;
  clearTimeout(next);
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), 7000);
  try {
    const answer = await fetch(root.dataset.live, {
      headers: etag ? { "If-None-Match": etag } : {},
      cache: "no-store",
      signal: stop.signal,
    });
    if (answer.status !== 304 && !answer.ok) throw new Error(`status ${answer.status}`);
    const body = answer.status === 304 ? null : await answer.text();
    if (answer.headers.get("X-Page-Version") !== root.dataset.pageVersion) {
      location.reload();
      return;
    }
    if (body !== null) {
      part.innerHTML = body;
      etag = answer.headers.get("ETag") || "";
      root.dispatchEvent(new CustomEvent("refreshed"));
    }
    serverAheadMs = Number(answer.headers.get("X-Server-Time")) * 1000 - Date.now();
    heardAt = { wall: Date.now(), steady: performance.now() };
    root.dataset.liveState = "live";
  } catch {
    // Silence is what the bands are about; the next look comes soon.
  } finally {
    clearTimeout(timer);
    asking = false;
    next = setTimeout(ask, root.dataset.liveState === "live" ? refreshS * 1000 : 1000);
    tick();
  }
}

function tick() {
  const now = serverNow();
  const silent = silenceS();
  if (silent > silentAfterS) root.dataset.liveState = "gone";
  for (const each of root.querySelectorAll("[data-live-age]")) {
    setText(each, `${durationText(silent)} old`);
  }
  for (const each of root.querySelectorAll("[data-ends-at]")) countDown(each, now);
  for (const each of root.querySelectorAll("[data-age-of]")) {
    setText(each, `${durationText(Math.max(0, now - Number(each.dataset.ageOf)))} ago`);
  }
  for (const each of root.querySelectorAll("[data-clock]")) setText(each, clockText(now));
  showOldReadings(now);
}

function countDown(element, now) {
  const left = Number(element.dataset.endsAt) - now;
  const over = left <= 0;
  if (element.dataset.fine !== undefined) {
    const late = element.dataset.fine === "brief" ? "over" : `over by ${durationText(-left)}`;
    setText(element, over ? late : fineText(left));
    element.parentElement.classList.toggle("over", over);
  } else {
    setText(element, over ? "expired" : durationText(left));
    element.closest("[data-row]")?.classList.toggle("is-over", over);
  }
}

function showOldReadings(now) {
  const places = [...root.querySelectorAll("[data-reading-at]")];
  const old = places.filter(
    (each) =>
      each.dataset.readingAt === "" || now - Number(each.dataset.readingAt) > READINGS_OLD_AFTER_S,
  );
  root.toggleAttribute("data-live-old", old.length > 0);
  const words = old.map((each) =>
    each.dataset.readingAt === ""
      ? `${each.dataset.readingName}: none in the last day`
      : `${each.dataset.readingName}: newest is ${durationText(now - Number(each.dataset.readingAt))} old`,
  );
  for (const each of root.querySelectorAll("[data-old-words]")) setText(each, words.join(" · "));
}

const zone = clockZone(root.dataset.zone);

function clockZone(name) {
  const style = { hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" };
  try {
    return new Intl.DateTimeFormat("en-GB", { ...style, timeZone: name });
  } catch {
    return new Intl.DateTimeFormat("en-GB", style);
  }
}

function clockText(now) {
  return zone.format(new Date(now * 1000));
}

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

setInterval(tick, TICK_MS);
document.addEventListener("visibilitychange", () => document.hidden || ask());
tick();
ask();
