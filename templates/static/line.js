// Shows as many rows as fit the wall screen and says how many more there are.

const root = document.querySelector("[data-live]");

function cutOff(list, rows) {
  const bottom = list.getBoundingClientRect().bottom;
  return rows.filter((row) => row.getBoundingClientRect().bottom > bottom + 1);
}

function fit() {
  const list = root.querySelector("[data-fit]");
  const more = root.querySelector("[data-more]");
  if (!list || !more) return;
  const rows = [...list.querySelectorAll("[data-row]")];
  for (const row of rows) row.hidden = false;
  more.hidden = Number(more.dataset.beyond) === 0;
  // The line that says how many more there are takes room itself.
  if (cutOff(list, rows).length > 0) more.hidden = false;
  const hidden = cutOff(list, rows);
  for (const row of hidden) row.hidden = true;
  more.querySelector("[data-more-number]").textContent = hidden.length + Number(more.dataset.beyond);
}

root.addEventListener("refreshed", fit);
window.addEventListener("resize", fit);
document.fonts.ready.then(fit);
fit();
