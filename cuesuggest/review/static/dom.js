// @ts-check
/** Small helpers to make elements. Text always goes in as text. */

const SVG = "http://www.w3.org/2000/svg";

/** @typedef {string | number | boolean | null | undefined} Value of an attribute; false, null and undefined leave it out */

/**
 * An HTML element with attributes and children; strings become text.
 *
 * @template {keyof HTMLElementTagNameMap} Name
 * @param {Name} name
 * @param {Record<string, Value>} [attributes]
 * @param {...(Node | string | null)} children null is left out
 */
export function el(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    made.setAttribute(key, value === true ? "" : String(value));
  }
  made.append(...children.filter((child) => child !== null));
  return made;
}

/**
 * An SVG element with attributes.
 *
 * @template {keyof SVGElementTagNameMap} Name
 * @param {Name} name
 * @param {Record<string, string | number>} [attributes]
 */
export function svg(name, attributes = {}) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
  return made;
}

/**
 * Make these the children of an element, in this order. What is there already is not touched: a press that is on its
 * way is lost with the node that it began on.
 *
 * @param {Element} inside
 * @param {Node[]} nodes
 */
export function arrange(inside, nodes) {
  const wanted = new Set(nodes);
  for (const child of [...inside.childNodes]) {
    if (!wanted.has(child)) child.remove();
  }
  let next = inside.firstChild;
  for (const node of nodes) {
    if (node === next) next = next.nextSibling;
    else inside.insertBefore(node, next);
  }
}

/**
 * Make an element's children like these; those that are so already stay.
 *
 * @param {Element} inside
 * @param {Node[]} nodes
 */
export function update(inside, nodes) {
  const there = [...inside.childNodes];
  arrange(inside, nodes.map((node, index) => (there[index]?.isEqualNode(node) ? there[index] : node)));
}

/**
 * The first element that a selector finds, which has to be there and of that kind.
 *
 * @template {Element} Kind
 * @param {string} selector
 * @param {new () => Kind} kind
 * @param {ParentNode} [inside]
 */
export function find(selector, kind, inside = document) {
  const found = inside.querySelector(selector);
  if (!(found instanceof kind)) throw new Error(`The page has no ${selector}.`);
  return found;
}

/**
 * The nearest element that a selector finds, from where an event happened outwards; or null.
 *
 * @param {Event} event
 * @param {string} selector
 */
export function around(event, selector) {
  const found = event.target instanceof Element ? event.target.closest(selector) : null;
  return found instanceof HTMLElement || found instanceof SVGElement ? found : null;
}

/**
 * Listen for an event that brings something with it.
 *
 * @template Detail
 * @param {EventTarget} source
 * @param {string} name
 * @param {(detail: Detail) => void} hear
 */
export function listen(source, name, hear) {
  source.addEventListener(name, (event) => {
    if (event instanceof CustomEvent) hear(event.detail);
  });
}
