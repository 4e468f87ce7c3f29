// The panel from in front with its repairs, moved by mouse, finger or keyboard. The browser owns them while they are
// moved; Python hears of it once the pointer is up. Lengths are mm from the panel's upper left corner.
// Every text that arrives from Python is shown through textContent, never parsed as markup.

const BORDER_PX = 34; // around the panel, for the grips of its edges
const TALLEST_PX = 300;
const FAR = 5; // steps of an arrow key together with Shift
const LEAST_REPAIR_MM = 10;
const EDGES = { left: [-1, 0], right: [1, 0], up: [0, -1], down: [0, 1] };

class Board {
  constructor(parent) {
    this.sent = 0;
    this.held = null;
    this.svg = drawn("svg", { role: "group" });
    this.status = element("p", { className: "status" });
    this.status.setAttribute("aria-live", "polite");
    this.root = element("div", { className: "board" }, this.svg, this.status);
    parent.append(this.root);
    this.svg.addEventListener("pointerdown", (event) => this.press(event));
    this.svg.addEventListener("pointermove", (event) => this.move(event));
    this.svg.addEventListener("pointerup", () => this.release());
    this.svg.addEventListener("pointercancel", () => this.release());
    this.svg.addEventListener("touchstart", (event) => this.keepFromScrolling(event), { passive: false });
    this.svg.addEventListener("keydown", (event) => this.key(event));
    this.svg.addEventListener("focusin", (event) => this.tellOf(event.target.closest("[data-what]")));
    this.observer = new ResizeObserver(() => this.held ?? this.fit());
    this.observer.observe(this.root);
  }

  close() {
    this.observer.disconnect();
    clearTimeout(this.timer);
    this.root.remove();
  }

  receive(data, setStateValue) {
    this.tell = setStateValue;
    const another = this.data?.instance !== data.instance;
    this.data = data;
    if (another) this.sent = data.number;
    // what was moved since this answer was asked for stays as it is
    if (this.held || this.timer || data.number < this.sent) return;
    this.panel = structuredClone(data.panel);
    this.build();
  }

  build() {
    this.svg.replaceChildren();
    this.svg.setAttribute("aria-label", this.data.words.board);
    this.status.textContent ||= this.data.words.hint;
    this.outline = drawn("polygon", { class: "panel" }, this.svg);
    this.edges = Object.keys(EDGES).map((name) => this.edge(name));
    this.repairs = this.panel.spots.map((_, index) => this.repair(index));
    this.fit();
  }

  edge(name) {
    const upright = name === "left" || name === "right";
    const group = drawn("g", { class: `edge ${upright ? "across" : "down"}`, tabindex: 0, role: "slider" }, this.svg);
    group.setAttribute("aria-orientation", upright ? "horizontal" : "vertical");
    Object.assign(group.dataset, { what: "edge", edge: name });
    const touch = drawn("rect", { class: "touch", width: TOUCH_PX, height: TOUCH_PX }, group);
    return { name, group, touch, grip: drawn("rect", { class: "grip", rx: 4 }, group) };
  }

  repair(index) {
    const group = drawn("g", { class: "repair", tabindex: 0, role: "button" }, this.svg);
    Object.assign(group.dataset, { what: "repair", index });
    const touch = drawn("rect", { class: "touch" }, group);
    const body = drawn("rect", { class: "body" }, group);
    const name = drawn("text", { class: "name" }, group);
    name.textContent = this.panel.spots.length > 1 ? String(index + 1) : "";
    const corner = drawn("g", { class: "corner", tabindex: 0, role: "button" }, this.svg);
    Object.assign(corner.dataset, { what: "corner", index });
    const hit = drawn("rect", { class: "touch", width: TOUCH_PX, height: TOUCH_PX }, corner);
    return { index, group, touch, body, name, corner, hit, dot: drawn("circle", { class: "grip", r: 7 }, corner) };
  }

  // The scale is kept while an edge is held, so that it stays under the finger.
  fit() {
    const wide = this.root.clientWidth;
    if (!this.panel || !wide) return;
    const { width, height } = this.panel;
    this.scale = Math.min((wide - 2 * BORDER_PX) / width, (TALLEST_PX - 2 * BORDER_PX) / height);
    this.left = (wide - width * this.scale) / 2;
    this.top = BORDER_PX;
    this.svg.setAttribute("width", wide);
    this.svg.setAttribute("height", height * this.scale + 2 * BORDER_PX);
    this.show();
  }

