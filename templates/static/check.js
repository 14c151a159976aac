// The label of pieces just taken is printed as they come, once.

const form = document.querySelector("[data-print]");
const frame = document.querySelector("[name=labels-frame]");
const field = document.querySelector("[data-desk-code]");
const KEY = "msdtrack.check labels";

let printing = false;

function printed() {
  return JSON.parse(sessionStorage.getItem(KEY) || "[]");
}

function printNew() {
  const code = document.querySelector("[data-print-child]")?.dataset.printChild;
  if (!code || printed().includes(code)) return;
  sessionStorage.setItem(KEY, JSON.stringify([...printed().slice(-50), code]));
  form.action = form.dataset.url.replace("CODE", encodeURIComponent(code));
  printing = true;
  form.submit();
}

frame.addEventListener("load", () => {
  if (!printing) return;
  printing = false;
  try {
    frame.contentWindow.focus();
    frame.contentWindow.print();
  } catch {
    // A browser that shows no PDF in the page saves it; the list has a button for it too.
  }
  field.focus();
});

new MutationObserver(printNew).observe(document.querySelector("[data-desk]"), {
  childList: true,
  subtree: true,
});
printNew();
