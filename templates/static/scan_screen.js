// Puts an answer on the screen, and keeps its clocks and its age true.

import { durationText, fineText } from "./words.js";

const WORDS = { ok: "OK", ask: "QUESTION", stop: "STOP", refuse: "STOP", idle: "READY", unsaved: "NOT SAVED YET" };
const DETAILS = ["step", "boards", "thing", "left", "caution", "clocks", "before", "numbers", "waiting"];
const AGE_FROM_S = 20;
const MISSED_WITHIN_MS = 4000;
const MOST_RECENT = 12;
const SVG = "http://www.w3.org/2000/svg";
const SPOT_NAMES = ["5 %", "10 %", "60 %"];

export class ScanScreen {
  constructor(root, { idleS, now, onChoice }) {
    this.root = root;
    this.idleS = idleS;
    this.now = now;
    this.onChoice = onChoice;
    this.choices = [];
    this.wantsNumber = false;
    this.personUntil = 0;
    this.shownAt = null;
    this.last = null;
    this.recent = [];
    setInterval(() => this.tick(), 250);
  }

  find(name) {
    return this.root.querySelector(`[data-${name}]`);
  }

  show(answer) {
    this.showMissed(answer);
    this.shownAt = this.now();
    this.find("answer").dataset.tone = answer.tone;
    this.find("word").textContent = WORDS[answer.tone];
    this.find("title").textContent = unbroken(answer.title);
    this.find("message").textContent = answer.message;
    this.showText("step", answer.next_step);
    this.find("thing").hidden = !answer.carrier;
    this.find("carrier").textContent = answer.carrier || "";
    this.find("part").textContent = answer.part ? `${answer.part}, level ${answer.msl}` : "";
    this.find("left").hidden = !answer.time_left;
    this.find("time-left").textContent = unbroken(answer.time_left);
    this.find("caution").hidden = !answer.caution;
    this.find("caution").querySelector("span").textContent = answer.caution;
    this.showBoards(answer);
    this.showClocks(answer.countdowns);
    this.showStation(answer);
    if (answer.scan_id) this.addRecent(answer);
    this.tick();
  }

  // What the station waits with, which a page just loaded asks for too.
  showStation(station) {
    if (station.person !== undefined) this.showPerson(station.person, station.person_until);
    this.find("waiting").hidden = !station.action;
    this.find("action").textContent = station.action || "";
    this.wantsNumber = station.wants_number;
    this.find("numbers").hidden = !station.wants_number;
    this.showChoices(station.choices);
    this.find("actions").open = !station.choices.length && !station.action;
  }

  showPerson(name, until) {
    this.personUntil = until;
    this.find("person-label").textContent = name ? "At work" : "At work: nobody";
    this.find("person").textContent = name || "Scan your badge";
    this.find("person").classList.toggle("is-nobody", !name);
    this.find("not-me").hidden = !name;
  }

  // Scans that follow each other fast must not wipe a refusal off the screen unseen.
  showMissed(answer) {
    const before = this.last;
    const red = before && (before.tone === "refuse" || before.tone === "stop");
    const missed = red && performance.now() - before.at < MISSED_WITHIN_MS;
    this.find("before").hidden = !missed;
    if (missed) this.find("before").textContent = `Just before: STOP, ${before.title}. ${before.message}`;
    this.last = { ...answer, at: performance.now() };
  }

  showText(name, text) {
    this.find(name).hidden = !text;
    this.find(name).textContent = text;
  }

  // What the scan station can't do with boards is done on their own page.
  showBoards({ boards }) {
    const to = this.find("boards");
    to.hidden = !boards;
    const link = to.firstElementChild;
    link.dataset.all ||= link.getAttribute("href");
    link.href = `${link.dataset.all}/${encodeURIComponent(boards || "")}`;
  }

  showClocks(countdowns) {
    const list = this.find("clocks");
    list.hidden = countdowns.length === 0;
    list.replaceChildren(
      ...pressing(countdowns).map(({ name, ends_at: endsAt, is_goal: isGoal }) => {
        const row = element("li", isGoal ? "clock goal" : "clock");
        row.dataset.endsAt = endsAt;
        row.append(element("span", "clock-name", name), element("b", "clock-time"));
        return row;
      }),
    );
  }

  showChoices(choices) {
    this.choices = choices;
    const box = this.find("choices");
    box.hidden = choices.length === 0;
    const asksCard = choices.some((choice) => choice.spots);
    box.classList.toggle("has-cards", asksCard);
    box.parentElement.classList.toggle("asks-card", asksCard);
    box.replaceChildren(...choices.map((choice, n) => this.choiceButton(choice, n + 1)));
  }

  choiceButton(choice, key) {
    const button = element("button", "choice");
    button.type = "button";
    button.append(element("kbd", "", String(key)));
    if (choice.spots) {
      button.classList.add("card");
      button.append(cardPicture(choice.spots));
    }
    button.append(element("span", "choice-text", choice.text));
    if (choice.minutes) button.classList.add("ago");
    if (choice.hint && (choice.spots || choice.minutes)) button.title = choice.hint;
    button.addEventListener("click", () => this.onChoice(choice.code));
    return button;
  }

