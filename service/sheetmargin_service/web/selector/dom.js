// Nodes without markup: nothing is parsed from text, so no answer can bring markup in and no Trusted Types policy is
// needed. Neither is a style attribute ever set: a strict Content-Security-Policy would drop it.

const SVG = "http://www.w3.org/2000/svg";

/** An HTML element; attributes that are functions become listeners, null and false are left out. */
export function h(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

/** An SVG element, likewise. */
export function s(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") node.addEventListener(name, value);
    else if (value !== null && value !== undefined && value !== false) node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

let made = 0;

/** A new id, unique in the page. */
export function newId(stem) {
  made += 1;
  return `${stem}-${made}`;
}
