// Rectangles on a photo, by mouse, finger or keyboard. The browser owns the rectangles while the photo is on screen;
// Python hears of a change once the pointer is up. Coordinates are fractions of the upright picture.
// Every text that arrives from Python is shown through textContent, never parsed as markup.

const ZOOMS = [1, 1.5, 2, 3, 4, 6, 8];
const CLICK_PX = 6; // a shorter drag is a click, not a rectangle
const HEADER_PX = 60; // of the app's own header, which covers what lies above
const KEYBOARD_BOX = { x: 0.42, y: 0.42, width: 0.16, height: 0.16 };
const FAR_PX = 10; // a step of an arrow key together with Shift
const JUMPS = { Home: [-1, -1], PageUp: [1, -1], PageDown: [-1, 1], End: [1, 1] }; // to a corner of the photo
const CORNERS = ["", "nw", "ne", "se", "sw"];

class Marker {
  constructor(parent) {
    this.regions = [];
    this.shapes = new Map();
    this.selected = null;
    this.mode = "";
    this.zoom = 0;
    this.drag = null;
    this.corner = "";
    this.waiting = null; // the number of the tap that Python has not answered yet
    this.said = "";
    this.steps = new Steps();
    this.loupe = new Loupe();
    this.build(parent);
    this.observer = new ResizeObserver(() => this.fit());
    this.observer.observe(this.root);
  }

  build(parent) {
    this.tools = new Tools(this);
    this.image = element("img", { alt: "", draggable: false });
    this.image.addEventListener("error", () => this.tell("photo_failed", true));
    this.svg = drawn("svg", { class: "overlay" });
    this.sheet = element("div", { className: "sheet" }, this.image, this.svg);
    this.view = element("div", { className: "view", tabIndex: 0 }, this.sheet);
    this.view.setAttribute("role", "group");
    this.view.setAttribute("aria-label", "The photo. With a kind chosen, Enter puts a box in the middle.");
    this.frame = element("div", { className: "frame" }, this.view, this.loupe.node);
    const { kinds, hint, below, greys, names, figures } = this.tools;
    this.root = element("div", { className: "marker" }, kinds, hint, this.frame, below, greys, names, figures);
    parent.append(this.root);
    this.svg.addEventListener("pointerdown", (event) => this.press(event));
    this.svg.addEventListener("pointermove", (event) => this.move(event));
    this.svg.addEventListener("pointerup", (event) => this.release(event));
    this.svg.addEventListener("pointercancel", () => this.abandon());
    this.svg.addEventListener("touchstart", (event) => this.keepFromScrolling(event), { passive: false });
    this.sheet.addEventListener("focusin", (event) => this.select(this.regionAt(event.target)));
    this.view.addEventListener("keydown", (event) => this.key(event));
    this.root.addEventListener("keydown", (event) => this.undoKey(event));
  }

  close() {
    this.observer.disconnect();
    clearTimeout(this.timer);
    this.root.remove();
  }

  receive(data, setStateValue) {
    this.tell = setStateValue;
    this.data = data;
    if (this.image.getAttribute("src") !== data.photo.url) this.image.src = data.photo.url;
    if (data.instance === this.instance) {
      this.take(data.grown);
      return;
    }
    this.instance = data.instance;
    this.zoom = 0;
    this.drag = null;
    this.regions = data.regions.map((region) => ({ ...region }));
    this.selected = null;
    this.waiting = null;
    this.said = "";
    this.showSpot(null);
    this.steps.begin(this.regions);
    this.tools.build();
    // A finger that scrolls past the picture must not draw, so only a mouse starts with a kind in hand.
    this.mode = matchMedia("(pointer: coarse)").matches ? "" : this.missing();
    this.fit();
    requestAnimationFrame(() => this.showItself());
  }

  // A new photo may have been chosen at the foot of a long page.
  showItself() {
    const { top } = this.view.getBoundingClientRect();
    if (top < HEADER_PX || top > innerHeight) this.root.scrollIntoView({ block: "start" });
  }

  send() {
    clearTimeout(this.timer);
    this.timer = null;
    this.steps.keep(this.regions);
    this.sendAsIs();
    this.tools.show();
  }

  sendAsIs() {
    const rounded = ({ kind, x, y, width, height, reflectance, name }) => {
      return { kind, x: round(x), y: round(y), width: round(width), height: round(height), reflectance, name };
    };
    this.tell("regions", this.regions.map(rounded));
  }

  kindOf(region) {
    return this.data.kinds.find((kind) => kind.name === region.kind);
  }

  regionAt(target) {
    const group = target.closest(".region");
    return this.regions.find((region) => this.shapes.get(region)?.group === group) ?? null;
  }

