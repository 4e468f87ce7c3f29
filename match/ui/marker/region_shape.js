// The drawing side of the region marker: one rectangle as it looks on the photo.
// Loaded in front of region_tools.js and region_marker.js, as one module.

const TAG_PX = 20; // the height of a label
const KEYS =
  "Arrow keys move it, with Shift farther; Home, End, Page Up and Page Down put it into a corner of the photo. " +
  "C takes its next corner, which the arrow keys then move. Delete removes it.";
const SMALL_PX = 56; // a smaller box is drawn with a thinner line, to leave its inside in view

const round = (value) => Math.round(value * 1e5) / 1e5;

function onSheet(region, sheetWidth, sheetHeight) {
  return {
    x: region.x * sheetWidth,
    y: region.y * sheetHeight,
    width: region.width * sheetWidth,
    height: region.height * sheetHeight,
  };
}

function between(a, b) {
  return { x: Math.min(a.x, b.x), y: Math.min(a.y, b.y), width: Math.abs(a.x - b.x), height: Math.abs(a.y - b.y) };
}

function overlap(a, b) {
  return a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height;
}

// One rectangle: a light halo under a dark patterned stroke, a label, and four corners to drag.
class Shape {
  constructor(svg, kind) {
    this.group = drawn("g", { class: "region", tabindex: 0, role: "button" }, svg);
    this.group.dataset.kind = kind.name;
    this.body = drawn("rect", { class: "body" }, this.group);
    this.halo = drawn("rect", { class: "halo" }, this.group);
    this.line = drawn("rect", { class: "line", stroke: kind.colour, "stroke-dasharray": kind.dash }, this.group);
    this.tag = drawn("g", { class: "tag" }, this.group);
    this.plate = drawn("rect", { class: "plate", rx: 3, stroke: kind.colour }, this.tag);
    this.text = drawn("text", { class: "text" }, this.tag);
    this.corners = ["nw", "ne", "se", "sw"].map((name) => {
      const dot = drawn("rect", { class: "dot", width: 14, height: 14, rx: 3 }, this.group);
      const grip = drawn("rect", { class: `grip ${name}`, width: TOUCH_PX, height: TOUCH_PX }, this.group);
      grip.dataset.corner = name;
      return { name, dot, grip };
    });
  }

  // `taken` holds the boxes and labels already on the sheet; the label keeps out of their way where it can.
  place(region, label, selected, sheetWidth, sheetHeight, taken = []) {
    const box = onSheet(region, sheetWidth, sheetHeight);
    for (const part of [this.body, this.halo, this.line]) set(part, box);
    this.group.classList.toggle("selected", selected);
    this.group.classList.toggle("small", Math.min(box.width, box.height) < SMALL_PX);
    this.group.setAttribute("aria-label", `${label}. ${KEYS}`);
    this.text.textContent = label;
    const tag = this.tagPlace(box, sheetWidth, sheetHeight, taken);
    taken.push(tag);
    set(this.plate, tag);
    set(this.text, { x: tag.x + 6, y: tag.y + 14.5 });
    this.placeCorners(box, sheetWidth, sheetHeight);
  }

  tagPlace(box, sheetWidth, sheetHeight, taken) {
    const width = this.text.getComputedTextLength() + 12;
    const [x, right, bottom] = [clamp(box.x, 0, sheetWidth - width), box.x + box.width, box.y + box.height];
    const middle = box.y + (box.height - TAG_PX) / 2;
    const places = [
      [x, box.y - TAG_PX - 4],
      [x, bottom + 4],
      [right + 4, middle],
      [box.x - width - 4, middle],
      [clamp(right - width, 0, sheetWidth - width), box.y - TAG_PX - 4],
      [clamp(right - width, 0, sheetWidth - width), bottom + 4],
      [right + 4, clamp(box.y, 0, sheetHeight - TAG_PX)],
      [box.x - width - 4, clamp(box.y, 0, sheetHeight - TAG_PX)],
    ].map(([left, top]) => ({ x: left, y: top, width, height: TAG_PX }));
    const isSeen = (place) =>
      place.x >= 0 && place.x + width <= sheetWidth && place.y >= 0 && place.y + TAG_PX <= sheetHeight;
    const seen = places.filter(isSeen);
    const isFree = (place) => !taken.some((other) => overlap(place, other));
    // Only a box that leaves no room around it has its label inside; it never lies on what another box marks if it can.
    return seen.find(isFree) ?? seen.find((place) => !overlap(place, box)) ?? { x, y: box.y + 6, width, height: TAG_PX };
  }

  // Show which corner the arrow keys move.
  hold(corner) {
    for (const { name, dot } of this.corners) dot.classList.toggle("held", name === corner);
  }

  placeCorners(box, sheetWidth, sheetHeight) {
    for (const { name, dot, grip } of this.corners) {
      const [sideX, sideY] = [name.includes("e") ? 1 : 0, name.includes("s") ? 1 : 0];
      const [cx, cy] = [box.x + sideX * box.width, box.y + sideY * box.height];
      set(dot, { x: cx - 7, y: cy - 7 });
      // The target lies mostly outside the box, so that a small box can still be moved by its middle.
      const [gx, gy] = [cx + (sideX ? -10 : 10 - TOUCH_PX), cy + (sideY ? -10 : 10 - TOUCH_PX)];
      set(grip, { x: clamp(gx, 0, sheetWidth - TOUCH_PX), y: clamp(gy, 0, sheetHeight - TOUCH_PX) });
    }
  }
}
