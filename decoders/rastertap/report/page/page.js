"use strict";
// The picture viewer: draws fields pixel by pixel at whole-number sizes, and says what lies under pointer and cursor.

const byId = (id) => document.getElementById(id);
const MOST_CANVAS_PIXELS = 1 << 24;
const MARK = [110, 0, 90], MOTION = [0, 60, 120];
const OVERLAYS = ["none", "faults", "unsure", "difference", "noise"];
const PLACES = ".finding.fail a[data-field]";

async function unpack(text, Kind) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Kind(await new Response(stream).arrayBuffer());
}

class Field {
  // One field with its arrays unpacked.
  static async open(data, one) {
    const field = Object.assign(new Field(), one);
    const Kind = { 1: Uint8Array, 2: Uint16Array, 4: Uint32Array }[data.item];
    field.codes = await unpack(one.codes, Kind);
    field.unsureBits = await unpack(one.unsure, Uint8Array);
    field.rows = await unpack(one.rows, Float64Array);
    const map = data.maps[one.kind];
    if (map && map.width === one.width && map.height === one.height) {
      field.noise = await unpack(map.noise, Uint16Array);
      field.moving = await unpack(map.moving, Uint16Array);
      field.compared = map.fields;
    }
    return field;
  }
  isUnsure(place) { return (this.unsureBits[place >> 3] >> (place & 7)) & 1; }
}

class Viewer {
  constructor(data, codes, rgb, fields) {
    Object.assign(this, { data, codes, rgb, fields });
    this.spots = [...document.querySelectorAll(PLACES)].map(({ dataset: d }) => ({ field: +d.field, line: +d.line, pixel: +d.pixel }));
    const woven = fields.findIndex((f) => f.kind === "woven");
    const struck = fields.findIndex((f) => f.complete && this.spots.some((s) => s.field === f.index));
    const usual = woven >= 0 ? woven : Math.max(0, fields.findIndex((f) => f.complete));
    this.number = struck >= 0 ? struck : usual;
    this.part = "active";
    this.overlay = struck >= 0 ? "faults" : "none";
    this.canvas = byId("canvas");
    this.zoom = 0;
    const { x, y, width, height } = this.window();
    this.cursor = { line: y + (height >> 1), pixel: x + (width >> 1) };
  }

  get field() { return this.fields[this.number]; }

  // What is shown of the raster.
  window() {
    const f = this.field, a = f.area;
    return this.part === "active" && a
      ? { x: a[0], y: a[1], width: a[2], height: Math.min(a[3], f.height - a[1]) }
      : { x: 0, y: 0, width: f.width, height: f.height };
  }

  // Device pixels across and down for one pixel: whole numbers, the smaller one being the zoom.
  enlarged(zoom) {
    const aspect = this.field.aspect;
    return aspect < 1
      ? { across: zoom, down: Math.max(1, Math.round(zoom / aspect)) }
      : { across: Math.max(1, Math.round(zoom * aspect)), down: zoom };
  }

  // Whether the window at this zoom is at most so many device pixels wide, and not too many in all.
  fits(zoom, room) {
    const w = this.window(), { across, down } = this.enlarged(zoom);
    return w.width * across <= room && w.width * across * w.height * down <= MOST_CANVAS_PIXELS;
  }

  scale() {
    const room = byId("viewer").clientWidth * devicePixelRatio;
    if (this.zoom < 1) for (this.zoom = 1; this.fits(this.zoom + 1, room); ) this.zoom++;
    while (this.zoom > 1 && !this.fits(this.zoom, Infinity)) this.zoom--;
    return this.enlarged(this.zoom);
  }

  // Where findings that are out of limits struck in this field.
  struck() { return this.spots.filter((s) => s.field === this.field.index); }

