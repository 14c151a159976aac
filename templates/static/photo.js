// A photo instead of a scanner: the server reads the codes, and they go to the page's field as if
// they had been typed there. A file field needs no secure connection, other than a camera in a page.

const HEADER = "[)>";
const LONGEST_SIDE = 3200;

for (const root of document.querySelectorAll("[data-photo]")) watch(root);

function watch(root) {
  const input = root.querySelector("input[type=file]");
  input.addEventListener("change", async () => {
    const [file] = input.files;
    // The same picture can be chosen again.
    input.value = "";
    if (!file) return;
    offer(root, []);
    tell(root, "Reading the picture …");
    try {
      take(root, await codesOn(root.dataset.url, file));
    } catch (error) {
      tell(root, error.message);
    }
  });
}

async function codesOn(url, file) {
  const picture = await smallJpeg(file);
  let answer;
  try {
    answer = await fetch(url, {
      method: "POST",
      headers: { "Content-Type": picture.type },
      body: picture,
    });
  } catch {
    throw new Error("The server did not answer. Take the picture again in a moment.");
  }
  const heard = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(heard.detail || "The picture could not be read.");
  return heard.codes;
}

// A phone's picture is larger than needed, and sometimes of a kind that only the phone can open.
async function smallJpeg(file) {
  const known = ["image/jpeg", "image/png"].includes(file.type);
  try {
    const image = await createImageBitmap(file);
    const scale = Math.min(1, LONGEST_SIDE / Math.max(image.width, image.height));
    if (known && scale === 1) return file;
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(image.width * scale);
    canvas.height = Math.round(image.height * scale);
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    return await new Promise((done, fail) => {
      canvas.toBlob((blob) => (blob ? done(blob) : fail(new Error("empty"))), "image/jpeg", 0.9);
    });
  } catch {
    if (known) return file;
    throw new Error("This picture can't be opened here. Set the camera to JPEG.");
  }
}

function take(root, codes) {
  const texts = codes.map((code) => code.text);
  if (texts.length === 1 || texts[0].startsWith(HEADER)) {
    tell(root, `Read: ${printable(texts[0])}`);
    type(root, [texts[0]]);
    return;
  }
  tell(root, `${texts.length} codes are on the picture. Which one?`);
  offer(root, texts);
}

function offer(root, texts) {
  const list = root.querySelector(".photo-codes");
  const choices = texts.map((text) => button(root, printable(text), [text]));
  if (choices.length && root.dataset.all !== undefined) {
    choices.push(button(root, "All of them, one after the other", texts));
  }
  list.replaceChildren(...choices);
  list.hidden = choices.length === 0;
}

function button(root, words, texts) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "plain";
  made.textContent = words;
  made.addEventListener("click", () => {
    offer(root, []);
    tell(root, "");
    type(root, texts);
  });
  return made;
}

function type(root, texts) {
  const field = document.getElementById(root.dataset.field);
  for (const text of texts) {
    field.value = text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.form.requestSubmit();
  }
}

function tell(root, words) {
  const told = root.querySelector(".photo-told");
  told.textContent = words;
  told.hidden = !words;
}

function printable(text) {
  return text.replace(/[\u0000-\u001f]/g, " ").trim();
}
