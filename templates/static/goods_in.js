// Goods-in: hears the scanner, has the label read by the server, asks one thing at a time, and
// receives what was confirmed. All that is known of a label is sent each time; the server keeps none.

import { Refusal, post } from "./asking.js";
import { GoodsInScreen, MOST_LISTED } from "./goods_in_screen.js";
import { newId } from "./ids.js";
import { printFrame } from "./print_frame.js";
import { signal } from "./scan_sound.js";
import { typeSeparators } from "./wedge.js";
import { isBadge, sayWho, whoIsHere } from "./who.js";
import { counted } from "./words.js";

const KEY = "msdtrack.goods-in";
const LAYOUT_KEY = "msdtrack.goods-in.layout";
const KEPT = ["place"];
const TWICE_WITHIN_MS = 3000;
const UNSEEN_MS = 400;
const LONE_DIGIT_MS = 350;
const MISSING = { part: "the part", lot: "the lot", quantity: "the quantity" };

const root = document.querySelector("[data-goods]");
const find = (name) => root.querySelector(`[data-${name}]`);
const field = find("code");
const form = find("part-form");

let label = blank();
let reading = null;
let follows = null;
let series = 0;
let done = [];
let dropAskedAt = -Infinity;
let last = { scan: "", at: -Infinity };
let tasks = [];
let working = false;

const screen = new GoodsInScreen(root, {
  onAnswer: (name, value) => inTurn(() => answer(name, value)),
  onChange: (name) => inTurn(() => read(label, name)),
  onLabels: (code) => print(code, "_blank"),
});

function blank() {
  return { scans: [], answers: {}, id: null };
}

// -- what a reload must not lose ---------------------------------------------------------------

function keep() {
  sessionStorage.setItem(KEY, JSON.stringify({ label, follows, series, done: done.slice(0, MOST_LISTED) }));
}

function recall() {
  try {
    const kept = JSON.parse(sessionStorage.getItem(KEY));
    if (kept) ({ label, follows, series, done } = kept);
  } catch {
    sessionStorage.removeItem(KEY);
  }
}

// -- one thing after the other ------------------------------------------------------------------

// However fast the scanner is. What the server did not answer stays at
// the head and is tried again, so that no scan is lost.
function inTurn(task) {
  tasks.push(task);
  workOff();
}

async function workOff() {
  if (working) return;
  working = true;
  while (tasks.length) {
    try {
      await tasks[0]();
      tasks.shift();
    } catch (error) {
      const unanswered = error instanceof Refusal && (error.status === 0 || error.status >= 500);
      if (!unanswered) tasks.shift();
      showError(error, unanswered);
      if (unanswered) break;
    }
  }
  working = false;
  keep();
  listen();
}

// A label goes by the name of who is here when it is sent; one that was typed signs its one label.
function signed({ person, ...others }) {
  const by = whoIsHere() || (isBadge(person) ? "" : person);
  return by ? { ...others, person: by } : others;
}

// A badge that was scanned between labels says who is here, on every page of this browser.
async function greet({ person }) {
  if (!isBadge(person) || person === whoIsHere()) return;
  try {
    await sayWho(person);
  } catch {
    throw new Refusal({ detail: "The server does not answer." }, 0);
  }
}

async function read(next, again = null) {
  const heard = await post(root.dataset.parseUrl, {
    scans: next.scans,
    answers: signed(next.answers),
    follows,
    ask: again,
  });
  await greet(heard.answers);
  label = { scans: heard.scans, answers: heard.answers, id: null };
  reading = heard;
  if (heard.at_once) await receive();
  else showReading();
}

async function receive() {
  // Sent again it must be the same to the letter, or the server takes it for another one.
  if (!label.id) label = { ...label, answers: signed(label.answers), id: newId() };
  keep();
  const received = await post(root.dataset.receiveUrl, { ...label, follows });
  series = received.lot === done[0]?.lot && follows === done[0]?.code ? series + 1 : 1;
  done.unshift(received);
  const { bag_condition: bag, sealed_on: sealedOn } = label.answers;
  follows = bag === "sealed" && sealedOn !== "none" ? received.code : null;
  last = { scan: label.scans.at(-1), at: performance.now() };
  const kept = Object.entries(label.answers).filter(
    ([name]) => KEPT.includes(name) || name.startsWith("what:"),
  );
  label = { scans: [], answers: Object.fromEntries(kept), id: null };
  reading = null;
  showReceived(received);
  print(received.code);
}

// -- what was scanned or typed -----------------------------------------------------------------

