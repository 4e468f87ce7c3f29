// The buttons around the photo: which kind to draw, zoom, delete, and how much light a grey reflects.
// Tools only shows and asks; region_marker.js decides.

const ARROWS =
  "M20 1v12M13 7h14M17.5 3.5 20 1l2.5 2.5M17.5 10.5 20 13l2.5-2.5M15.5 4.5 13 7l2.5 2.5M24.5 4.5 27 7l-2.5 2.5";

function pushButton(text, label, action) {
  const made = element("button", { type: "button", textContent: text, title: label });
  made.setAttribute("aria-label", label);
  made.addEventListener("click", action);
  return made;
}

// The grey that was last said, remembered by this browser: the next one is most likely the same.
const GREY_KEY = "sprayout-last-grey";

function lastGrey() {
  try {
    const value = Number(localStorage.getItem(GREY_KEY));
    return value >= 0.01 && value <= 1 ? value : null;
  } catch {
    return null; // a browser that keeps nothing
  }
}

function keepGrey(value) {
  try {
    localStorage.setItem(GREY_KEY, String(value));
  } catch {
    // a browser that keeps nothing
  }
}

class Tools {
  constructor(marker) {
    this.marker = marker;
    this.kinds = element("div", { className: "kinds" });
    this.kinds.setAttribute("role", "toolbar");
    this.kinds.setAttribute("aria-label", "What to mark");
    this.hint = element("p", { className: "hint" });
    this.hint.setAttribute("aria-live", "polite");
    this.smaller = pushButton("−", "Zoom out", () => marker.step(-1));
    this.scale = element("span", { className: "scale" });
    this.larger = pushButton("+", "Zoom in", () => marker.step(1));
    this.remove = pushButton("Delete box", "Delete the selected box", () => marker.erase());
    this.undo = pushButton("Undo", "Undo the last step", () => marker.undo());
    this.redo = pushButton("Redo", "Do the step again", () => marker.redo());
    const steps = element("div", { className: "zoom" }, this.undo, this.redo);
    const zoom = element("div", { className: "zoom" }, this.smaller, this.scale, this.larger);
    this.below = element("div", { className: "below" }, zoom, steps, this.remove);
    this.greys = element("div", { className: "greys" });
    this.names = element("div", { className: "greys" });
    this.figures = element("details", { className: "figures" });
  }

  build() {
    const adjust = { name: "", label: "Adjust" };
    this.kinds.replaceChildren(...[adjust, ...this.marker.data.kinds].map((kind) => this.kindButton(kind)));
    this.buildGreys();
    this.buildNames();
    this.buildFigures();
  }

  // The selected box by its figures, in pixels of the photo: for hands that no pointer suits.
  buildFigures() {
    this.sides = ["x", "y", "width", "height"].map((side) => {
      const input = element("input", { type: "number", min: 0, step: 1 });
      input.dataset.side = side;
      input.addEventListener("change", () => {
        this.marker.putAt(side, Number(input.value));
        if (this.marker.selected) input.value = this.marker.inPixels(this.marker.selected, side);
      });
      return input;
    });
    const names = ["From the left", "From the top", "Width", "Height"];
    const labels = this.sides.map((input, place) => element("label", {}, element("span", { textContent: names[place] }), input));
    this.figures.replaceChildren(element("summary", { textContent: "Type where the box lies (pixels of the photo)" }), ...labels);
  }

  showFigures(selected) {
    this.figures.hidden = !selected;
    if (!selected) return;
    for (const input of this.sides) {
      if (!input.matches(":focus")) input.value = this.marker.inPixels(selected, input.dataset.side);
    }
  }

  buildNames() {
    this.called = element("input", { type: "text", maxLength: 40 });
    this.called.addEventListener("change", () => this.marker.rename(this.called.value));
    this.asks = element("span");
    this.names.replaceChildren(element("label", {}, this.asks, this.called));
  }

  kindButton(kind) {
    const button = element("button", { type: "button", className: "kind" });
    button.dataset.kind = kind.name;
    const icon = drawn("svg", { viewBox: "0 0 40 14", class: "icon", "aria-hidden": "true" });
    if (kind.name) {
      const line = { x1: 3, y1: 7, x2: 37, y2: 7 };
      drawn("line", { ...line, class: "halo" }, icon);
      drawn("line", { ...line, class: "line", stroke: kind.colour, "stroke-dasharray": kind.dash }, icon);
    } else {
      drawn("path", { d: ARROWS, class: "arrows" }, icon);
    }
    const name = element("span", { className: "name", textContent: kind.label });
    button.append(icon, name, element("span", { className: "count" }));
    button.addEventListener("click", () => this.marker.choose(kind.name));
    return button;
  }

