// A page with one scan field: sends what was typed, one after the other, and shows what came of it
// without losing the field's focus or what is being typed meanwhile. A scan that the server has not
// answered is kept on the screen and sent again; the server does each only once.

import { signal } from "./scan_sound.js";
import { showWhoOf } from "./who.js";

const AGAIN_MS = 1500;
const TIMEOUT_MS = 15000;

const form = document.querySelector("[data-desk]");
const field = form.querySelector("[data-desk-code]");
const deaf = form.querySelector("[data-desk-deaf]");
const unsent = form.querySelector("[data-desk-unsent]");
const words = form.querySelector("[data-desk-waiting]");

// By the server's clock: one that is sent late still counts from when it was made.
const servedAt = Number(document.querySelector("[data-served-at]")?.dataset.servedAt);
const aheadS = servedAt ? servedAt - Math.floor(Date.now() / 1000) : 0;

const waiting = [];
let working = false;

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const button = event.submitter;
  const code = button?.name === "code" ? button.value : field.value.trim();
  field.value = "";
  field.focus();
  if (!code) return;
  waiting.push({ code, at: Math.floor(Date.now() / 1000) + aheadS });
  work();
});

async function work() {
  if (working) return;
  working = true;
  while (waiting.length > 0) {
    // What was put together so far goes with it, as the page holds it now.
    const body = new FormData(form);
    body.set("code", waiting[0].code);
    body.set("scanned_at", waiting[0].at);
    await send(new URLSearchParams(body));
    waiting.shift();
  }
  working = false;
}

async function send(body) {
  for (;;) {
    try {
      const answer = await fetch(form.action, {
        method: "POST",
        body,
        signal: AbortSignal.timeout(TIMEOUT_MS),
      });
      if (answer.status < 500) {
        show(await answer.text(), answer);
        unsent.hidden = true;
        return;
      }
    } catch {
      // It is sent again.
    }
    words.textContent = waiting.map((each) => each.code).join(", ");
    if (unsent.hidden) signal("refuse");
    unsent.hidden = false;
    await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
  }
}

function show(text, answer) {
  const page = new DOMParser().parseFromString(text, "text/html");
  const part = page.querySelector("[data-desk-part]");
  if (!part) {
    location.assign(answer.redirected ? answer.url : location.href);
    return;
  }
  form.querySelector("[data-desk-part]").replaceWith(part);
  for (const name of ["[data-live-part]", "[data-desk-beside]"]) {
    const fresh = page.querySelector(name);
    if (fresh) document.querySelector(name)?.replaceChildren(...fresh.childNodes);
  }
  showWhoOf(page);
  if (answer.redirected) history.replaceState(null, "", answer.url);
  const tone = part.querySelector("[data-desk-tone]")?.dataset.deskTone;
  if (tone) signal(tone);
}

// A scanner types wherever the focus is: what is no field of its own gives it back.
function busy() {
  const there = document.activeElement;
  return there !== field && there?.closest("input, select, textarea, iframe");
}

function listen() {
  deaf.hidden = document.hasFocus() && !busy();
  form.classList.toggle("is-deaf", !deaf.hidden);
}

document.addEventListener("keydown", (event) => {
  const plain = event.key.length === 1 && !event.ctrlKey && !event.altKey && !event.metaKey;
  if (plain && event.key !== " " && !busy()) field.focus();
});
deaf.addEventListener("click", () => field.focus());
document.addEventListener("focusin", listen);
document.addEventListener("focusout", () => setTimeout(listen));
window.addEventListener("focus", listen);
window.addEventListener("blur", listen);
window.addEventListener("beforeunload", (event) => waiting.length > 0 && event.preventDefault());
field.focus();
listen();
