// What everything moved with the pointer stands on: small DOM makers, the arrow keys, and one instance a place.
// Loaded in front of a component's own scripts, as one module.

const SVG = "http://www.w3.org/2000/svg";
const TOUCH_PX = 44; // the side of a touch target
const KEYBOARD_PAUSE_MS = 300;
const NUDGES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

const clamp = (value, low, high) => Math.min(Math.max(value, low), Math.max(low, high));

function element(tag, properties = {}, ...children) {
  const made = Object.assign(document.createElement(tag), properties);
  made.append(...children);
  return made;
}

function drawn(tag, attributes = {}, parent = null) {
  const made = document.createElementNS(SVG, tag);
  set(made, attributes);
  if (parent) parent.append(made);
  return made;
}

function set(node, attributes) {
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
}

// Streamlit calls this at every run: the same place keeps its instance, so nothing jumps under a finger.
function keptIn(Kind) {
  const kept = new WeakMap();
  return ({ data, parentElement, setStateValue }) => {
    if (!kept.has(parentElement)) kept.set(parentElement, new Kind(parentElement));
    const one = kept.get(parentElement);
    one.receive(data, setStateValue);
    return () => {
      one.close();
      kept.delete(parentElement);
    };
  };
}