  // For each pixel of the field: 0 not marked, 1 marked, 2 marked as motion; null when there is nothing to mark by.
  marks() {
    const f = this.field, marks = new Uint8Array(f.width * f.height);
    if (this.overlay === "unsure") {
      for (let i = 0; i < marks.length; i++) marks[i] = f.isUnsure(i);
      return marks;
    }
    if (this.overlay === "difference") {
      const before = this.before();
      if (!before) return null;
      for (let i = 0; i < marks.length; i++) marks[i] = +(f.codes[i] !== before.codes[i]);
      return marks;
    }
    if (!f.noise || f.compared < 2) return null;
    for (let i = 0; i < marks.length; i++) marks[i] = f.noise[i] ? 1 : f.moving[i] ? 2 : 0;
    return marks;
  }

  before() {
    const f = this.field, same = (o) => o.kind === f.kind && o.width === f.width && o.height === f.height && o.complete;
    return f.complete ? this.fields.slice(0, this.number).reverse().find(same) : undefined;
  }

  draw() {
    const w = this.window(), { across, down } = this.scale();
    const marks = ["none", "faults"].includes(this.overlay) ? null : this.marks();
    const small = new OffscreenCanvas(w.width, w.height), pen = small.getContext("2d");
    const image = pen.createImageData(w.width, w.height);
    let count = 0;
    for (let row = 0, to = 0; row < w.height; row++) {
      for (let column = 0; column < w.width; column++, to += 4) {
        const place = (row + w.y) * this.field.width + column + w.x, from = this.field.codes[place] * 3;
        let colour = [this.rgb[from], this.rgb[from + 1], this.rgb[from + 2]];
        if (marks) {
          const grey = 165 + Math.round((0.3 * colour[0] + 0.59 * colour[1] + 0.11 * colour[2]) * 0.35);
          colour = marks[place] === 0 ? [grey, grey, grey] : marks[place] === 1 ? MARK : MOTION;
          count += marks[place] > 0;
        }
        image.data.set([...colour, 255], to);
      }
    }
    pen.putImageData(image, 0, 0);
    this.canvas.width = w.width * across;
    this.canvas.height = w.height * down;
    this.canvas.style.width = `${this.canvas.width / devicePixelRatio}px`;
    this.canvas.style.height = `${this.canvas.height / devicePixelRatio}px`;
    this.small = small;
    this.paint();
    this.tell(marks, count);
  }

  // The picture and the cursor: a white frame round a black one, seen on any colour.
  paint() {
    const pen = this.canvas.getContext("2d"), w = this.window(), { across, down } = this.scale();
    pen.imageSmoothingEnabled = false;
    pen.drawImage(this.small, 0, 0, this.canvas.width, this.canvas.height);
    if (this.overlay === "faults") for (const spot of this.struck()) this.point(pen, spot);
    const x = (this.cursor.pixel - w.x) * across, y = (this.cursor.line - w.y) * down, reach = 3;
    pen.lineWidth = 1;
    pen.strokeStyle = "#000";
    pen.strokeRect(x - reach + 0.5, y - reach + 0.5, across + 2 * reach - 1, down + 2 * reach - 1);
    pen.strokeStyle = "#fff";
    pen.strokeRect(x - reach - 0.5, y - reach - 0.5, across + 2 * reach + 1, down + 2 * reach + 1);
  }

  // Two wedges at the ends of the line in which a fault struck.
  point(pen, { line }) {
    const w = this.window(), { down } = this.scale(), y = (line - w.y + 0.5) * down, size = Math.max(9, 2 * down);
    pen.lineWidth = 2;
    pen.strokeStyle = "#fff";
    pen.fillStyle = `rgb(${MARK})`;
    for (const [edge, way] of [[0, 1], [this.canvas.width, -1]]) {
      pen.beginPath();
      pen.moveTo(edge, y - size);
      pen.lineTo(edge + 1.6 * way * size, y);
      pen.lineTo(edge, y + size);
      pen.closePath();
      pen.stroke();
      pen.fill();
    }
  }

