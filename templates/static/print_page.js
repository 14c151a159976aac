// Prints the page; without scripts the browser's own menu does it.

document.querySelector("[data-print-page]").addEventListener("click", () => print());
