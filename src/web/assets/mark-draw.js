// Draws the stage: picture, fitted lines, marks, and the magnified inset.

const MARK_RADIUS = 7;
const RING_PARTS = 8; // of a broken ring
const LENS_SIDE = 156; // CSS px
const LENS_LEAST = 4; // CSS px per picture px in the inset
const LENS_FACTOR = 3; // and at least this many times the stage's own

// `scene`: { view, bitmap, marks: [{name, point, isAsked, isCarried, isProposed}], overlay, cursor, ghost, lens, words, colors }
export function drawStage(context, scene, ratio) {
  const { view } = scene;
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.clearRect(0, 0, view.width, view.height);
  drawPicture(context, scene, view.scale, view.left, view.top);
  if (scene.overlay) drawOverlay(context, scene, (point) => view.toStage(point));
  for (const mark of scene.marks) drawMark(context, view.toStage(mark.point), mark, scene);
  if (scene.cursor) drawCross(context, view.toStage(scene.cursor), scene.colors.accent);
  if (scene.lens) drawLens(context, scene);
}

function drawPicture(context, { bitmap, view }, scale, left, top) {
  if (!bitmap) return;
  context.imageSmoothingEnabled = scale < 4; // closer up the pixels themselves are what is judged
  context.drawImage(bitmap, left, top, view.imageWidth * scale, view.imageHeight * scale);
}

function drawOverlay(context, { overlay, colors }, place) {
  const paths = [
    [overlay.plumb, [7, 5]],
    [overlay.trunk, []],
    [overlay.bar, []],
    [overlay.arc, []],
    ...(overlay.arms ?? []).map((arm) => [arm, []]),
  ];
  for (const [points, dash] of paths) {
    if (!points || points.length < 2) continue;
    context.beginPath();
    points.forEach((point, index) => context[index === 0 ? "moveTo" : "lineTo"](...place(point)));
    stroke(context, "rgb(0 0 0 / 0.55)", 3.6, []);
    stroke(context, colors.line, 1.6, dash);
  }
  for (const { placed, expected } of overlay.disagreeing ?? []) {
    context.beginPath();
    context.moveTo(...place(placed));
    context.lineTo(...place(expected));
    stroke(context, "rgb(0 0 0 / 0.55)", 3.6, []);
    stroke(context, "#ffffff", 1.6, [3, 3]);
  }
}

// The ring of a mark that was brought over is broken. Until it is confirmed it is wide and has no ticks, so that the spot can
// be judged.
function drawMark(context, [x, y], { isAsked, isCarried, isProposed, label }, { colors }) {
  const radius = MARK_RADIUS + (isAsked ? 3 : 0) + (isProposed ? 4 : 0);
  const color = isAsked ? colors.accent : "#ffffff";
  const width = isAsked ? 2.2 : 1.5;
  const dash = (2 * Math.PI * radius) / (2 * RING_PARTS);
  const isBroken = isCarried || isProposed;
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
  stroke(context, "rgb(0 0 0 / 0.65)", 4, isBroken ? [dash + 1.5, dash - 1.5] : [], isBroken ? "butt" : "round");
  stroke(context, color, width, isBroken ? [dash, dash] : [], isBroken ? "butt" : "round");
  if (!isProposed) {
    // Four ticks point at the centre and leave it free to be seen.
    context.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      context.moveTo(x + dx * radius, y + dy * radius);
      context.lineTo(x + dx * 3, y + dy * 3);
    }
    stroke(context, "rgb(0 0 0 / 0.65)", 4, []);
    stroke(context, color, width, []);
  }
  context.beginPath();
  context.arc(x, y, isProposed ? 1.6 : 1, 0, 2 * Math.PI);
  context.fillStyle = color;
  if (isProposed) stroke(context, "rgb(0 0 0 / 0.65)", 2, []);
  context.fill();
  if (isAsked && label) drawLabel(context, label, x, y, radius);
}

function drawLabel(context, text, x, y, radius) {
  context.font = '600 13px "Inter", system-ui, sans-serif';
  const width = context.measureText(text).width + 12;
  const isRight = x + radius + 6 + width < context.canvas.clientWidth;
  const left = isRight ? x + radius + 6 : x - radius - 6 - width;
  context.fillStyle = "rgb(0 0 0 / 0.72)";
  context.fillRect(left, y - 11, width, 22);
  context.fillStyle = "#ffffff";
  context.textBaseline = "middle";
  context.fillText(text, left + 6, y + 0.5);
}

function drawCross(context, [x, y], color) {
  context.beginPath();
  for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
    context.moveTo(x + dx * 4, y + dy * 4);
    context.lineTo(x + dx * 18, y + dy * 18);
  }
  stroke(context, "rgb(0 0 0 / 0.65)", 4, []);
  stroke(context, color, 2, []);
}

// The inset lies in the corner that is farthest from the point, so that neither finger nor pointer covers it.
export function lensPlace(view, [x, y]) {
  const side = Math.min(LENS_SIDE, 0.45 * Math.min(view.width, view.height));
  const gap = 8;
  return {
    side,
    left: x > view.width / 2 ? gap : view.width - side - gap,
    top: y > view.height / 2 ? gap : view.height - side - gap,
  };
}

function drawLens(context, scene) {
  const { view, lens, colors } = scene;
  const { side, left, top } = lensPlace(view, view.toStage(lens.point));
  const scale = Math.max(LENS_LEAST, view.scale * LENS_FACTOR);
  const middle = [left + side / 2, top + side / 2];
  const place = ([x, y]) => [middle[0] + (x - lens.point[0]) * scale, middle[1] + (y - lens.point[1]) * scale];
  context.save();
  context.beginPath();
  context.rect(left, top, side, side);
  context.fillStyle = "#0b0d0f";
  context.fill();
  context.clip();
  const [originX, originY] = place([-0.5, -0.5]);
  drawPicture(context, scene, scale, originX, originY);
  for (const mark of scene.marks) {
    if (mark.name !== lens.name) drawMark(context, place(mark.point), { ...mark, isAsked: false }, scene);
  }
  context.beginPath();
  for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
    context.moveTo(middle[0] + dx * 5, middle[1] + dy * 5);
    context.lineTo(middle[0] + dx * (side / 2), middle[1] + dy * (side / 2));
  }
  stroke(context, "rgb(0 0 0 / 0.5)", 3, []);
  stroke(context, colors.accent, 1.25, []);
  context.beginPath();
  context.arc(middle[0], middle[1], 1.5, 0, 2 * Math.PI);
  context.fillStyle = colors.accent;
  context.fill();
  context.restore();
  context.strokeStyle = "#ffffff";
  context.lineWidth = 2;
  context.setLineDash([]);
  context.strokeRect(left, top, side, side);
}

function stroke(context, color, width, dash, cap = "round") {
  context.strokeStyle = color;
  context.lineWidth = width;
  context.lineCap = cap;
  context.lineJoin = "round";
  context.setLineDash(dash);
  context.stroke();
}
