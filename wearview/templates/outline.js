// Points are kept as shares of the picture's width and height, so that they hold at any size of the window. A
// glove hits a place only roughly and bounces: a point can be pulled under a lens, and a tap on one adds none.
const HOLD_PX = 22, LENS = 2.5, STEP = 0.01, SMALL_STEP = 0.002;
const GROUPS = ["first", "second"];
const SVG = "http://www.w3.org/2000/svg";
const away = (a, b, ratio) => Math.hypot((a[0] - b[0]) * ratio, a[1] - b[1]);

// The points of a line in order from end to end, however they were tapped: each goes where it is the least detour.
function inLine(points, ratio) {
  const line = [];
  for (const point of points) {
    let best = 0, least = Infinity;
    for (let n = 0; n <= line.length; n++) {
      const before = line[n - 1], after = line[n];
      const detour = (before ? away(before, point, ratio) : 0) + (after ? away(point, after, ratio) : 0) - (before && after ? away(before, after, ratio) : 0);
      if (detour < least) [best, least] = [n, detour];
    }
    line.splice(best, 0, point);
  }
  return line;
}
function drawn(tag, values) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(values)) made.setAttribute(name, value);
  return made;
}

// What was found so far, thin and dashed, as a part's lines: in pixels of the photo, whose centres are whole numbers.
function foundLines(shapes, [width, height]) {
  const made = drawn("svg", { class: "found", viewBox: `-0.5 -0.5 ${width} ${height}`, width: "100%", height: "100%", preserveAspectRatio: "none" });
  for (const shape of shapes) {
    for (const kind of ["dark", "light"]) {
      if (shape.polygon) { made.append(drawn("polygon", { class: kind, points: shape.polygon.join(" ") })); continue; }
      const [cx, cy, major, minor, angle] = shape.ellipse;
      made.append(drawn("ellipse", { class: kind, cx, cy, rx: major / 2, ry: minor / 2, transform: `rotate(${angle} ${cx} ${cy})` }));
    }
  }
  return made;
}

export default function ({ parentElement, data, setTriggerValue }) {
  const find = (name) => parentElement.querySelector(name);
  const frame = find(".frame"), image = find("img"), drawing = find("svg"), next = find(".next"), back = find(".back"), cross = find(".cross"), lens = find(".lens");
  if (image.getAttribute("src") === data.photo) return; // drawn again with the same picture: the points stay
  image.src = data.photo;
  image.alt = data.alt;
  frame.setAttribute("aria-label", data.alt);
  frame.style.aspectRatio = String(data.shape);
  for (const layer of [image, drawing]) {
    layer.style.width = 100 * data.wide + "%";
    layer.style.left = -100 * data.left + "%";
    layer.style.top = -100 * data.top + "%";
    layer.style.aspectRatio = String(data.ratio);
  }
  lens.style.backgroundImage = `url("${data.photo}")`;
  const found = foundLines(data.found, data.size);
  const points = [[], []];
  let at = 0, pulled = null, keyed = null;
  const ordered = (n) => (data.closed ? points[n] : inLine(points[n], data.ratio));
  const draw = () => {
    const left = data.enough - points[at].length, step = data.steps[at];
    find(".told").textContent = `${step.ask}: ` + (left > 0 ? `${left} more point${left > 1 ? "s" : ""}, ${data.where}.` : "enough, more make it finer.");
    next.textContent = step.next;
    next.disabled = left > 0;
    back.disabled = !at && !points[0].length;
    drawing.replaceChildren(found, ...points.map((group, n) => {
      const made = drawn("g", { class: GROUPS[n] });
      if (!data.closed) {
        const line = ordered(n);
        for (const kind of ["under", "over"]) {
          line.slice(1).forEach(([x, y], k) => made.append(drawn("line", { class: kind, x1: `${100 * line[k][0]}%`, y1: `${100 * line[k][1]}%`, x2: `${100 * x}%`, y2: `${100 * y}%` })));
        }
      }
      for (const point of group) {
        const centre = { cx: `${100 * point[0]}%`, cy: `${100 * point[1]}%` };
        made.append(drawn("circle", { class: "dot", r: 7, ...centre }));
        if (n !== at) continue;
        const hold = drawn("circle", { class: "hold", r: HOLD_PX, ...centre });
        hold.onpointerdown = (event) => { pulled = point; frame.setPointerCapture(event.pointerId); event.preventDefault(); };
        made.append(hold);
      }
      return made;
    }));
  };
  const share = (event) => {
    const box = image.getBoundingClientRect();
    return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
  };
  // Where a place of the picture lies in the frame, in pixels of the window.
  const seen = ([x, y]) => [x * image.offsetWidth + image.offsetLeft, y * image.offsetHeight + image.offsetTop];
  const put = (element, [left, top]) => { element.style.left = `${left}px`; element.style.top = `${top}px`; element.hidden = false; };
  const enlarge = (point) => {
    const [wide, high] = [LENS * image.offsetWidth, LENS * image.offsetHeight];
    lens.style.backgroundSize = `${wide}px ${high}px`;
    lens.style.backgroundPosition = `${lens.clientWidth / 2 - point[0] * wide}px ${lens.clientHeight / 2 - point[1] * high}px`;
    lens.hidden = false;
    lens.style.left = seen(point)[0] > frame.clientWidth / 2 ? "4px" : "calc(100% - 132px)"; // not under the hand
  };
  frame.onpointermove = (event) => {
    if (!pulled) return;
    [pulled[0], pulled[1]] = share(event).map((value) => Math.min(1, Math.max(0, value)));
    draw();
    enlarge(pulled);
  };
  frame.onpointerup = frame.onpointercancel = () => { if (pulled) { lens.hidden = true; setTimeout(() => { pulled = null; }); } };
  frame.onclick = (event) => {
    if (pulled) return; // let go of, not tapped
    cross.hidden = true;
    points[at].push(share(event));
    draw();
  };
  frame.onkeydown = (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!way && !(["Enter", " "].includes(event.key) && keyed)) return;
    event.preventDefault();
    keyed ??= [(data.left + 0.5) / data.wide, ((data.top + 0.5) * data.ratio) / (data.wide * data.shape)];
    if (way) {
      const far = (event.shiftKey ? SMALL_STEP : STEP) / data.wide;
      keyed = [keyed[0] + way[0] * far, keyed[1] + way[1] * far * data.ratio].map((value) => Math.min(1, Math.max(0, value)));
      put(cross, seen(keyed));
    } else { points[at].push([...keyed]); draw(); }
  };
  back.onclick = () => { if (points[at].length) points[at].pop(); else at = 0; draw(); };
  next.onclick = () => {
    if (!at) { at = 1; draw(); return; }
    setTriggerValue("lines", [ordered(0), ordered(1)]);
  };
  draw();
}
