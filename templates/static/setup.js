// The scanner test: what the scanner typed goes to the server, which knows what should have come.

const form = document.querySelector("[data-scanner-test]");
const field = form.querySelector("input");
const good = document.querySelector("[data-scanner-good]");
const wrong = document.querySelector("[data-scanner-wrong]");

function say(place, words) {
  good.hidden = wrong.hidden = true;
  place.querySelector("[data-words-here]").textContent = words;
  place.hidden = false;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const typed = field.value;
  field.value = "";
  field.focus();
  try {
    const answer = await fetch(form.dataset.scannerTest, {
      method: "POST",
      body: new URLSearchParams({ typed }),
    });
    if (!answer.ok) throw new Error(`status ${answer.status}`);
    const { good: right, message } = await answer.json();
    say(right ? good : wrong, message);
  } catch {
    say(wrong, "The server did not answer. Look whether it runs, then scan again.");
  }
});
