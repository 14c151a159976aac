// Who is at this browser, in the head of every page. Another page of it may have heard a badge, and
// the time may have run out, while this one stood open: what it shows must be what is signed.

const root = document.querySelector("[data-who]");
let aheadMs = 0;
let shown = 0;

export function isBadge(text) {
  return /^W[0-9]{6,}[0-9A-Z]$/i.test(text ?? "");
}

// Code of the badge, "" for nobody.
export function whoIsHere() {
  return root.dataset.who;
}

function show({ code, name, until }) {
  const before = root.dataset.who;
  shown += 1;
  root.dataset.who = code;
  root.dataset.until = until;
  root.querySelector("[data-who-name]").textContent = code ? name : "nobody";
  root.querySelector("[data-who-drop]").hidden = !code;
  root.querySelector("[data-who-say]").hidden = Boolean(code);
  if (code === before) return;
  // A name that stands in a form for who was here would sign for who is gone.
  for (const select of document.querySelectorAll('select[name="person"], select[name="who"]')) {
    if (select.value === before) select.value = code;
  }
}

async function askWho() {
  const before = shown;
  try {
    const answer = await fetch(root.dataset.now, { cache: "no-store" });
    if (!answer.ok) return;
    const heard = await answer.json();
    aheadMs = heard.now * 1000 - Date.now();
    // A badge that was heard meanwhile is newer.
    if (shown === before) show(heard);
  } catch {
    // The next look comes when the page is looked at again.
  }
}

// A badge that was heard by a script; throws if the server does not answer.
export async function sayWho(badge) {
  const body = new URLSearchParams({ badge, back: root.dataset.now });
  const answer = await fetch(root.action, { method: "POST", body });
  if (answer.ok) show(await answer.json());
}

// The answer of a desk brings the head of its page with it.
export function showWhoOf(page) {
  const { who, until } = page.querySelector("[data-who]").dataset;
  show({ code: who, until, name: page.querySelector("[data-who-name]").textContent });
}

// The time of the server is asked for: in the page it would make each second another page.
if (root.dataset.who) askWho();
addEventListener("focus", askWho);
addEventListener("pageshow", (event) => event.persisted && askWho());
document.addEventListener("visibilitychange", () => document.hidden || askWho());
setInterval(() => {
  const over = Number(root.dataset.until) * 1000 < Date.now() + aheadMs;
  if (root.dataset.who && over) askWho();
}, 5000);
