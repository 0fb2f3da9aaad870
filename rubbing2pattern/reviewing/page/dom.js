// Small helpers to make and find elements; text is always text, never markup.

const SVG = "http://www.w3.org/2000/svg";

/** @param {string} id @returns {any} the element; the page has it */
export const byId = (id) => document.getElementById(id);

/**
 * Make an element.
 * @param {string} tag
 * @param {Record<string, any>} [given] properties; `class` and names with a dash are attributes
 * @param {(Node | string)[]} children
 * @returns {any}
 */
export function make(tag, given = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name === "class" || name === "role" || name === "for" || name.includes("-")) element.setAttribute(name, value);
    else /** @type {any} */ (element)[name] = value;
  }
  element.append(...children);
  return element;
}

/**
 * Make an element of a drawing.
 * @param {string} tag
 * @param {Record<string, string | number>} given attributes
 * @param {string} [text]
 */
export function draw(tag, given, text = "") {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(given)) element.setAttribute(name, String(value));
  if (text) element.textContent = text;
  return element;
}

/**
 * A large button.
 * @param {string} words
 * @param {() => unknown} press
 * @param {Record<string, any>} [given]
 */
export const button = (words, press, given = {}) => make("button", { type: "button", onclick: press, ...given }, words);

/**
 * Return what asks for a drawing: however often it is called, one is made at the next frame.
 * @param {() => void} draw
 */
export function atNextFrame(draw) {
  let asked = false;
  return () => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => {
      asked = false;
      draw();
    });
  };
}
