// What helps the hand: every step can be undone and done again, and a loupe shows what the finger covers.

const LOUPE_PX = 116;
const LOUPE_TIMES = 2.5;

// The marks as they stood after each step; what was last sent to Python is where undoing begins.
class Steps {
  begin(regions) {
    [this.past, this.future, this.now] = [[], [], JSON.stringify(regions)];
  }

  keep(regions) {
    const now = JSON.stringify(regions);
    if (now === this.now) return;
    this.past.push(this.now);
    this.future = [];
    this.now = now;
  }

  back() {
    return this.go(this.past, this.future);
  }

  again() {
    return this.go(this.future, this.past);
  }

  go(from, to) {
    if (!from.length) return null;
    to.push(this.now);
    this.now = from.pop();
    return JSON.parse(this.now);
  }
}

class Loupe {
  constructor() {
    this.node = element("div", { className: "loupe", hidden: true }, element("span"));
    this.node.setAttribute("aria-hidden", "true");
  }

  // `point` is in fractions of the picture, `left` says whether the finger is in the left half of what is seen.
  show(point, url, width, height, left) {
    const [wide, high] = [width * LOUPE_TIMES, height * LOUPE_TIMES];
    this.node.hidden = false;
    this.node.classList.toggle("right", left);
    Object.assign(this.node.style, {
      backgroundImage: `url("${url}")`,
      backgroundSize: `${wide}px ${high}px`,
      backgroundPosition: `${LOUPE_PX / 2 - point.x * wide}px ${LOUPE_PX / 2 - point.y * high}px`,
    });
  }

  hide() {
    this.node.hidden = true;
  }
}