  buildGreys() {
    this.preset = element("select");
    this.preset.setAttribute("aria-label", "Which grey is this?");
    const isLast = (grey) => Math.abs(grey.reflectance - this.marker.lastGrey()) < 5e-5;
    const inOrder = [...this.marker.data.greys].sort((one, other) => isLast(other) - isLast(one));
    for (const grey of inOrder) {
      this.preset.append(element("option", { value: String(grey.reflectance), textContent: grey.label }));
    }
    this.preset.append(element("option", { value: "", textContent: "Another grey (type its figure)" }));
    this.percent = element("input", { type: "number", min: 1, max: 100, step: "any" });
    this.percent.setAttribute("aria-label", "Light the grey reflects, in percent");
    this.preset.addEventListener("change", () => {
      if (this.preset.value) this.marker.reflect(Number(this.preset.value));
      else this.percent.focus();
    });
    this.percent.addEventListener("change", () => this.marker.reflect(Number(this.percent.value) / 100));
    this.greys.replaceChildren(
      element("label", {}, element("span", { textContent: "Which grey is this?" }), this.preset),
      element("label", { className: "percent" }, element("span", { textContent: "It reflects" }), this.percent, "%"),
    );
  }

  show() {
    const { mode, regions, selected } = this.marker;
    const missing = this.marker.missing();
    for (const button of this.kinds.children) {
      const name = button.dataset.kind;
      const count = regions.filter((region) => region.kind === name).length;
      button.setAttribute("aria-pressed", String(name === mode));
      button.classList.toggle("next", !mode && name !== "" && name === missing);
      button.querySelector(".count").textContent = ["", "✓"][count] ?? `✓ ${count}`;
    }
    this.remove.disabled = !selected;
    this.undo.disabled = !this.marker.steps.past.length;
    this.redo.disabled = !this.marker.steps.future.length;
    const reflects = Boolean(selected && this.marker.kindOf(selected).reflects);
    this.greys.hidden = !reflects;
    if (reflects) this.showGrey(selected.reflectance);
    const kind = selected && this.marker.kindOf(selected);
    const named = Boolean(kind && ((kind.named && selected.name) || kind.parts));
    this.names.hidden = !named;
    this.showFigures(selected);
    if (named) this.showName(kind.parts, selected.name ?? "");
    const said = this.marker.said ? `${this.marker.said} ` : "";
    this.hint.textContent = said + this.hintText(mode, missing, selected);
  }

  // Only a part with a colour of its own has a name on the car; the card is judged against the boxes without one.
  showName(isPart, name) {
    const words = isPart ? "Another part? Its name, such as bumper" : "This card is called";
    this.asks.textContent = words;
    this.called.setAttribute("aria-label", isPart ? words : "What this card is called");
    if (!this.called.matches(":focus")) this.called.value = name;
  }

  showGrey(reflectance) {
    this.percent.value = +(reflectance * 100).toFixed(2);
    const known = this.marker.data.greys.find((each) => Math.abs(each.reflectance - reflectance) < 5e-5);
    this.preset.value = known ? String(known.reflectance) : "";
  }

  showZoom(factor, isLeast, isMost) {
    this.scale.textContent = `${Math.round(factor * 100)} %`;
    this.smaller.disabled = isLeast;
    this.larger.disabled = isMost;
  }

  hintText(mode, missing, selected) {
    const kind = this.marker.data.kinds.find((each) => each.name === (mode || missing));
    if (mode && this.marker.regions.some((region) => region.kind === mode) && kind.more) return kind.more;
    if (mode) return `${this.marker.data.grows ? "Tap it, or draw" : "Draw"} a box ${kind.hint}.`;
    if (kind) return `Next: press ${kind.label}, then ${this.marker.data.grows ? "tap it" : "draw a box on it"}.`;
    // What the page says next stands beside the photo, but below it, out of sight, where the page has one column.
    const next = matchMedia("(max-width: 640px)").matches ? "All marked: go on below. " : "";
    if (selected) {
      const keys = matchMedia("(pointer: coarse)").matches ? "" : " Arrow keys move it, with Shift farther; C takes a corner.";
      return `${next}Drag the box to move it, a corner to resize it.${keys}`;
    }
    return `${next || "All marked. "}Tap a box to adjust it.`;
  }
}
