// How the picture lies on the stage: zoom, pan, and what is where. Lengths on the stage are CSS px.

const ZOOM_MOST = 32; // CSS px per picture px
const ZOOM_STEP = 1.25;

export class View {
  constructor(imageSize) {
    [this.imageWidth, this.imageHeight] = imageSize;
    this.width = 1;
    this.height = 1;
    this.scale = 1;
    this.left = 0;
    this.top = 0;
    this.isFitted = true;
  }

  resize(width, height) {
    const center = this.toImage(this.width / 2, this.height / 2);
    this.width = width;
    this.height = height;
    if (this.isFitted) this.fit();
    else this.centerOn(center);
  }

  get scaleToFit() {
    return Math.min(this.width / this.imageWidth, this.height / this.imageHeight);
  }

  fit() {
    this.scale = this.scaleToFit;
    this.left = (this.width - this.imageWidth * this.scale) / 2;
    this.top = (this.height - this.imageHeight * this.scale) / 2;
    this.isFitted = true;
  }

  // A point of the picture has its origin at the centre of the top-left pixel, hence the half.
  toStage([x, y]) {
    return [(x + 0.5) * this.scale + this.left, (y + 0.5) * this.scale + this.top];
  }

  toImage(x, y) {
    return [(x - this.left) / this.scale - 0.5, (y - this.top) / this.scale - 0.5];
  }

  // Zooms by a factor about a point of the stage.
  zoom(factor, x = this.width / 2, y = this.height / 2) {
    const point = this.toImage(x, y);
    this.scale = Math.min(ZOOM_MOST, Math.max(this.scaleToFit, this.scale * factor));
    this.left = x - (point[0] + 0.5) * this.scale;
    this.top = y - (point[1] + 0.5) * this.scale;
    this.isFitted = this.scale <= this.scaleToFit * 1.0001;
    this.#keepInSight();
  }

  zoomIn() {
    this.zoom(ZOOM_STEP);
  }

  zoomOut() {
    this.zoom(1 / ZOOM_STEP);
  }

  pan(dx, dy) {
    this.left += dx;
    this.top += dy;
    this.#keepInSight();
  }

  centerOn([x, y]) {
    this.left = this.width / 2 - (x + 0.5) * this.scale;
    this.top = this.height / 2 - (y + 0.5) * this.scale;
    this.#keepInSight();
  }

  // Moves the picture as little as it takes for a point to be on the stage.
  reveal(point) {
    const [x, y] = this.toStage(point);
    const edge = Math.min(40, this.width / 5, this.height / 5);
    const dx = x < edge ? edge - x : Math.min(0, this.width - edge - x);
    const dy = y < edge ? edge - y : Math.min(0, this.height - edge - y);
    if (!this.isFitted && (dx !== 0 || dy !== 0)) this.pan(dx, dy);
  }

  clampPoint([x, y]) {
    return [Math.min(this.imageWidth - 0.5, Math.max(-0.5, x)), Math.min(this.imageHeight - 0.5, Math.max(-0.5, y))];
  }

  // A picture smaller than the stage is centred; a larger one covers at least half of it.
  #keepInSight() {
    this.left = held(this.left, this.imageWidth * this.scale, this.width);
    this.top = held(this.top, this.imageHeight * this.scale, this.height);
  }
}

function held(start, length, room) {
  if (length <= room) return (room - length) / 2;
  return Math.min(room / 2, Math.max(room / 2 - length, start));
}
