// What goods-in shows: what to do now, what the label says, what was received.

import { counted } from "./words.js";

export const MOST_LISTED = 30;
const WORDS = { ok: "OK", ask: "QUESTION", refuse: "STOP", idle: "READY" };
const SOURCES = { label: "", file: "on file", said: "as said", tables: "by the tables" };
const MAIN = ["part", "lot", "quantity", "msl", "life_h", "sealed_on"];

export class GoodsInScreen {
  constructor(root, { onAnswer, onChange, onLabels }) {
    this.root = root;
    this.onAnswer = onAnswer;
    this.onChange = onChange;
    this.onLabels = onLabels;
    this.form = this.find("part-form");
    this.shownAt = 0;
    this.form.elements.part.addEventListener("input", () => this.showNewPart());
  }

  find(name) {
    return this.root.querySelector(`[data-${name}]`);
  }

  say(tone, title, message) {
    this.find("ask").dataset.tone = tone;
    this.find("word").textContent = WORDS[tone];
    this.find("title").textContent = title;
    this.find("message").textContent = message;
    this.shownAt = performance.now();
  }

  showQuestion(question) {
    const list = this.find("options");
    const options = question?.options ?? [];
    list.replaceChildren(...options.map((option, index) => this.optionRow(question, option, index)));
    list.hidden = options.length === 0;
    this.form.hidden = question?.kind !== "part";
    if (this.form.hidden) return;
    const fields = this.form.elements;
    for (const [name, value] of Object.entries(question.given)) fields[name].value = value;
    this.showNewPart();
    fields.part.focus();
    fields.part.select();
  }

  optionRow(question, option, index) {
    const button = plainButton("", () => this.onAnswer(question.name, option.value));
    button.className = "";
    button.append(element("kbd", index + 1), option.text);
    const row = element("li");
    row.append(button);
    return row;
  }

  isOnFile(number) {
    const known = this.root.querySelectorAll("#goods-parts option");
    return [...known].some((one) => one.value === number);
  }

  showNewPart() {
    const number = this.form.elements.part.value.trim();
    this.find("new-part").hidden = number === "" || this.isOnFile(number);
  }

  showTold(reading, hasScans) {
    const lines = reading?.told ?? [];
    this.find("nothing").hidden = lines.length > 0 || hasScans;
    this.find("told").hidden = lines.length === 0;
    this.find("told").tBodies[0].replaceChildren(...lines.map((line) => this.toldRow(line)));
    this.find("drop-row").hidden = !hasScans;
    const cautions = reading?.cautions ?? [];
    this.find("cautions").hidden = cautions.length === 0;
    this.find("cautions").replaceChildren(
      ...cautions.map((words) => {
        const row = this.find("caution-row").content.cloneNode(true);
        row.querySelector("span").textContent = words;
        return row;
      }),
    );
  }

  toldRow(line) {
    const row = element("tr");
    row.dataset.line = line.words;
    if (MAIN.includes(line.name)) row.className = "main";
    const name = element("th", line.words);
    name.scope = "row";
    const value = element("td");
    value.append(element("b", line.value));
    if (SOURCES[line.source]) value.append(element("small", SOURCES[line.source]));
    const change = element("td");
    change.className = "change";
    if (line.name) {
      const button = plainButton("change", () => this.onChange(line.name));
      button.setAttribute("aria-label", `Change: ${line.words}`);
      change.append(button);
    }
    row.append(name, value, change);
    return row;
  }

  showDone(done) {
    this.find("none-done").hidden = done.length > 0;
    const rows = done.slice(0, MOST_LISTED).map((received) => this.doneRow(received));
    this.find("done").replaceChildren(...rows);
  }

  doneRow({ code, part, lot, quantity }) {
    const link = element("a", code);
    link.className = "code";
    link.href = this.root.dataset.carrierUrl.replace("CODE", encodeURIComponent(code));
    const labels = plainButton("labels", () => this.onLabels(code));
    labels.setAttribute("aria-label", `Labels of ${code}`);
    const row = element("li");
    row.append(link, element("span", `${part} · lot ${lot} · ${counted(quantity, "piece")}`), labels);
    return row;
  }
}

function element(name, text = "") {
  const made = document.createElement(name);
  made.textContent = text;
  return made;
}

function plainButton(text, onClick) {
  const made = element("button", text);
  made.type = "button";
  made.className = "plain";
  made.addEventListener("click", onClick);
  return made;
}