  tell(marks, count) {
    const f = this.field;
    const kind = f.kind === "woven" ? "two fields woven" : f.kind;
    byId("field-name").textContent = `${f.index}, ${kind}, ${f.complete ? "complete" : "cut by the capture"}`;
    byId("field").value = this.number;
    byId("part").value = this.part;
    byId("overlay").value = this.overlay;
    const { across, down } = this.scale();
    byId("zoom").textContent = `${across} x ${down}`;
    const what = {
      unsure: "pixels are unsure: the bus changed too near the moment it was read, or a clock edge is not there.",
      difference: "pixels differ from the field before.",
      noise: `pixels were not the same in all ${f.compared} fields; noise dark red, motion dark blue.`,
    }[this.overlay];
    const lines = [...new Set(this.struck().map((s) => s.line))].sort((a, b) => a - b), many = lines.length > 8 ? ", and so on" : "";
    const faults = lines.length ? `Faults in this field: line ${lines.slice(0, 8).join(", ")}${many}. Wedges point at those in sight.` : "No fault has its place in this field.";
    const none = this.overlay === "difference" ? "There is no complete field of this kind before it here." : "There are no two fields to compare.";
    byId("marked").textContent = { none: "", faults }[this.overlay] ?? (marks ? `${count} ${what}` : none);
  }

  // Words for a pixel.
  describe(line, pixel) {
    const f = this.field, place = line * f.width + pixel, index = f.codes[place];
    const code = this.codes[index], hex = [...this.rgb.slice(index * 3, index * 3 + 3)].map((v) => v.toString(16).padStart(2, "0")).join("");
    const noisy = f.noise && f.compared > 1 ? `; ${f.noise[place] ? `flipped in ${f.noise[place]} of ${f.compared} fields` : "no noise"}` : "";
    const seconds = f.rows[line] + pixel * this.data.period + this.data.delay;
    const a = f.area, inside = a && pixel >= a[0] && line >= a[1] && pixel < a[0] + a[2] && line < a[1] + a[3];
    return {
      line: `${line}${inside ? ` (active ${line - a[1]})` : ""}`,
      pixel: `${pixel}${inside ? ` (active ${pixel - a[0]})` : a ? " (blanking)" : ""}`,
      code: `${code} (${code.toString(2).padStart(this.data.bits, "0")})`,
      colour: `#${hex}${this.data.known ? "" : " (grey for a code of unknown colour)"}`,
      sure: (f.isUnsure(place) ? "unsure" : "sure") + noisy,
      time: Number.isNaN(seconds) ? "not known" : `${(seconds * 1e3).toFixed(6)} ms`,
      hex: `#${hex}`,
    };
  }

  show(line, pixel) {
    const words = this.describe(line, pixel);
    for (const key of ["line", "pixel", "code", "colour", "sure", "time"]) byId(`at-${key}`).textContent = words[key];
    byId("swatch").style.backgroundColor = words.hex;
    return words;
  }

  // Move the cursor, keep it in the window and in sight, and read it out.
  go(line, pixel) {
    const w = this.window();
    this.cursor = {
      line: Math.min(Math.max(line, w.y), w.y + w.height - 1),
      pixel: Math.min(Math.max(pixel, w.x), w.x + w.width - 1),
    };
    this.paint();
    const words = this.show(this.cursor.line, this.cursor.pixel);
    clearTimeout(this.speaking);
    this.speaking = setTimeout(() => {
      byId("spoken").textContent = `line ${words.line}, pixel ${words.pixel}, code ${words.code}, colour ${words.colour}, ${words.sure}, ${words.time}`;
    }, 250);
    const { across, down } = this.scale(), screen = byId("screen"), ratio = devicePixelRatio;
    const x = (this.cursor.pixel - w.x) * across / ratio, y = (this.cursor.line - w.y) * down / ratio;
    if (x < screen.scrollLeft || x > screen.scrollLeft + screen.clientWidth - 20) screen.scrollLeft = x - screen.clientWidth / 2;
    if (y < screen.scrollTop || y > screen.scrollTop + screen.clientHeight - 20) screen.scrollTop = y - screen.clientHeight / 2;
  }

  change(values) {
    Object.assign(this, values);
    this.number = Math.min(Math.max(this.number, 0), this.fields.length - 1);
    this.draw();
    this.go(this.cursor.line, this.cursor.pixel);
  }

