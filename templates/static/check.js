// The label of pieces just taken is printed as they come, once.

import { printFrame } from "./print_frame.js";

const form = document.querySelector("[data-print]");
const field = document.querySelector("[data-desk-code]");
const KEY = "msdtrack.check labels";

const print = printFrame(document.querySelector("[name=labels-frame]"), () => field.focus());

function printed() {
  return JSON.parse(sessionStorage.getItem(KEY) || "[]");
}

function printNew() {
  const code = document.querySelector("[data-print-child]")?.dataset.printChild;
  if (!code || printed().includes(code)) return;
  sessionStorage.setItem(KEY, JSON.stringify([...printed().slice(-50), code]));
  print(() => {
    form.action = form.dataset.url.replace("CODE", encodeURIComponent(code));
    form.submit();
  });
}

new MutationObserver(printNew).observe(document.querySelector("[data-desk]"), {
  childList: true,
  subtree: true,
});
printNew();
