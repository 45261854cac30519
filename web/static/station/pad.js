// Large keys for one thumb. They type into the field that has the focus and never take it away, so that
// the phone's own keyboard stays down and a field stays in sight.
import { button, h } from './dom.js';

/**
 * @param {(key: string) => void} press is given a digit, ".", "delete" or "next"
 * @param {{ decimal: boolean, words?: { key: string, text: string }[] }} options words complete a value: which side of zero it is on
 */
export function makePad(press, { decimal, words = [] }) {
  /** @param {string} name @param {string} text @param {Record<string, unknown>} [attributes] */
  const key = (name, text, attributes) => button(text, () => press(name), { class: 'button padkey', 'data-key': name, onpointerdown: keepFocus, ...attributes });
  /** @param {string[]} digits */
  const row = (...digits) => digits.map((d) => key(d, d));
  return h('div', { class: 'pad', role: 'group', 'aria-label': 'Keys' },
    words.length > 0 && h('div', { class: 'padwords' }, words.map((w) => key(w.key, w.text, { class: 'button padkey word' }))),
    h('div', { class: 'keys' },
      row('1', '2', '3'), key('delete', 'Delete', { class: 'button padkey act' }),
      row('4', '5', '6'), key('next', 'Next', { class: 'button padkey act go' }),
      row('7', '8', '9'),
      decimal ? key('.', '.', { 'aria-label': 'Decimal point' }) : h('span', null), key('0', '0'), h('span', null)));
}

/** @param {Event} event */
function keepFocus(event) {
  event.preventDefault();
}

/**
 * Types a key into a field as its own keyboard would: over what is selected, or at the end.
 * @param {HTMLInputElement} input
 * @param {string} key a digit, "." or "delete"
 */
export function typeInto(input, key) {
  const all = input.value !== '' && input.selectionStart === 0 && input.selectionEnd === input.value.length;
  if (key === 'delete') input.value = all ? '' : input.value.slice(0, -1);
  else input.value = all ? key : input.value + key;
  input.setSelectionRange(input.value.length, input.value.length);
  input.dispatchEvent(new Event('input', { bubbles: true }));
}
