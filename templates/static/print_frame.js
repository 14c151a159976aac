// Prints what is loaded into a hidden frame, one after the other: a second one sent meanwhile would
// take the frame from the first, whose label would never come.

// A browser that saves PDFs instead of showing them loads nothing into the frame.
const NO_PDF_MS = 8000;

// Returns what takes the next one: a function that loads it into the frame. `after` is called when
// it was given to the printer.
export function printFrame(frame, after) {
  const waiting = [];
  let printing = null;

  function next() {
    if (printing || waiting.length === 0) return;
    const load = waiting.shift();
    printing = setTimeout(done, NO_PDF_MS);
    load();
  }

  function done() {
    clearTimeout(printing);
    printing = null;
    next();
  }

  frame.addEventListener("load", () => {
    if (!printing) return;
    try {
      frame.contentWindow.focus();
      frame.contentWindow.print();
    } catch {
      // A browser that shows no PDF in the page saves it; the list has a button for it too.
    }
    after();
    done();
  });

  return (load) => {
    waiting.push(load);
    next();
  };
}
