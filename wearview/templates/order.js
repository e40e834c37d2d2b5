// A row is pulled by its handle, so that a finger anywhere else scrolls the page; keys do the same.
const SETTLED_MS = 700, EDGE_PX = 70, SCROLL_PX = 12, WAITS_MS = 4000;
const lists = new WeakMap(); // what each list on the page shows

export default function ({ parentElement, data, setTriggerValue }) {
  const list = parentElement.querySelector("ol"), told = parentElement.querySelector(".told");
  const now = lists.get(list) ?? { pulled: null, pending: 0, sent: "", sentAt: 0, drawn: "" };
  lists.set(list, now);
  const rows = () => [...list.children];
  const order = () => rows().map((row) => row.dataset.id);

  const number = () => rows().forEach((row, n) => { row.querySelector("strong").textContent = `${n + 1}. `; });
  const say = (row) => { told.textContent = `${row.dataset.name}: ${rows().indexOf(row) + 1} of ${rows().length}`; };
  const send = () => {
    clearTimeout(now.pending);
    now.pending = 0;
    const wanted = order().join();
    if (wanted === now.sent) return;
    [now.sent, now.sentAt] = [wanted, Date.now()];
    setTriggerValue("order", order());
  };
  const move = (row, to) => {
    const others = rows().filter((other) => other !== row);
    if (rows().indexOf(row) === to) return;
    list.insertBefore(row, others[to] ?? null);
    number();
    say(row);
  };

  function pull(row, handle, event) {
    event.preventDefault();
    handle.focus();
    list.setPointerCapture(event.pointerId); // the list stays where it is, the handle moves
    now.pulled = row;
    row.classList.add("pulled");
    let y = event.clientY;
    const scroller = scrolls(list);
    const follow = () => {
      const others = rows().filter((other) => other !== row);
      const to = others.findIndex((other) => { const box = other.getBoundingClientRect(); return y < box.top + box.height / 2; });
      move(row, to < 0 ? others.length : to);
    };
    const creep = () => {
      if (now.pulled !== row) return;
      const by = y < EDGE_PX ? -SCROLL_PX : y > innerHeight - EDGE_PX ? SCROLL_PX : 0;
      if (by) { scroller.scrollBy(0, by); follow(); }
      requestAnimationFrame(creep);
    };
    list.onpointermove = (moved) => { y = moved.clientY; follow(); };
    list.onpointerup = list.onpointercancel = () => {
      list.onpointermove = list.onpointerup = list.onpointercancel = null;
      row.classList.remove("pulled");
      now.pulled = null;
      send();
    };
    creep();
  }
  function key(row, handle, event) {
    const at = rows().indexOf(row), last = rows().length - 1;
    const to = { ArrowUp: at - 1, ArrowDown: at + 1, Home: 0, End: last }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    move(row, Math.min(Math.max(to, 0), last));
    handle.focus(); // moving a row takes the focus from it
    clearTimeout(now.pending);
    now.pending = setTimeout(send, SETTLED_MS);
  }

  const wanted = data.photos.map((photo) => photo.id).join();
  const drawn = JSON.stringify(data.photos);
  if (wanted === now.sent) now.sentAt = 0; // arrived
  const waits = now.pulled || now.pending || Date.now() - now.sentAt < WAITS_MS; // the page does not know it yet
  if ((drawn === now.drawn && wanted === order().join()) || (waits && rows().length === data.photos.length)) return;
  [now.drawn, now.sent] = [drawn, wanted];
  const focused = list.getRootNode().activeElement?.closest("li")?.dataset.id;
  list.replaceChildren(...data.photos.map((photo) => {
    const row = document.createElement("li"), handle = document.createElement("button"), words = document.createElement("span");
    Object.assign(row.dataset, { id: photo.id, name: photo.name });
    handle.type = "button";
    handle.setAttribute("aria-label", `Move ${photo.name}`);
    handle.onpointerdown = (event) => pull(row, handle, event);
    handle.onkeydown = (event) => key(row, handle, event);
    const picture = document.createElement(photo.picture ? "img" : "i");
    if (photo.picture) Object.assign(picture, { src: photo.picture, alt: "", loading: "lazy", draggable: false });
    else picture.className = "none";
    words.append(document.createElement("strong"), photo.name);
    row.append(handle, picture, words);
    return row;
  }));
  number();
  rows().find((row) => row.dataset.id === focused)?.querySelector("button").focus();
}

function scrolls(element) {
  for (let at = element.getRootNode().host ?? element; at; at = at.parentElement) {
    if (at.scrollHeight > at.clientHeight && /auto|scroll/.test(getComputedStyle(at).overflowY)) return at;
  }
  return document.scrollingElement;
}
