// Scans on their way: kept in the browser until the server has them on record, sent in order, and
// told apart by an id each, so that sending one twice does it once.

import { newId } from "./ids.js";

const RETRY_MS = 1500;
const TIMEOUT_MS = 10000;
const SET_ASIDE_AFTER = 3;

export class ScanQueue {
  constructor(url, { onAnswer, onRefused, onState }) {
    this.url = url;
    this.onAnswer = onAnswer;
    this.onRefused = onRefused;
    this.onState = onState;
    this.key = `msdtrack.scans ${url}`;
    this.sending = false;
    this.failures = 0;
    this.mistakes = 0;
    addEventListener("online", () => this.send());
  }

  get waiting() {
    try {
      return JSON.parse(localStorage.getItem(this.key)) || [];
    } catch {
      return [];
    }
  }

  keep(scans) {
    localStorage.setItem(this.key, JSON.stringify(scans));
  }

  add(scan) {
    this.keep([...this.waiting, { ...scan, id: newId() }]);
    this.tell();
    this.send();
  }

  // Another tab may have changed the list meanwhile, so one scan is taken out by its id.
  remove(scan) {
    this.keep(this.waiting.filter((each) => each.id !== scan.id));
    this.failures = this.mistakes = 0;
  }

  setAside() {
    const [scan] = this.waiting;
    if (!scan) return;
    this.remove(scan);
    this.onRefused(scan, "It was set aside and is not on record. Write it on the label by hand.");
    this.tell();
    this.send();
  }

  async send() {
    if (this.sending) return;
    this.sending = true;
    clearTimeout(this.retry);
    try {
      for (let scan = this.waiting[0]; scan; scan = this.waiting[0]) {
        if (!(await this.sendOne(scan))) {
          this.failures += 1;
          this.retry = setTimeout(() => this.send(), RETRY_MS);
          return;
        }
      }
    } finally {
      this.sending = false;
      this.tell();
    }
  }

  // Returns whether the scan is done with: answered, or refused for good.
  async sendOne(scan) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), TIMEOUT_MS);
    try {
      const response = await fetch(this.url, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(scan),
        signal: stop.signal,
      });
      const told = response.headers.get("Content-Type") === "application/json";
      if (response.status >= 500 || !told) {
        this.mistakes += 1;
        return false;
      }
      const answer = await response.json();
      this.remove(scan);
      if (response.ok) this.onAnswer(answer, scan);
      else this.onRefused(scan, answer.message);
      return true;
    } catch {
      return false;
    } finally {
      clearTimeout(timer);
    }
  }

  tell() {
    const waiting = this.waiting;
    this.onState({
      waiting,
      unsaved: this.failures > 0 && waiting.length > 0,
      stuck: this.mistakes >= SET_ASIDE_AFTER,
    });
  }
}
