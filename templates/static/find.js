// Finds rows as one types; the key / goes to the field, Escape empties it. Survives a refresh.

const field = document.querySelector("[data-find]");
const root = document.querySelector("[data-live]") || document;

function find() {
  const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
  let shown = 0;
  for (const row of document.querySelectorAll("[data-words]")) {
    row.hidden = !words.every((word) => row.dataset.words.includes(word));
    if (!row.hidden) shown += 1;
  }
  const none = document.querySelector("[data-none-found]");
  if (none) none.hidden = shown > 0;
}

field.addEventListener("input", find);
field.addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    field.value = "";
    find();
  } else if (event.key === "Enter") {
    event.preventDefault();
    document.querySelector("[data-words]:not([hidden]) a")?.focus();
  }
});
document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, select, textarea");
  if (event.key === "/" && !typing) {
    event.preventDefault();
    field.focus();
    field.select();
  }
});
root.addEventListener("refreshed", find);
for (const form of document.querySelectorAll("[data-send-on-change]")) {
  form.querySelector("[data-send-button]").hidden = true;
  form.querySelector("select").addEventListener("change", () => form.requestSubmit());
}
find();
