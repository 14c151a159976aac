// The scan station: hears the scanner wherever the focus is, sends each scan once, shows the answer.

import { ScanQueue } from "./scan_queue.js";
import { ScanScreen } from "./scan_screen.js";
import { setSound, signal, soundIsOn } from "./scan_sound.js";

const LONE_DIGIT_MS = 350;
const NAME_KEY = "msdtrack.station";

const root = document.querySelector("[data-station]");
const find = (name) => root.querySelector(`[data-${name}]`);
const field = find("code");
const dialog = find("rename-dialog");

// -- time ------------------------------------------------------------------------------------

let aheadMs = Number(root.dataset.servedAt) * 1000 - Date.now();
let lastAt = 0;

const now = () => (Date.now() + aheadMs) / 1000;

// A scan keeps its own moment, so that one sent late still counts from when it was made.
function scannedAt() {
  lastAt = Math.max(lastAt, Math.floor(now()));
  return lastAt;
}

// -- the station's name ----------------------------------------------------------------------

function stationName() {
  const asked = new URLSearchParams(location.search).get("station")?.trim();
  if (asked) localStorage.setItem(NAME_KEY, asked.slice(0, 40));
  if (!localStorage.getItem(NAME_KEY)) {
    // Two screens with one name would finish each other's work.
    const letters = crypto.getRandomValues(new Uint8Array(3));
    const sign = Array.from(letters, (byte) => "ABCDEFGHJKLMNPRSTUVWXYZ"[byte % 23]).join("");
    localStorage.setItem(NAME_KEY, `Station ${sign}`);
  }
  return localStorage.getItem(NAME_KEY);
}

let station = stationName();

async function askStation() {
  find("station-name").textContent = station;
  try {
    const url = `${root.dataset.stationUrl}?name=${encodeURIComponent(station)}`;
    const answer = await fetch(url, { cache: "no-store" });
    if (!answer.ok) return;
    const heard = await answer.json();
    aheadMs = heard.now * 1000 - Date.now();
    if (screen.shownAt === null) screen.showStation(heard);
    screen.addEarlier(heard.recent);
  } catch {
    // Without the server there is nothing to show yet; the first scan says so.
  }
}

async function askWho() {
  try {
    const answer = await fetch(root.dataset.whoUrl, { cache: "no-store" });
    if (!answer.ok) return;
    const { name, until } = await answer.json();
    screen.showPerson(name, until);
  } catch {
    // The answer to the next scan says it.
  }
}

find("rename").addEventListener("click", () => {
  dialog.querySelector("input").value = station;
  dialog.showModal();
});
dialog.addEventListener("close", () => {
  const name = dialog.querySelector("input").value.trim();
  if (dialog.returnValue === "keep" && name) {
    station = name;
    localStorage.setItem(NAME_KEY, name);
    history.replaceState(null, "", location.pathname);
    screen.idle();
    screen.showRecent([]);
    askStation();
  }
  listen();
});

// -- sending and showing ---------------------------------------------------------------------

const screen = new ScanScreen(root, {
  idleS: Number(root.dataset.idleS),
  now,
  onChoice: (code) => {
    send(code);
    listen();
  },
});

const queue = new ScanQueue(root.dataset.answerUrl, {
  onAnswer(answer) {
    aheadMs = answer.now * 1000 - Date.now();
    screen.show(answer);
    signal(answer.tone);
  },
  onRefused(scan, message) {
    screen.show({
      tone: "refuse",
      title: "Not recorded",
      message: `${scan.code}: ${message}`,
      next_step: "",
      time_left: "",
      caution: "",
      countdowns: [],
      choices: [],
      wants_number: false,
    });
    signal("refuse");
    askStation();
  },
  onState({ waiting, unsaved, stuck }) {
    const words = waiting.length === 1 ? "1 scan waits:" : `${waiting.length} scans wait:`;
    const codes = waiting.map((scan) => scan.code).join(", ");
    find("unsaved").hidden = !unsaved;
    find("unsaved-words").textContent = `${words} ${codes}.`;
    find("set-aside").hidden = !stuck;
    root.classList.toggle("is-unsaved", unsaved);
    find("entry-state").textContent = unsaved ? "Not saved" : waiting.length ? "Sending" : "Ready";
    if (unsaved) screen.unsaved(waiting.length);
    if (unsaved && !told) signal("refuse");
    told = unsaved;
  },
});
let told = false;