  // Each answer brings the line of its own scan, and says which one it took back.
  addRecent(answer) {
    const others = this.recent.filter((scan) => scan.id !== answer.scan_id);
    for (const scan of others) scan.undone ||= scan.id === answer.took_back;
    this.showRecent([{ ...answer, id: answer.scan_id, undone: false }, ...others]);
  }

  // What a page just loaded asks for; scans answered meanwhile are newer.
  addEarlier(scans) {
    const listed = new Set(scans.map((scan) => scan.id));
    this.showRecent([...this.recent.filter((scan) => !listed.has(scan.id)), ...scans]);
  }

  showRecent(scans) {
    this.recent = scans.slice(0, MOST_RECENT);
    const pattern = this.root.querySelector("[data-recent-row]").content.firstElementChild;
    this.find("recent").replaceChildren(
      ...this.recent.map((scan) => {
        const row = pattern.cloneNode(true);
        row.dataset.tone = scan.tone;
        row.classList.toggle("undone", scan.undone);
        row.querySelector("time").textContent = scan.time;
        row.querySelector("b").textContent = scan.title;
        row.querySelector(".what").textContent =
          (scan.carrier || scan.boards || (scan.tone === "refuse" ? scan.code : "")) + (scan.undone ? ", taken back" : "");
        return row;
      }),
    );
  }

  // The answer to an earlier scan must not stand there as if it were the answer to this one.
  unsaved(count) {
    this.shownAt = null;
    this.last = null;
    this.find("answer").dataset.tone = "refuse";
    this.find("word").textContent = WORDS.unsaved;
    this.find("title").textContent = count === 1 ? "1 scan waits" : `${count} scans wait`;
    this.find("message").textContent =
      "The server does not answer. Go on scanning, or write the times on the labels by hand.";
    this.hideAll();
    this.showChoices([]);
    this.find("age").textContent = "";
  }

  hideAll() {
    for (const name of DETAILS) this.find(name).hidden = true;
    this.find("clocks").replaceChildren();
    this.wantsNumber = false;
  }

  // Back to waiting; an old answer must not look like a new one.
  idle() {
    this.shownAt = null;
    this.find("answer").dataset.tone = "idle";
    this.find("word").textContent = WORDS.idle;
    this.find("title").textContent = "Scan a carrier";
    this.find("message").textContent = "Carrier, then action. Or an action, then many carriers.";
    this.hideAll();
    this.showChoices([]);
    this.find("actions").open = true;
    this.find("age").textContent = "";
  }

  tick() {
    const now = this.now();
    if (this.personUntil && now > this.personUntil) this.showPerson("", 0);
    let running = false;
    for (const row of this.root.querySelectorAll("[data-ends-at]")) {
      const left = Number(row.dataset.endsAt) - now;
      row.classList.toggle("over", left <= 0);
      row.classList.toggle("soon", left > 0 && left <= 600);
      const over = row.classList.contains("goal") ? "reached" : `over by ${durationText(-left)}`;
      const text = left <= 0 ? over : fineText(left);
      const time = row.querySelector(".clock-time");
      if (time.textContent !== text) time.textContent = text;
      running ||= left > 0 && left < 3600;
    }
    if (this.shownAt === null) return;
    const age = now - this.shownAt;
    if (age > this.idleS && !running) {
      this.idle();
      return;
    }
    if (age > this.idleS) this.find("waiting").hidden = true;
    const words = age > AGE_FROM_S ? `scanned ${durationText(age)} ago` : "";
    if (this.find("age").textContent !== words) this.find("age").textContent = words;
  }
}

// A number keeps its unit on its line.
function unbroken(text) {
  return text.replaceAll(/(\d) (?=°|%|h\b|min\b|d\b)/g, "$1\u00a0");
}

// The floor life stands beside in words; its clock is for when nothing shorter runs.
function pressing(countdowns) {
  const shorter = countdowns.filter((each) => each.name !== "Floor life over");
  return shorter.length ? shorter : countdowns;
}

function element(tag, className, text = "") {
  const made = document.createElement(tag);
  if (className) made.className = className;
  made.textContent = text;
  return made;
}

// Which colour is dry differs by the card's maker, so the picture goes by shape and words.
function cardPicture(spots) {
  const row = element("span", "spots");
  spots.forEach((state, n) => {
    const spot = element("span", `spot spot-${state}`);
    const svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("viewBox", "0 0 40 40");
    svg.setAttribute("aria-hidden", "true");
    const ring = document.createElementNS(SVG, "circle");
    for (const [name, value] of Object.entries({ cx: 20, cy: 20, r: 17 })) ring.setAttribute(name, value);
    const sign = document.createElementNS(SVG, "path");
    sign.setAttribute("d", SIGNS[state]);
    svg.append(ring, sign);
    spot.append(element("small", "", SPOT_NAMES[n]), svg, element("span", "spot-word", state));
    row.append(spot);
  });
  return row;
}

const SIGNS = {
  dry: "M12 20h16",
  humid: "M20 9c5 7 7 9.500 7 13a7 7 0 0 1-14 0c0-3.500 2-6 7-13z",
  missing: "m13 13 14 14m0-14L13 27",
};
