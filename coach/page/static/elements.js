// Helpers that update the page's elements to a new screen and leave unchanged ones alone.
"use strict";

const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";

function put(id, text) {
  const element = $(id);
  if (element.textContent !== text) element.textContent = text;
  element.classList.toggle("empty", !text);
}

function show(id, yes) {
  $(id).hidden = !yes;
}

function set(element, name, value) {
  if (element.getAttribute(name) !== value) element.setAttribute(name, value);
}

function sign(name) {
  const svg = document.createElementNS(SVG, "svg");
  const use = document.createElementNS(SVG, "use");
  svg.setAttribute("class", "sign");
  svg.setAttribute("aria-hidden", "true");
  use.setAttribute("href", `#sign-${name}`);
  svg.append(use);
  return svg;
}

function made(tag, attributes = {}, text = "") {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.textContent = text;
  return element;
}

/** Make the children of `parent` fit `items` in order; those whose id stays are kept, with focus and typed text. */
function reconcile(parent, items, idOf, make, update) {
  const old = new Map([...parent.children].filter((child) => "item" in child.dataset)
    .map((child) => [child.dataset.item, child]));
  const kept = new Set();
  const ids = new Set(items.map((item) => String(idOf(item))));
  for (const [id, child] of old) if (!ids.has(id)) child.remove(); // removed first, so that no remaining element moves
  let after = parent.querySelector(":scope > :not([data-item])");
  for (const item of items) {
    const id = String(idOf(item));
    const child = old.get(id) || make(item);
    old.delete(id); // a second element of the same id is created new
    kept.add(child);
    child.dataset.item = id;
    update(child, item);
    const place = after ? after.nextElementSibling : parent.firstElementChild;
    if (place !== child) parent.insertBefore(child, place);
    after = child;
  }
  for (const child of [...parent.children]) if ("item" in child.dataset && !kept.has(child)) child.remove();
}

function gauge(id, part) {
  const bar = $(id);
  const known = part !== null;
  bar.classList.toggle("unknown", !known);
  const percent = known ? Math.round(Math.min(1, Math.max(0, part)) * 100) : 0;
  if (known) set(bar, "aria-valuenow", String(percent));
  else bar.removeAttribute("aria-valuenow");
  bar.firstElementChild.style.width = known ? `${percent}%` : "";
}

let format = null;       // the language's format of seconds

function seconds(number) {
  if (!format || format.lang !== screen.lang) {
    const style = { style: "unit", unit: "second", unitDisplay: "narrow" };
    format = { lang: screen.lang, of: new Intl.NumberFormat(screen.lang, style) };
  }
  return format.of.format(number);
}

/** How much room a text takes: letters of the wide scripts count double. */
function breadth(text) {
  let sum = 0;
  for (const letter of text) sum += letter.codePointAt(0) >= 0x1100 ? 2 : 1;
  return sum;
}
