export default function ({ parentElement, data }) {
  const frame = parentElement.querySelector(".frame");
  const [marked, photo] = ["marked", "photo"].map((name) => parentElement.querySelector("." + name));
  const slider = parentElement.querySelector("input");
  frame.setAttribute("aria-label", data.alt); // before the role: there is no moment of a picture without a name
  frame.role = "img";
  frame.style.aspectRatio = String(data.shape);
  parentElement.querySelector("label").hidden = marked.hidden = !data.marked;
  for (const [image, source] of [[marked, data.marked], [photo, data.photo]]) {
    if (source && image.getAttribute("src") !== source) image.src = source;
    image.style.width = 100 * data.wide + "%";
    image.style.left = -100 * data.left + "%";
    image.style.top = -100 * data.top + "%";
  }
  const part = () => {
    // The marked picture shows from the left up to the slider, the photo from there on.
    const shown = data.marked ? slider.value / 100 : 0, whole = data.wide, from = data.left;
    photo.style.clipPath = `inset(0 0 0 ${(100 * (from + shown)) / whole}%)`;
  };
  slider.oninput = part;
  part();
}