  missing() {
    const lacks = (kind) => kind.required && !this.regions.some((region) => region.kind === kind.name);
    return this.data.kinds.find(lacks)?.name ?? "";
  }

  // The kind to go on with: first what is required, then what is better marked more than once.
  next() {
    const count = (kind) => this.regions.filter((region) => region.kind === kind.name).length;
    return this.missing() || (this.data.kinds.find((kind) => count(kind) < kind.wanted)?.name ?? "");
  }

  undo() {
    if (this.timer) this.send();
    this.put(this.steps.back());
  }

  redo() {
    this.put(this.steps.again());
  }

  put(regions) {
    if (!regions) return;
    this.regions = regions;
    this.selected = null;
    this.waiting = null;
    this.said = "";
    this.showSpot(null);
    if (this.mode) this.mode = this.next();
    this.show();
    this.sendAsIs();
  }

  undoKey(event) {
    const key = event.key.toLowerCase();
    if (!(event.ctrlKey || event.metaKey) || !["z", "y"].includes(key) || event.target.matches("input, select")) return;
    if (key === "y" || event.shiftKey) this.redo();
    else this.undo();
    event.preventDefault();
    event.stopPropagation();
  }

  // A tap while a kind is chosen: Python grows the box. On a box that is there already, it is to be adjusted.
  tap(point) {
    const inside = (each) =>
      point.x >= each.x && point.x <= each.x + each.width && point.y >= each.y && point.y <= each.y + each.height;
    const there = this.regions.findLast(inside);
    if (there) {
      this.choose("");
      this.select(there);
    } else if (this.data.grows) {
      this.waiting = Date.now();
      this.showSpot(point);
      this.tell("tap", { number: this.waiting, kind: this.mode, x: round(point.x), y: round(point.y) });
    }
  }

  take(grown) {
    if (!grown || grown.number !== this.waiting) return;
    this.waiting = null;
    this.showSpot(null);
    if (grown.box) {
      this.mode = grown.kind;
      this.add(this.atLeastMinimum(grown.box));
    }
    this.said = grown.words;
    this.tools.show();
  }

  showSpot(point) {
    this.spot?.remove();
    this.spot = point && drawn("circle", { class: "spot", cx: point.x * this.width, cy: point.y * this.height, r: 12 }, this.svg);
  }

  choose(name) {
    this.said = "";
    this.mode = name;
    if (name) this.selected = null;
    this.show();
  }

  select(region) {
    if (region === this.selected) return;
    this.selected = region;
    this.corner = "";
    this.show();
    if (region) this.shapes.get(region).group.focus({ preventScroll: true });
  }

  add(box) {
    const kind = this.data.kinds.find((each) => each.name === this.mode);
    let same = this.regions.filter((region) => region.kind === kind.name);
    // One card drawn over another is the same card, drawn again.
    const again = kind.named ? same.find((region) => overlap(region, box)) : null;
    const gone = again ?? (kind.limit && same.length >= kind.limit ? same[0] : null);
    this.regions = this.regions.filter((region) => region !== gone);
    const reflectance = kind.reflects ? (same.at(-1)?.reflectance ?? this.lastGrey() ?? this.data.default_reflectance) : null;
    const region = { kind: kind.name, ...box, reflectance, name: again?.name ?? "" };
    this.regions.push(region);
    if (kind.named) this.number(kind);
    this.said = "";
    this.mode = this.next();
    this.show();
    this.select(region);
    this.send();
  }

  // On an invented photo the greys are not the person's own.
  lastGrey() {
    return this.data.invented ? null : lastGrey();
  }

  // Several marks of a kind that has names: each without one takes the lowest number that is free.
  number(kind) {
    const same = this.regions.filter((region) => region.kind === kind.name);
    if (same.length < 2) return;
    const taken = () => same.map((each) => each.name);
    for (const region of same.filter((each) => !each.name)) {
      let place = 1;
      while (taken().includes(`${kind.label} ${place}`)) place += 1;
      region.name = `${kind.label} ${place}`;
    }
  }

  rename(value) {
    if (!this.selected) return;
    this.selected.name = value.trim();
    if (this.kindOf(this.selected).named) this.number(this.kindOf(this.selected));
    this.send();
    this.show();
  }

  erase() {
    if (!this.selected) return;
    this.regions = this.regions.filter((region) => region !== this.selected);
    this.selected = null;
    this.show();
    this.send();
    this.view.focus({ preventScroll: true });
  }

  reflect(value) {
    if (this.selected && value >= 0.01 && value <= 1) {
      this.selected.reflectance = round(value);
      if (!this.data.invented) keepGrey(this.selected.reflectance);
      this.send();
    }
    this.show();
  }

  inPixels(region, side) {
    return Math.round(region[side] * this.data.photo[["x", "width"].includes(side) ? "width" : "height"]);
  }