  show() {
    const { width, height, spots } = this.panel;
    const x = (mm) => this.left + mm * this.scale;
    const y = (mm) => this.top + mm * this.scale;
    const corners = this.data.outline.map(([across, down]) => `${x(across * width)},${y(down * height)}`);
    this.outline.setAttribute("points", corners.join(" "));
    for (const { name, group, touch, grip } of this.edges) {
      const [across, down] = EDGES[name];
      const at = { x: x(width * (0.5 + across / 2)) + 12 * across, y: y(height * (0.5 + down / 2)) + 12 * down };
      const [long, wide] = across ? [8, 32] : [32, 8];
      place(grip, at.x - long / 2, at.y - wide / 2, long, wide);
      place(touch, at.x - TOUCH_PX / 2, at.y - TOUCH_PX / 2, TOUCH_PX, TOUCH_PX);
      group.setAttribute("aria-valuenow", Math.round(across ? width : height));
      group.setAttribute("aria-valuemin", this.data.least);
      group.setAttribute("aria-valuemax", this.data.most);
      group.setAttribute("aria-valuetext", this.words(group));
      group.setAttribute("aria-label", this.data.words.edges[name]);
    }
    for (const { index, group, touch, body, name, corner, hit, dot } of this.repairs) {
      const spot = spots[index];
      const [wide, tall] = [spot.width * this.scale, spot.height * this.scale];
      place(body, x(spot.left), y(spot.top), wide, tall);
      const [more, taller] = [Math.max(0, TOUCH_PX - wide) / 2, Math.max(0, TOUCH_PX - tall) / 2];
      place(touch, x(spot.left) - more, y(spot.top) - taller, wide + 2 * more, tall + 2 * taller);
      name.setAttribute("x", x(spot.left) + wide / 2);
      name.setAttribute("y", y(spot.top) + tall / 2);
      group.setAttribute("aria-label", this.words(group));
      const at = { x: x(spot.left + spot.width) + 8, y: y(spot.top + spot.height) + 8 };
      dot.setAttribute("cx", at.x);
      dot.setAttribute("cy", at.y);
      place(hit, at.x - 12, at.y - 12, TOUCH_PX, TOUCH_PX);
      corner.setAttribute("aria-label", this.words(corner));
    }
  }

  // Words come from Python with places for the numbers, in the person's own unit.
  words(target) {
    const { what, index, edge } = target.dataset;
    const { width, height, spots } = this.panel;
    const values = what === "edge" ? { width, height } : { number: Number(index) + 1, ...spots[index] };
    const kind = what === "edge" ? (EDGES[edge][0] ? "width" : "height") : what;
    const filled = (_, name) => (name === "number" ? values[name] : this.length(values[name]));
    return this.data.words[kind].replace(/\{(\w+)\}/g, filled);
  }

  length(mm) {
    const { per_unit, digits, unit } = this.data;
    return `${Number((mm / per_unit).toFixed(digits))} ${unit}`;
  }

  tellOf(target) {
    if (target) this.status.textContent = this.words(target);
  }

  keepFromScrolling(event) {
    if (event.target.closest("[data-what]")) event.preventDefault();
  }

  press(event) {
    const target = event.target.closest("[data-what]");
    if (!target || (event.pointerType === "mouse" && event.button !== 0)) return;
    this.commit();
    target.focus({ preventScroll: true });
    this.svg.setPointerCapture(event.pointerId);
    this.held = { target, x: event.clientX, y: event.clientY, from: structuredClone(this.panel) };
    event.preventDefault();
  }

  move(event) {
    if (!this.held) return;
    const { target, x, y, from } = this.held;
    this.panel = this.moved(from, target, (event.clientX - x) / this.scale, (event.clientY - y) / this.scale, true);
    this.show();
    this.tellOf(target);
  }

  release() {
    if (!this.held) return;
    const changed = JSON.stringify(this.held.from) !== JSON.stringify(this.panel);
    this.held = null;
    this.fit();
    if (changed) this.send();
  }

  key(event) {
    const target = event.target.closest("[data-what]");
    const arrow = NUDGES[event.key];
    if (!target || !arrow || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    const far = this.data.step * 2 * (event.shiftKey ? FAR : 1);
    this.panel = this.moved(this.panel, target, arrow[0] * far, arrow[1] * far, false);
    this.fit();
    this.tellOf(target);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.commit(), KEYBOARD_PAUSE_MS);
  }

  commit() {
    if (!this.timer) return;
    clearTimeout(this.timer);
    this.timer = null;
    this.send();
  }

  // Return the panel with one thing moved by so many mm; nothing leaves the panel, and no edge crosses a repair.
  moved(from, target, across, down, snapped) {
    const { what, index, edge } = target.dataset;
    const step = this.data.step;
    const snap = (value) => (snapped ? Math.round(value / step) * step : value);
    const panel = structuredClone(from);
    if (what === "edge") return this.edgeMoved(panel, edge, snap(across), snap(down));
    const spot = panel.spots[index];
    if (what === "corner") {
      spot.width = clamp(snap(spot.width + across), LEAST_REPAIR_MM, panel.width - spot.left);
      spot.height = clamp(snap(spot.height + down), LEAST_REPAIR_MM, panel.height - spot.top);
    } else {
      spot.left = clamp(snap(spot.left + across), 0, panel.width - spot.width);
      spot.top = clamp(snap(spot.top + down), 0, panel.height - spot.height);
    }
    return panel;
  }

  edgeMoved(panel, edge, across, down) {
    const [sideways, upright] = EDGES[edge];
    const [start, size, room] = sideways ? ["left", "width", across * sideways] : ["top", "height", down * upright];
    const first = sideways + upright < 0;
    const inner = panel.spots.map((spot) => (first ? spot[start] : panel[size] - spot[start] - spot[size]));
    const grown = clamp(room, -Math.min(...inner, panel[size] - this.data.least), this.data.most - panel[size]);
    panel[size] += grown;
    if (first) for (const spot of panel.spots) spot[start] += grown;
    return panel;
  }

  send() {
    this.sent += 1;
    this.tell("moved", { number: this.sent, ...structuredClone(this.panel) });
  }
}

const place = (rect, x, y, width, height) => set(rect, { x, y, width, height });

export default keptIn(Board);
