// Fits a drawn frame to a card that is laid on the screen, and fills the screen with the board.

const root = document.querySelector("main.board");
const measure = root.querySelector(".measure");
const shown = root.querySelector(".shown");
const card = root.querySelector(".card");
const slider = root.querySelector("#card-width");
const canvas = root.querySelector("canvas");
const number = (name) => Number(root.dataset[name]);
const [across, down] = [number("cols") + 1, number("rows") + 1];
// Bare screen around the board, in squares: the board's outline must be seen.
const MARGIN = 0.6;
// Below this the card does not fit across, CSS pixels.
const NARROW = 480;
const KEPT = "tworeach-pixel-mm";

// Millimetres of a CSS pixel of this screen: what browsers take one for, until the person says better.
let pixelMm = 25.4 / 96;
try {
  pixelMm = Number(localStorage.getItem(KEPT)) || pixelMm;
} catch {
  // a page from a file may not be allowed to keep anything
}

// Width and height of the card as it lies on this screen, mm.
function cardMm() {
  const lying = [number("cardMm"), number("cardHeightMm")];
  return root.clientWidth < NARROW ? lying.reverse() : lying;
}

// The side of a square, in the screen's own pixels, that fills a space of CSS pixels.
function squareIn(width, height) {
  const most = Math.min(width / (across + 2 * MARGIN), height / (down + 2 * MARGIN));
  return Math.max(4, Math.floor(most * window.devicePixelRatio));
}

function tell(square) {
  const side = ((square / window.devicePixelRatio) * pixelMm).toFixed(1);
  for (const place of root.querySelectorAll(".squares")) place.textContent = `Squares of ${side} mm`;
}

function fit() {
  const [width, height] = cardMm();
  slider.max = Math.min(900, measure.clientWidth - 32);
  slider.value = width / pixelMm;
  card.style.width = `${width / pixelMm}px`;
  card.style.height = `${height / pixelMm}px`;
  if (shown.hidden) tell(squareIn(window.innerWidth, window.innerHeight - 60));
  else draw();
}

function draw() {
  const line = shown.querySelector("p").offsetHeight;
  const square = squareIn(window.innerWidth, window.innerHeight - line);
  const pad = Math.ceil(MARGIN * square);
  canvas.width = across * square + 2 * pad;
  canvas.height = down * square + 2 * pad;
  canvas.style.width = `${canvas.width / window.devicePixelRatio}px`;
  canvas.style.height = `${canvas.height / window.devicePixelRatio}px`;
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.fillStyle = "#000";
  for (let row = 0; row < down; row += 1) {
    for (let column = row % 2; column < across; column += 2) {
      pen.fillRect(pad + column * square, pad + row * square, square, square);
    }
  }
  tell(square);
}

slider.addEventListener("input", () => {
  [pixelMm] = cardMm().map((side) => side / Number(slider.value));
  try {
    localStorage.setItem(KEPT, pixelMm);
  } catch {
    // as above
  }
  fit();
});
window.addEventListener("resize", fit);

root.querySelector(".show").addEventListener("click", () => {
  measure.hidden = true;
  shown.hidden = false;
  draw();
  shown.querySelector(".back").focus();
  // where it is refused the board is as large as the window; where not, the window's new size draws it again
  root.requestFullscreen?.().catch(() => {});
});

async function back() {
  if (document.fullscreenElement) await document.exitFullscreen();
  shown.hidden = true;
  measure.hidden = false;
  fit();
  root.querySelector(".show").focus();
}

root.querySelector(".back").addEventListener("click", back);
document.addEventListener("keydown", ({ key }) => {
  if (key === "Escape" && !shown.hidden) back();
});
fit();
