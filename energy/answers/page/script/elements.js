"use strict";

// Elements of the document, made and kept up to date in place. Words of the plan are text, never
// markup.

/** @typedef {string | Node | null | false} Child */

/**
 * An element with attributes and children; `on` holds what to do on its events, null and false
 * leave an attribute out.
 * @param {string} tag
 * @param {{[name: string]: any}} [attributes]
 * @param {...Child} children
 * @returns {HTMLElement}
 */
function make(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

/**
 * The same in a drawing, in the namespace of the one that the page comes with.
 * @param {string} tag
 * @param {{[name: string]: any}} [attributes]
 * @param {...Child} children
 * @returns {SVGElement}
 */
function draw(tag, attributes = {}, ...children) {
  const namespace = document.querySelector("svg")?.namespaceURI || null;
  const element = /** @type {SVGElement} */ (document.createElementNS(namespace, tag));
  return filled(element, attributes, children);
}

/**
 * @template {Element} E
 * @param {E} element
 * @param {{[name: string]: any}} attributes
 * @param {Child[]} children
 * @returns {E}
 */
function filled(element, { on = {}, ...attributes }, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== null && value !== false) element.setAttribute(name, value === true ? "" : value);
  }
  for (const [event, react] of Object.entries(on)) element.addEventListener(event, react);
  element.append(.../** @type {(string | Node)[]} */ (children.filter(Boolean)));
  return element;
}

/**
 * @param {string} text
 * @param {() => void} press
 * @param {{[name: string]: any}} [attributes]
 */
function pressable(text, press, attributes = {}) {
  return make("button", { type: "button", ...attributes, on: { click: press } }, text);
}

/**
 * A form that stays on the page, with the button that ends it behind its controls.
 * @param {{[name: string]: any}} attributes
 * @param {() => void} submit
 * @param {...Child} children
 */
function formOf(attributes, submit, ...children) {
  /** @param {Event} event */
  const react = (event) => {
    event.preventDefault();
    submit();
  };
  return make("form", { novalidate: true, ...attributes, on: { submit: react } }, ...children);
}

/** @param {string} text */
function mainButton(text) {
  return make("button", { type: "submit", class: "main" }, text);
}

/**
 * @param {string} name  of its class
 * @param {...Child} children
 */
function box(name, ...children) {
  return make("div", { class: name }, ...children);
}

/**
 * What opens under a line.
 * @param {Child} head
 * @param {...Child} children
 */
function opening(head, ...children) {
  return make("details", {}, make("summary", {}, head), ...children);
}

/**
 * A table that may be wider than the screen.
 * @param {string[]} heads  those of the columns; empty where there is none
 * @param {HTMLElement} rows
 */
function tableOf(heads, rows) {
  const cells = heads.map((text) => (text ? make("th", { scope: "col" }, text) : make("td")));
  return box("wide", make("table", {}, make("thead", {}, make("tr", {}, ...cells)), rows));
}

/**
 * A row of a table: what it is about, and its values.
 * @param {Child[]} head
 * @param {string[]} values
 */
function tableRow(head, values) {
  const cells = values.map((text) => make("td", {}, text));
  return make("tr", {}, make("th", { scope: "row" }, ...head), ...cells);
}

/**
 * A control under its label.
 * @param {string} text
 * @param {HTMLElement} control
 * @param {Child} [unit]  behind it
 */
function labelled(text, control, unit = null) {
  control.id = control.id || `control-${(controls += 1)}`;
  const behind = unit && make("span", { class: "unit" }, unit);
  return make(
    "div",
    { class: "field" },
    make("label", { for: control.id }, text),
    make("span", { class: "input" }, control, behind),
  );
}

let controls = 0; // so many have an id

/**
 * A field for a number as people type it.
 * @param {{[name: string]: any}} [attributes]
 */
function numberField(attributes = {}) {
  const usual = { type: "text", inputmode: "decimal", autocomplete: "off", size: 4 };
  return /** @type {HTMLInputElement} */ (make("input", { ...usual, ...attributes }));
}

/**
 * A choice among [value, text].
 * @param {[string, string][]} options
 * @param {{[name: string]: any}} [attributes]
 */
function chooser(options, attributes = {}) {
  const items = options.map(([value, text]) => make("option", { value }, text));
  return /** @type {HTMLSelectElement} */ (make("select", attributes, ...items));
}

/**
 * Say something else, where it is something else: what has not changed is not announced again.
 * @param {Element} element
 * @param {string} text
 */
function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/**
 * @param {Element} element
 * @param {boolean} isShown
 */
function show(element, isShown) {
  element.toggleAttribute("hidden", !isShown);
}

/**
 * Bring a list's items into the order of their keys: what stands in its place stays, so that
 * nothing loses the focus; what has no key any more goes.
 * @param {HTMLElement} list
 * @param {string[]} keys
 * @param {(key: string) => HTMLElement} made
 * @returns {HTMLElement[]}  an item for each key
 */
function keepItems(list, keys, made) {
  /** @type {Map<string, HTMLElement>} */
  const before = new Map();
  for (const item of /** @type {Iterable<HTMLElement>} */ (list.children)) {
    before.set(item.dataset.key || "", item);
  }
  const items = keys.map((key) => {
    const item = before.get(key) || made(key);
    item.dataset.key = key;
    return item;
  });
  for (const item of [...list.children])
    if (!items.includes(/** @type {any} */ (item))) item.remove();
  items.forEach((item, k) => {
    if (list.children[k] !== item) list.insertBefore(item, list.children[k] || null);
  });
  return items;
}