  // Show a place on a field, on the whole raster when it lies outside the active area.
  place(index, line, pixel) {
    const number = this.fields.findIndex((f) => f.index === index);
    if (number < 0) return;
    const a = this.fields[number].area;
    const inside = a && pixel >= a[0] && line >= a[1] && pixel < a[0] + a[2] && line < a[1] + a[3];
    this.change({ number, part: inside ? this.part : "raster", cursor: { line, pixel } });
  }

  under(event) {
    const box = this.canvas.getBoundingClientRect(), w = this.window();
    const column = Math.floor((event.clientX - box.left) / box.width * w.width);
    const row = Math.floor((event.clientY - box.top) / box.height * w.height);
    return [Math.min(Math.max(row, 0), w.height - 1) + w.y, Math.min(Math.max(column, 0), w.width - 1) + w.x];
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const { line, pixel } = this.cursor, step = event.shiftKey ? 8 : 1, w = this.window();
    const next = OVERLAYS[(OVERLAYS.indexOf(this.overlay) + 1) % OVERLAYS.length];
    const actions = {
      ArrowLeft: () => this.go(line, pixel - step), ArrowRight: () => this.go(line, pixel + step),
      ArrowUp: () => this.go(line - step, pixel), ArrowDown: () => this.go(line + step, pixel),
      Home: () => this.go(line, w.x), End: () => this.go(line, w.x + w.width - 1),
      PageUp: () => this.change({ number: this.number - 1 }), PageDown: () => this.change({ number: this.number + 1 }),
      "+": () => this.change({ zoom: this.zoom + 1 }), "-": () => this.change({ zoom: Math.max(1, this.zoom - 1) }),
      r: () => this.change({ part: this.part === "active" ? "raster" : "active" }), m: () => this.change({ overlay: next }),
    };
    const action = actions[event.key] || actions[event.key.toLowerCase()];
    if (!action) return;
    event.preventDefault();
    action();
  }

  listen() {
    byId("field").max = this.fields.length - 1;
    byId("field").addEventListener("input", (e) => this.change({ number: +e.target.value }));
    byId("part").addEventListener("change", (e) => this.change({ part: e.target.value, zoom: 0 }));
    byId("overlay").addEventListener("change", (e) => this.change({ overlay: e.target.value }));
    byId("smaller").addEventListener("click", () => this.change({ zoom: Math.max(1, this.zoom - 1) }));
    byId("larger").addEventListener("click", () => this.change({ zoom: this.zoom + 1 }));
    this.canvas.addEventListener("pointermove", (e) => this.show(...this.under(e)));
    this.canvas.addEventListener("pointerleave", () => this.show(this.cursor.line, this.cursor.pixel));
    this.canvas.addEventListener("click", (e) => this.go(...this.under(e)));
    this.canvas.addEventListener("keydown", (e) => this.key(e));
    let ratio = devicePixelRatio, width = innerWidth;
    addEventListener("resize", () => {
      if (ratio === devicePixelRatio && width === innerWidth) return;
      [ratio, width] = [devicePixelRatio, innerWidth];
      this.change({ zoom: 0 });
    });
    document.addEventListener("click", (event) => {
      const link = event.target.closest("a[data-field]");
      if (!link) return;
      event.preventDefault();
      byId("picture").scrollIntoView();
      this.place(+link.dataset.field, +link.dataset.line, +link.dataset.pixel);
      this.canvas.focus({ preventScroll: true });
    });
  }
}

async function start() {
  const held = byId("fields-data");
  if (!held || typeof DecompressionStream === "undefined") return;
  const data = JSON.parse(held.textContent);
  const codes = await unpack(data.table.codes, Uint32Array), rgb = await unpack(data.table.rgb, Uint8Array);
  const fields = await Promise.all(data.fields.map((one) => Field.open(data, one)));
  byId("still").hidden = true;
  byId("viewer").hidden = false;
  const viewer = new Viewer(data, codes, rgb, fields);
  viewer.listen();
  viewer.change({});
  byId("viewer").dataset.ready = "yes";
}

start();
