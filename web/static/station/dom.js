// Makes elements. What is shown goes in as text, never as markup: a name cannot become an element.

/** @typedef {Node | string | number | false | null | undefined} Child */

/**
 * An element with attributes and children. An attribute that is false or absent is left out; one whose
 * name begins with "on" is a listener.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, unknown> | null} [attributes]
 * @param {...(Child | Child[])} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function h(tag, attributes, ...children) {
  const el = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith('on')) el.addEventListener(name.slice(2), /** @type {EventListener} */ (value));
    else el.setAttribute(name, value === true ? '' : String(value));
  }
  el.append(...nodes(children));
  return el;
}

/** @param {(Child | Child[])[]} children @returns {(Node | string)[]} */
function nodes(children) {
  return children.flat().filter((c) => c !== false && c !== null && c !== undefined).map((c) => (typeof c === 'number' ? String(c) : /** @type {Node | string} */ (c)));
}

/** @param {Element} el @param {...(Child | Child[])} children */
export function fill(el, ...children) {
  el.replaceChildren(...nodes(children));
}

/** Sets a text only where it changes, so that nothing is laid out or read aloud for nothing. @param {Element} el @param {string} text */
export function say(el, text) {
  if (el.textContent !== text) el.textContent = text;
}

/**
 * A button.
 * @param {Child | Child[]} text
 * @param {(event: Event) => void} onclick
 * @param {Record<string, unknown>} [attributes]
 */
export function button(text, onclick, attributes) {
  return h('button', { type: 'button', class: 'button', ...attributes, onclick }, text);
}

/** A heading that takes the focus when its screen comes up. @param {'h1' | 'h2' | 'h3'} tag @param {...Child} children */
export function heading(tag, ...children) {
  return h(tag, { tabindex: '-1' }, ...children);
}

/** @param {string} id @returns {HTMLElement} */
export function byId(id) {
  const el = document.getElementById(id);
  if (!el) throw new Error(`the page has no #${id}`);
  return el;
}

/** @param {number} n @param {string} one @param {string} [many] */
export function plural(n, one, many) {
  return `${n} ${n === 1 ? one : many ?? `${one}s`}`;
}

/** "a", "a and b", "a, b and c". @param {string[]} parts */
export function listed(parts) {
  return parts.length < 2 ? parts.join('') : `${parts.slice(0, -1).join(', ')} and ${parts[parts.length - 1]}`;
}

/** @param {string} text */
export function upper(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