function take(typed) {
  const text = typed.replace(/[\r\n]+$/, "");
  if (text.trim() === "") {
    // A scanner that sends two line ends must not confirm what nobody has seen yet.
    if (working) return;
    if (tasks.length) workOff();
    else if (performance.now() - screen.shownAt > UNSEEN_MS) inTurn(confirm);
    return;
  }
  inTurn(() => heard(text));
}

async function heard(text) {
  const code = text.trim().toUpperCase();
  if (code === root.dataset.confirm) return confirm();
  if (code === root.dataset.drop) return label.scans.length ? drop() : endSeries();
  const question = reading?.question;
  if (question && question.kind !== "part" && !isScan(text, question)) {
    const picked = /^\d{1,2}$/.test(code) && question.options[Number(code) - 1];
    if (picked) return answer(question.name, picked.value);
    if (question.kind !== "choice") return answer(question.name, text.trim());
  }
  return scan(text);
}

// A lot can look like a code of ours; everywhere else such a code is a scan and no answer.
function isScan(text, question = null) {
  if (/^(\][A-Za-z][0-9A-Za-z]|\[\)>)/.test(text)) return true;
  return question?.name !== "lot" && /^[CPWB][0-9]{6,}[0-9A-Z]$/i.test(text.trim());
}

async function scan(text) {
  if (!label.scans.length && text === last.scan && performance.now() - last.at < TWICE_WITHIN_MS) {
    screen.say("ask", "Scanned twice?", "The same label came twice in a moment: the second was left out. If it is on another bag, scan it once more.");
    return;
  }
  await read({ ...label, scans: [...label.scans, text] });
}

function answer(name, value) {
  return read({ ...label, answers: { ...label.answers, [name]: value } });
}

async function confirm() {
  const question = reading?.question;
  if (question && question.default !== null) await answer(question.name, question.default);
  else if (reading?.ready) await receive();
  else if (question || reading?.missing.length) showReading();
  else if (label.scans.length) await read(label);
}

function drop() {
  const kept = Object.entries(label.answers).filter(([name]) => KEPT.includes(name));
  label = { scans: [], answers: Object.fromEntries(kept), id: null };
  reading = null;
  showReading();
  screen.say("idle", "Dropped", "Nothing was received of it. Scan the next label.");
}

function endSeries() {
  follows = null;
  series = 0;
  showSeries();
  screen.say("idle", "Scan the label on the bag", "The next bag is asked about from the start.");
}

// -- what is on the screen ---------------------------------------------------------------------

function showReading() {
  screen.showTold(reading, label.scans.length > 0);
  showSeries();
  const question = reading?.question ?? null;
  const ready = Boolean(reading?.ready);
  screen.showQuestion(question);
  find("confirm-row").hidden = !ready;
  find("confirm-button").firstChild.textContent = ready ? "Confirm and receive " : "";
  if (question) {
    const noOptions = question.kind !== "choice" && question.kind !== "part";
    const how = noOptions ? ` Type it and press Enter.` : "";
    screen.say("ask", question.text, `${question.hint}${question.default === null ? how : ""}`);
  } else if (ready) {
    const looks = reading.cautions.length ? "Mind the notes. " : "";
    screen.say("ask", "Is all of this right?", `${looks}Compare with the label, then confirm with Enter or scan Done.`);
  } else if (reading?.missing.length) {
    const names = reading.missing.map((name) => MISSING[name]);
    screen.say("ask", `Scan ${names.join(", then ")}`, "Its bar code on the same label.");
  } else {
    screen.say("idle", "Scan the label on the bag", "Part, lot and quantity are needed; the rest is asked.");
  }
  if (reading) signal(ready || reading.question ? "ask" : "ok");
}

function showReceived(received) {
  showReading();
  const nth = series > 1 ? `, ${series} of this lot one after the other` : "";
  screen.say("ok", `${received.code} received`, `${received.part}, lot ${received.lot}, ${counted(received.quantity, "piece")}${nth}. Stick one label on the bag, one on the carrier.`);
  signal("ok");
  screen.showDone(done);
}

function showSeries() {
  find("series").hidden = follows === null || label.scans.length > 0;
  const [newest] = done;
  if (newest) find("series-words").textContent = `Lot ${newest.lot}.`;
}

