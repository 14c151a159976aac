// What scanners that type like a keyboard make of the control characters between the fields of a 2D
// label. A browser drops most of it: this puts a sign into the field for each, and the server
// learns from the beginning of the label which sign is which.

const LABEL_BEGINS = /^(\][A-Za-z][0-9A-Za-z])?\[\)>/;
const BEFORE_FIRST_FIELD = /^(\][A-Za-z][0-9A-Za-z])?\[\)>[^0-9]?(06)?$/;
const CONTROL = { "]": "\u001d", "^": "\u001e", 6: "\u001e", d: "\u0004" };
const CODES = { Digit6: "6", BracketRight: "]", KeyD: "d" };
const PRIVATE_USE = 0xe000;

// `ended` is called when Tab, or a line feed typed with Ctrl, ends what is in the field.
export function typeSeparators(field, ended) {
  let altDigits = "";

  field.addEventListener("keydown", (event) => {
    const inLabel = LABEL_BEGINS.test(field.value);
    if (event.ctrlKey && !event.altKey && ["j", "m"].includes(event.key.toLowerCase())) {
      event.preventDefault();
      ended();
    } else if (event.ctrlKey && !event.altKey && !event.metaKey && inLabel) {
      const sign = CONTROL[event.key.toLowerCase()] ?? CONTROL[CODES[event.code]];
      if (sign) put(event, sign);
    } else if (event.altKey && /^(Numpad|Digit)\d$/.test(event.code) && inLabel) {
      event.preventDefault();
      altDigits += event.code.at(-1);
    } else if (/^F\d{1,2}$/.test(event.key) && inLabel) {
      put(event, String.fromCharCode(PRIVATE_USE + Number(event.key.slice(1))));
    } else if (event.key === "Tab" && !event.shiftKey && field.value) {
      // Tab between the fields comes right after the beginning of the label, or never.
      if (BEFORE_FIRST_FIELD.test(field.value) || (inLabel && field.value.includes("\t"))) {
        put(event, "\t");
      } else {
        event.preventDefault();
        ended();
      }
    }
  });

  field.addEventListener("keyup", (event) => {
    if (event.key !== "Alt" || !altDigits) return;
    const code = Number(altDigits);
    altDigits = "";
    if ([4, 29, 30].includes(code)) put(event, String.fromCharCode(code));
  });

  function put(event, sign) {
    event.preventDefault();
    field.setRangeText(sign, field.selectionStart, field.selectionEnd, "end");
  }
}