function send(code) {
  queue.add({ station, code, at: scannedAt() });
}

addEventListener("beforeunload", (event) => {
  if (queue.waiting.length) event.preventDefault();
});
find("set-aside").addEventListener("click", () => queue.setAside());

// -- hearing the scanner ---------------------------------------------------------------------

let loneDigit;

function submit() {
  clearTimeout(loneDigit);
  const code = field.value.trim();
  field.value = "";
  if (code) send(resolved(code));
  else listen();
}

// A digit picks what stands on the screen now; with scans on their way the server knows better.
function resolved(code) {
  const choice = /^[1-9]$/.test(code) && screen.choices[Number(code) - 1];
  return choice && !screen.wantsNumber && queue.waiting.length === 0 ? choice.code : code;
}

find("entry").addEventListener("submit", (event) => {
  event.preventDefault();
  submit();
});

field.addEventListener("input", () => {
  clearTimeout(loneDigit);
  const offered = /^[1-9]$/.test(field.value) && screen.choices[Number(field.value) - 1];
  if (offered && !screen.wantsNumber) loneDigit = setTimeout(submit, LONE_DIGIT_MS);
});

// Scanners end with Enter, Tab, or a line feed typed as Ctrl+J or Ctrl+M.
field.addEventListener("keydown", (event) => {
  const ends = event.key === "Tab" && !event.shiftKey && field.value !== "";
  const feeds = event.ctrlKey && ["j", "m"].includes(event.key.toLowerCase());
  if (!ends && !feeds) return;
  event.preventDefault();
  submit();
});

// A key that no other field waits for is the scanner's, wherever the focus is.
document.addEventListener(
  "keydown",
  (event) => {
    if (dialog.open || event.target === field) return;
    if (event.key.length === 1 && event.key !== " " && !event.ctrlKey && !event.altKey && !event.metaKey) {
      field.focus({ preventScroll: true });
    }
  },
  true,
);

function listen() {
  if (!dialog.open) field.focus({ preventScroll: true });
}

function reachedByKeyboard(element) {
  return element instanceof HTMLElement && element !== document.body && element.matches(":focus-visible");
}

document.addEventListener("click", (event) => {
  if (!event.target.closest("a")) listen();
});
document.addEventListener("visibilitychange", listen);
// Another page of this browser may have heard a badge meanwhile.
addEventListener("focus", () => {
  listen();
  if (queue.waiting.length === 0) askWho();
});
field.addEventListener("blur", () => {
  setTimeout(() => {
    if (!reachedByKeyboard(document.activeElement)) listen();
  }, 0);
});
setInterval(() => {
  const deaf = !document.hasFocus();
  find("deaf").hidden = !deaf;
  root.classList.toggle("is-deaf", deaf);
}, 500);

// -- buttons ---------------------------------------------------------------------------------

for (const button of root.querySelectorAll("[data-send]")) {
  button.addEventListener("click", () => send(button.dataset.send));
}
for (const button of root.querySelectorAll("[data-digit]")) {
  button.addEventListener("click", () => {
    const key = button.dataset.digit;
    if (key === "enter") submit();
    else if (key === "back") field.value = field.value.slice(0, -1);
    else field.value += key;
  });
}

// Touch screens would cover half the page with a keyboard that a scanner does not need.
find("keyboard").addEventListener("click", (event) => {
  const typing = field.inputMode === "none";
  field.inputMode = typing ? "text" : "none";
  event.currentTarget.setAttribute("aria-pressed", String(typing));
  field.blur();
  listen();
});

function showSound() {
  find("sound").setAttribute("aria-pressed", String(soundIsOn()));
  find("sound-word").textContent = soundIsOn() ? "Sound on" : "Sound off";
}
find("sound").addEventListener("click", () => {
  setSound(!soundIsOn());
  showSound();
  if (soundIsOn()) signal("ok");
});

find("start").remove();
showSound();
askStation();
listen();
queue.send();
