// What was just told stands at the top: a field further down that takes the focus must not hide it.

if (document.querySelector("main > .told") && !location.hash) {
  document.querySelector("[autofocus]")?.focus({ preventScroll: true });
  scrollTo(0, 0);
}
