/** Small helpers to make elements. Text always goes in as text. */

const SVG = "http://www.w3.org/2000/svg";

/** An HTML element with attributes and children; strings become text. */
export function el(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null));
  return made;
}

/** An SVG element with attributes. */
export function svg(name, attributes = {}) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}
