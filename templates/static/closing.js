// What the makers of bag and desiccant say is the same every time: this browser remembers it.

const KEY = "msdtrack.closing.";
const form = document.querySelector("[data-closing]");

for (const name of ["wvtr", "unit_g", "size"]) {
  const field = form.elements[name];
  const kept = localStorage.getItem(KEY + name);
  const asked = new URLSearchParams(location.search).has(name);
  if (kept && !asked) field.value = kept;
  field.addEventListener("change", () => localStorage.setItem(KEY + name, field.value));
}

const size = form.elements.size;
const other = ["width_mm", "length_mm"].map((name) => form.elements[name].closest(".field"));
function fit() {
  for (const each of other) each.hidden = size.value !== "other";
}
size.addEventListener("change", fit);
fit();