  // One side of the selected box as typed, in pixels of the photo; what does not fit the photo stops at its edge.
  putAt(side, pixels) {
    if (!this.selected || !Number.isFinite(pixels)) return;
    const { photo } = this.data;
    const [along, length] = ["x", "width"].includes(side) ? ["x", "width"] : ["y", "height"];
    const [value, least] = [pixels / photo[length], photo.least_side_px / photo[length]];
    const region = this.selected;
    if (side === along) region[along] = clamp(value, 0, 1 - region[length]);
    else region[length] = clamp(value, least, 1 - region[along]);
    this.show();
    this.send();
  }

  // What touch-action says in the stylesheet, for browsers that do not hear it on the parts of a drawing.
  keepFromScrolling(event) {
    if (this.mode || (this.selected && this.regionAt(event.target) === this.selected)) event.preventDefault();
  }

  point(event) {
    const box = this.svg.getBoundingClientRect();
    return {
      x: clamp((event.clientX - box.left) / box.width, 0, 1),
      y: clamp((event.clientY - box.top) / box.height, 0, 1),
    };
  }

  press(event) {
    if (this.drag || !event.isPrimary || event.button !== 0) return;
    const isTouch = event.pointerType === "touch";
    // While a kind is drawn no stroke takes hold of another box or its label: boxes move in Adjust alone.
    const region = this.mode ? null : this.regionAt(event.target);
    // An unselected box under a scrolling finger is only selected; the next touch moves it.
    const onlySelects = isTouch && !this.mode && region !== this.selected;
    this.select(region);
    const action = region ? (event.target.dataset.corner ?? "move") : this.mode ? "draw" : "pan";
    if (region ? onlySelects : action === "pan" && isTouch) return;
    this.svg.classList.toggle("stroking", action !== "pan");
    this.svg.setPointerCapture(event.pointerId);
    this.drag = {
      action,
      region,
      isTouch,
      start: this.point(event),
      before: region && { ...region },
      client: { x: event.clientX, y: event.clientY },
      scroll: { x: this.view.scrollLeft, y: this.view.scrollTop },
    };
  }

  move(event) {
    if (!this.drag || !event.isPrimary) return;
    const { action, start, region, before, client, scroll } = this.drag;
    const now = this.point(event);
    if (this.drag.isTouch && action !== "pan") this.magnify(event, now);
    if (action === "pan") {
      this.view.scrollTo(scroll.x + client.x - event.clientX, scroll.y + client.y - event.clientY);
    } else if (action === "draw") {
      this.drag.box = between(start, now);
      this.showDraft(this.drag.box);
    } else {
      this.drag.changed = true;
      if (action === "move") this.shift(region, before, now.x - start.x, now.y - start.y);
      else this.resize(region, before, action, now.x - start.x, now.y - start.y);
      this.show();
    }
  }

  magnify(event, now) {
    const seen = this.view.getBoundingClientRect();
    this.loupe.show(now, this.image.src, this.width, this.height, event.clientX < seen.left + seen.width / 2);
  }

  release(event) {
    if (!this.drag || !event.isPrimary) return;
    const { action, box, changed, start, client } = this.drag;
    this.letGo();
    const isTap = Math.hypot(event.clientX - client.x, event.clientY - client.y) < CLICK_PX;
    const isDrawn = box && box.width * this.width >= CLICK_PX && box.height * this.height >= CLICK_PX;
    if (action === "draw" && isDrawn) this.add(this.atLeastMinimum(box));
    else if (action === "draw" && isTap) this.tap(start);
    else if (changed) this.send();
  }

  letGo() {
    this.drag = null;
    this.showDraft(null);
    this.loupe.hide();
    this.svg.classList.remove("stroking");
  }

  abandon() {
    if (this.drag?.before) Object.assign(this.drag.region, this.drag.before);
    this.letGo();
    this.show();
  }

  shift(region, before, dx, dy) {
    region.x = clamp(before.x + dx, 0, 1 - before.width);
    region.y = clamp(before.y + dy, 0, 1 - before.height);
  }

  resize(region, before, corner, dx, dy) {
    const least = this.least();
    let [left, top, right, bottom] = [before.x, before.y, before.x + before.width, before.y + before.height];
    if (corner.includes("w")) left = clamp(left + dx, 0, right - least.x);
    if (corner.includes("e")) right = clamp(right + dx, left + least.x, 1);
    if (corner.includes("n")) top = clamp(top + dy, 0, bottom - least.y);
    if (corner.includes("s")) bottom = clamp(bottom + dy, top + least.y, 1);
    Object.assign(region, { x: left, y: top, width: right - left, height: bottom - top });
  }

  least() {
    const { least_side_px, width, height } = this.data.photo;
    return { x: least_side_px / width, y: least_side_px / height };
  }

