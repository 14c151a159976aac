// Prints the proof; without scripts the browser's own menu does it.

document.querySelector("[data-print-page]").addEventListener("click", () => print());
