"use strict";
// Photos wait in the browser's own database until the computer says that each is on its disk: a page that is
// put to sleep, reloaded or out of reach loses none.
const main = document.querySelector("main"), code = main.dataset.code, place = main.dataset.place;
const say = (text, bad) => { const line = document.getElementById("queue"); line.textContent = text; line.className = bad ? "bad" : ""; };
const LONGEST_WAIT = 30000, LOOK_AGAIN = 2500;
let memory = null; // where the browser gives no database

function database() {
  return new Promise((resolve, reject) => {
    const opening = indexedDB.open("wearview", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("photos", { keyPath: "id", autoIncrement: true });
    opening.onsuccess = () => resolve(opening.result);
    opening.onerror = () => reject(opening.error);
  });
}
async function stored(mode, work) {
  const base = await database();
  return new Promise((resolve, reject) => {
    const change = base.transaction("photos", mode);
    const asked = work(change.objectStore("photos"));
    change.oncomplete = () => { base.close(); resolve(asked.result); };
    change.onerror = change.onabort = () => { base.close(); reject(change.error); };
  });
}
async function waiting() {
  if (memory) return memory;
  try { return (await stored("readonly", (photos) => photos.getAll())).filter((photo) => photo.place === place); }
  catch { memory = []; return memory; }
}
async function put(photo) {
  await waiting();
  if (!memory) {
    try { await stored("readwrite", (photos) => photos.add(photo)); return; }
    catch { memory = []; }
  }
  memory.push({ ...photo, id: Date.now() + Math.random() });
}
async function drop(photo) {
  if (memory) memory = memory.filter((other) => other.id !== photo.id);
  else await stored("readwrite", (photos) => photos.delete(photo.id));
}

let sending = false, again = false, pause = 1000, timer = 0;
async function send() {
  again = sending;
  if (sending) return;
  sending = true;
  clearTimeout(timer);
  try {
    for (let photos = await waiting(); photos.length; photos = await waiting()) {
      const photo = photos[0];
      say(`Sending ${photo.name}. ${photos.length} waiting.`);
      const asked = new URLSearchParams({ name: photo.name });
      if (photo.as) asked.set("as", photo.as);
      if (photo.replaces) asked.set("replaces", photo.replaces);
      const answer = await fetch(`/take/${code}/photo?${asked}`, { method: "POST", body: photo.data, headers: { "Content-Type": "application/octet-stream" } });
      if (answer.ok || answer.status === 400 || answer.status === 413) await drop(photo);
      if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).problem || "The computer did not take it.");
      pause = 1000;
      look();
    }
    say("All photos are on the computer.");
  } catch (error) {
    const left = (await waiting()).length;
    const why = error instanceof TypeError ? "The computer is out of reach." : error.message;
    say(left ? `${why} ${left} waiting here, kept on this phone; trying again.` : why, true);
    if (left) timer = setTimeout(send, pause);
    pause = Math.min(2 * pause, LONGEST_WAIT);
  } finally { sending = false; }
  if (again) send(); // a photo came while this was at its end
}

async function take(input, extra) {
  for (const file of input.files) await put({ place, name: file.name || "photo.jpg", data: await file.arrayBuffer(), ...extra });
  input.value = "";
  send();
}
for (const [id, extra] of [["camera", {}], ["files", {}], ["clean", { as: "reference" }]]) {
  const input = document.getElementById(id);
  input.addEventListener("change", () => take(input, extra));
  if (input.files.length) take(input, extra); // chosen before this script had come
}

function element(tag, text, kind) {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  if (kind) made.className = kind;
  return made;
}
const tell = (what, body) => fetch(`/take/${code}/${what}`, { method: "POST", body }).then(look, () => say("The computer is out of reach.", true));
function beside(photo, number) {
  const asked = document.getElementById("beside").content.firstElementChild.cloneNode(true), line = asked.querySelector("p");
  line.textContent = `Beside photo ${number - 1} it shows`;
  asked.setAttribute("aria-label", line.textContent);
  for (const choice of asked.querySelectorAll("button")) {
    choice.ariaPressed = String(choice.value === photo.beside);
    choice.addEventListener("click", () => tell(`beside/${photo.sha256}?what=${choice.value}`));
  }
  return asked;
}
function entry(photo, number) {
  const line = element("li");
  line.append(element("strong", `${number}. ${photo.name}`));
  if (photo.beside) line.append(beside(photo, number));
  if (!photo.graded) line.append(element("p", "waiting to be graded", "soft"));
  for (const shown of photo.shown) line.append(element("p", shown));
  for (const change of photo.change) line.append(element("p", change, "bad"));
  if (photo.again) {
    const input = element("input"), label = element("label", "Take it again", "button");
    Object.assign(input, { type: "file", accept: "image/*", id: `again-${photo.sha256}` });
    input.setAttribute("capture", "environment");
    label.htmlFor = input.id;
    input.addEventListener("change", () => take(input, { replaces: photo.sha256 }));
    line.append(input, label);
  }
  if (photo.change.length) {
    const out = element("button", "Leave it out", "second");
    out.addEventListener("click", () => tell(`out/${photo.sha256}`));
    line.append(out);
  }
  return line;
}

// The list that the computer's page has, too: rows are pulled by their handles, photos follow below.
const arrange = document.getElementById("arrange"), frame = document.getElementById("order");
let order = null;
arrange.addEventListener("click", async () => {
  frame.hidden = !frame.hidden;
  arrange.ariaExpanded = String(!frame.hidden);
  arrange.textContent = frame.hidden ? "Put the photos in another order" : "The order is right";
  if (!frame.shadowRoot) {
    frame.attachShadow({ mode: "open" }).append(document.getElementById("list").content);
    order = (await import("/take/order.js")).default;
  }
  if (!frame.hidden) list(JSON.parse(last).photos);
});
function list(photos) {
  const data = { photos: photos.map(({ sha256, name }) => ({ id: sha256, name, picture: null })) };
  order({ parentElement: frame.shadowRoot, data, setTriggerValue: (_, hand) => tell("order", JSON.stringify(hand)) });
}

let last = "", closed = false;
async function look() {
  if (document.hidden) return;
  try {
    const answer = await fetch(`/take/${code}/state`);
    const told = await answer.json();
    const opened = closed && answer.status !== 409;
    closed = answer.status === 409;
    for (const id of ["camera", "files", "clean"]) document.getElementById(id).disabled = closed;
    if (!answer.ok) { say(told.problem, true); return; }
    if (opened) { say("Ready."); send(); }
    const text = JSON.stringify(told);
    if (text === last) return; // nothing new: nothing on the page moves
    last = text;
    document.getElementById("reference").textContent = told.reference ? `Clean plate: ${told.reference}.` : "No photo of a clean plate so far.";
    const problem = document.getElementById("problem");
    problem.textContent = told.problem || "";
    problem.hidden = !told.problem;
    arrange.hidden = told.photos.length < 2;
    if (order && !frame.hidden) list(told.photos);
    document.getElementById("photos").replaceChildren(...told.photos.map((photo, n) => entry(photo, n + 1)));
  } catch { /* out of reach: sending says so, and looking goes on */ }
}
addEventListener("online", send);
addEventListener("pageshow", () => { send(); look(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) { send(); look(); } });
setInterval(look, LOOK_AGAIN);
