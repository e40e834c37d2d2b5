"use strict";
// A customer scrolls, taps and leans on the screen. Only a button that is held leaves this page; the way back
// of the browser leads here again once anything was touched.
const HOLD_MS = 2000; // as counter.html draws it
const back = document.getElementById("back"), fill = document.getElementById("fill"), frame = document.querySelector("iframe");
let timer = 0;
function hold(event) {
  if (event.type === "keydown" && !["Enter", " "].includes(event.key)) return;
  event.preventDefault();
  if (event.repeat || timer) return;
  back.classList.add("held");
  timer = setTimeout(() => location.replace(back.dataset.to), HOLD_MS);
}
function release() {
  clearTimeout(timer);
  timer = 0;
  back.classList.remove("held");
}
for (const begin of ["pointerdown", "keydown"]) back.addEventListener(begin, hold);
for (const end of ["pointerup", "pointercancel", "pointerleave", "keyup", "blur"]) back.addEventListener(end, release);
back.addEventListener("contextmenu", (event) => event.preventDefault());

const full = () => { fill.hidden = !document.fullscreenEnabled || !!document.fullscreenElement; };
fill.addEventListener("click", () => document.documentElement.requestFullscreen().catch(full));
document.addEventListener("fullscreenchange", full);
full();

const stay = () => history.pushState(null, "");
let touched = false;
const touch = () => { if (!touched) { touched = true; stay(); } };
addEventListener("popstate", stay);
for (const event of ["pointerup", "keydown"]) {
  document.addEventListener(event, touch);
  frame.addEventListener("load", () => frame.contentDocument.addEventListener(event, touch));
}