  atLeastMinimum(box) {
    const least = this.least();
    const [width, height] = [Math.max(box.width, least.x), Math.max(box.height, least.y)];
    return { x: clamp(box.x, 0, 1 - width), y: clamp(box.y, 0, 1 - height), width, height };
  }

  key(event) {
    if (event.key === "Escape") {
      this.choose("");
      this.select(null);
    } else if (event.key === "Enter" && event.target === this.view && this.mode) {
      this.add({ ...KEYBOARD_BOX });
    } else if (this.selected && (event.key === "Delete" || event.key === "Backspace")) {
      this.erase();
    } else if (this.selected && event.key in NUDGES) {
      this.nudge(NUDGES[event.key], event);
    } else if (this.selected && event.key in JUMPS) {
      this.shift(this.selected, { ...this.selected }, ...JUMPS[event.key]);
      this.changedByKey();
    } else if (this.selected && event.key.toLowerCase() === "c" && !event.ctrlKey && !event.metaKey) {
      this.corner = CORNERS[(CORNERS.indexOf(this.corner) + 1) % CORNERS.length];
      this.show();
    } else {
      return;
    }
    event.preventDefault();
    event.stopPropagation();
  }

  nudge([right, down], { shiftKey, ctrlKey }) {
    const far = shiftKey ? FAR_PX : 1;
    const [dx, dy] = [(far * right) / this.width, (far * down) / this.height];
    const corner = this.corner || (ctrlKey ? "se" : "");
    if (corner) this.resize(this.selected, { ...this.selected }, corner, dx, dy);
    else this.shift(this.selected, { ...this.selected }, dx, dy);
    this.changedByKey();
  }

  changedByKey() {
    this.show();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.send(), KEYBOARD_PAUSE_MS);
  }

  step(direction) {
    const { view, selected } = this;
    const centre = selected
      ? { x: selected.x + selected.width / 2, y: selected.y + selected.height / 2 }
      : {
          x: (view.scrollLeft + view.clientWidth / 2) / this.width,
          y: (view.scrollTop + view.clientHeight / 2) / this.height,
        };
    this.zoom = clamp(this.zoom + direction, 0, ZOOMS.length - 1);
    this.fit();
    view.scrollTo(centre.x * this.width - view.clientWidth / 2, centre.y * this.height - view.clientHeight / 2);
  }

  fit() {
    const available = this.root.clientWidth;
    if (!this.data || !available) return;
    const aspect = this.data.photo.width / this.data.photo.height;
    const tallest = Math.max(260, Math.round(innerHeight * 0.62));
    const base = Math.min(available, tallest * aspect);
    this.width = base * ZOOMS[this.zoom];
    this.height = this.width / aspect;
    this.view.style.height = `${base / aspect}px`;
    Object.assign(this.sheet.style, { width: `${this.width}px`, height: `${this.height}px` });
    set(this.svg, { width: this.width, height: this.height, viewBox: `0 0 ${this.width} ${this.height}` });
    this.tools.showZoom(ZOOMS[this.zoom], this.zoom === 0, this.zoom === ZOOMS.length - 1);
    this.show();
  }

  show() {
    this.svg.style.touchAction = this.mode ? "none" : "auto";
    this.svg.classList.toggle("drawing", Boolean(this.mode));
    this.svg.classList.toggle("pannable", !this.mode && this.zoom > 0);
    for (const [region, shape] of this.shapes) {
      if (this.regions.includes(region)) continue;
      shape.group.remove();
      this.shapes.delete(region);
    }
    const taken = this.regions.map((region) => onSheet(region, this.width, this.height));
    for (const region of this.regions) {
      if (!this.shapes.has(region)) this.shapes.set(region, new Shape(this.svg, this.kindOf(region)));
      const shape = this.shapes.get(region);
      shape.place(region, this.labelOf(region), region === this.selected, this.width, this.height, taken);
      shape.hold(region === this.selected ? this.corner : "");
    }
    this.tools.show();
  }

  labelOf(region) {
    const plain = (each) => {
      const kind = this.kindOf(each);
      if ((kind.named || kind.parts) && each.name) return each.name;
      return kind.reflects ? `${kind.label} ${+(each.reflectance * 100).toFixed(1)} %` : kind.label;
    };
    const same = this.regions.filter((each) => plain(each) === plain(region));
    return same.length > 1 ? `${plain(region)} (${same.indexOf(region) + 1})` : plain(region);
  }

  showDraft(box) {
    this.draft?.group.remove();
    this.draft = null;
    if (!box) return;
    const kind = this.data.kinds.find((each) => each.name === this.mode);
    this.draft = new Shape(this.svg, kind);
    this.draft.place(box, kind.label, false, this.width, this.height);
  }
}

export default keptIn(Marker);