function showError(error, unanswered) {
  signal("refuse");
  if (!(error instanceof Refusal)) {
    screen.say("refuse", "Something went wrong", "Load the page again; what was scanned of this label is kept.");
    console.error(error);
  } else if (unanswered) {
    const count = tasks.length > 1 ? ` ${tasks.length} entries wait.` : "";
    screen.say("refuse", "Not saved yet", `${error.message}${count} Press Enter to try again.`);
  } else if (error.status === 409) {
    drop();
    screen.say("refuse", "Nothing received", error.message);
  } else {
    if (reading) showReading();
    const asked = reading?.question;
    const still = asked ? ` Still asked: ${asked.text}` : "";
    screen.say("refuse", "Not taken", error.message + still);
  }
}

addEventListener("beforeunload", (event) => {
  if (tasks.length) event.preventDefault();
});

// -- labels ------------------------------------------------------------------------------------

const frame = root.querySelector("iframe");
const printHere = printFrame(frame, listen);

function print(code, target = "labels-frame") {
  const layout = find("layout").value || (target === "_blank" && find("layout").options[0].value);
  if (!layout) return;
  const load = () => {
    const sheet = find("print");
    sheet.action = root.dataset.labelUrl.replace("CODE", encodeURIComponent(code));
    sheet.target = target;
    sheet.elements.layout.value = layout;
    sheet.submit();
  };
  if (target === "_blank") load();
  else printHere(load);
}

find("layout").value = localStorage.getItem(LAYOUT_KEY) ?? find("layout").value;
find("layout").addEventListener("change", () => {
  localStorage.setItem(LAYOUT_KEY, find("layout").value);
});

// -- hearing the scanner -----------------------------------------------------------------------

find("entry").addEventListener("submit", (event) => {
  event.preventDefault();
  const typed = field.value;
  clearTimeout(loneDigit);
  field.value = "";
  take(typed);
});

// A digit alone picks an answer; in front of a date or a number it is the first of several.
let loneDigit;
field.addEventListener("input", () => {
  clearTimeout(loneDigit);
  const question = reading?.question;
  const offered = /^[1-9]$/.test(field.value) && question?.options[Number(field.value) - 1];
  const alone = question?.kind === "choice" && question.options.length < 10;
  if (!offered || !alone || working) return;
  loneDigit = setTimeout(() => find("entry").requestSubmit(), LONE_DIGIT_MS);
});
typeSeparators(field, () => {
  // A line feed that ends a scan; with nothing typed it is the second one of two.
  if (field.value) find("entry").requestSubmit();
});

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && label.scans.length) {
    event.preventDefault();
    if (performance.now() - dropAskedAt < TWICE_WITHIN_MS) {
      dropAskedAt = -Infinity;
      inTurn(drop);
    } else {
      dropAskedAt = performance.now();
      inTurn(async () => {
        await read(label);
        screen.say("ask", "Drop this label?", "Press Esc once more to drop it. Any other key keeps it.");
      });
    }
    return;
  }
  const elsewhere = event.target.closest?.("input, select, textarea, dialog");
  if (elsewhere || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key.length === 1 && event.key !== " ") field.focus({ preventScroll: true });
}, true);

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const typed = form.elements.part.value;
  if (isScan(typed)) {
    form.elements.part.value = "";
    take(typed);
    return;
  }
  const isNew = !screen.isOnFile(typed.trim());
  if (isNew && document.activeElement === form.elements.part) {
    // The next bar of the label ends in Enter, too: that alone must put no part on file.
    form.elements.part.select();
    screen.say("ask", `${typed.trim()} is not on file`, "Another bar of the label waits until this is answered: type our number over it. If the part is new, go on with its level, then take it.");
    return;
  }
  const answers = { ...label.answers, part: form.elements.part.value.trim() };
  for (const name of ["new_msl", "new_body_mm", "new_description"]) {
    delete answers[name];
    const value = form.elements[name].value.trim();
    if (isNew && (value || name !== "new_msl")) answers[name] = value;
  }
  inTurn(() => read({ ...label, answers }));
});
find("confirm-button").addEventListener("click", () => inTurn(confirm));
find("drop-button").addEventListener("click", () => inTurn(drop));
find("end-series").addEventListener("click", () => inTurn(endSeries));

function listen() {
  const active = document.activeElement;
  const busy = active?.closest?.("[data-part-form], select") && !form.hidden;
  if (!busy) field.focus({ preventScroll: true });
}

document.addEventListener("click", (event) => {
  if (!event.target.closest("a, input, select, summary, label")) listen();
});
find("layout").addEventListener("change", listen);
addEventListener("focus", listen);
setInterval(() => {
  find("deaf").hidden = document.hasFocus() && document.activeElement !== frame;
}, 500);
find("deaf").addEventListener("click", listen);

recall();
screen.showDone(done);
showReading();
if (label.scans.length) inTurn(() => read(label));
listen();
