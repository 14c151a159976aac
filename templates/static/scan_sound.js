// A tone for each kind of answer: short and high, two in the middle, long and low.

const TONES = {
  ok: [{ hz: 1320, from: 0, s: 0.12 }],
  ask: [
    { hz: 700, from: 0, s: 0.12 },
    { hz: 700, from: 0.2, s: 0.12 },
  ],
  stop: [{ hz: 196, from: 0, s: 0.7 }],
  refuse: [{ hz: 196, from: 0, s: 0.7 }],
};
const SHAKES = { ok: [60], ask: [60, 80, 60], stop: [400], refuse: [400] };
const KEY = "msdtrack.sound";

let context = null;

export function soundIsOn() {
  return localStorage.getItem(KEY) !== "off";
}

export function setSound(on) {
  localStorage.setItem(KEY, on ? "on" : "off");
}

export function signal(tone) {
  // Browsers refuse to shake before the first touch or key.
  if (navigator.userActivation?.hasBeenActive) navigator.vibrate?.(SHAKES[tone]);
  if (!soundIsOn()) return;
  context ??= new AudioContext();
  if (context.state === "suspended") context.resume();
  for (const { hz, from, s } of TONES[tone]) {
    const start = context.currentTime + from;
    const source = context.createOscillator();
    const volume = context.createGain();
    source.type = tone === "refuse" || tone === "stop" ? "square" : "triangle";
    source.frequency.value = hz;
    volume.gain.setValueAtTime(0, start);
    volume.gain.linearRampToValueAtTime(0.4, start + 0.01);
    volume.gain.setValueAtTime(0.4, start + s - 0.03);
    volume.gain.linearRampToValueAtTime(0, start + s);
    source.connect(volume).connect(context.destination);
    source.start(start);
    source.stop(start + s);
  }
}
