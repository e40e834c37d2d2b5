// Points are kept as shares of the picture's width and height, so that they hold at any size of the window.
const ENOUGH = 5;
const NAMES = ["outer", "inner"];
export default function ({ parentElement, data, setTriggerValue }) {
  const find = (name) => parentElement.querySelector(name);
  const image = find("img"), drawing = find("svg"), next = find(".next"), back = find(".back");
  if (image.getAttribute("src") === data.photo) return; // drawn again with the same picture: the points stay
  image.src = data.photo;
  image.alt = data.alt;
  find(".frame").style.aspectRatio = String(data.shape);
  for (const layer of [image, drawing]) {
    layer.style.width = 100 * data.wide + "%";
    layer.style.left = -100 * data.left + "%";
    layer.style.top = -100 * data.top + "%";
    layer.style.aspectRatio = String(data.ratio);
  }
  let points = [[], []], at = 0;
  const draw = () => {
    const left = ENOUGH - points[at].length;
    find(".told").textContent = `Tap the ${NAMES[at]} rim of the ${at ? "lining or face" : "lining or face, not the teeth"}: ` +
      (left > 0 ? `${left} more point${left > 1 ? "s" : ""}, spread round it.` : "enough, more make it finer.");
    next.textContent = at ? "Grade again with this rim" : "Go on to the inner rim";
    next.disabled = left > 0;
    back.disabled = !at && !points[0].length;
    drawing.replaceChildren(...points.map((rim, n) => {
      const group = document.createElementNS("http://www.w3.org/2000/svg", "g");
      group.setAttribute("class", NAMES[n]);
      for (const [x, y] of rim) {
        const dot = document.createElementNS("http://www.w3.org/2000/svg", "circle");
        for (const [name, value] of [["cx", `${100 * x}%`], ["cy", `${100 * y}%`], ["r", 7]]) dot.setAttribute(name, value);
        group.append(dot);
      }
      return group;
    }));
  };
  find(".frame").onclick = (event) => {
    const box = image.getBoundingClientRect();
    points[at].push([(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height]);
    draw();
  };
  back.onclick = () => { if (points[at].length) points[at].pop(); else at = 0; draw(); };
  next.onclick = () => {
    if (!at) { at = 1; draw(); return; }
    setTriggerValue("rims", { outer: points[0], inner: points[1] });
  };
  draw();
}
