// Somebody who is not on the list and comes all the same.
import { button, h, heading, say } from './dom.js';
import { newId } from './ids.js';

/** @typedef {NonNullable<import('./types.d.ts').Entry['person']>} Person */
/** @typedef {import('./screens.d.ts').App} App */

/** @type {Record<string, Record<string, string>>} */
const options = {
  sex: { female: 'Female', male: 'Male' },
  hand: { right: 'Right', left: 'LEFT', both: 'Both' },
  level: { youth: 'Youth', school: 'School', college: 'College', professional: 'Professional' },
};
/** @type {Record<string, string>} */
const legends = { sex: 'Sex', hand: 'Throwing hand', level: 'Level' };

/** @param {App} app @returns {import('./screens.d.ts').View} */
export function makeWalkOn(app) {
  const title = heading('h1', 'Somebody who is not on the list');
  const name = h('input', { id: 'newname', name: 'name', autocomplete: 'off', autocapitalize: 'words', maxlength: '120' });
  const [day, month, year] = [number('Day', 2), number('Month', 2), number('Year', 4)];
  const fault = h('p', { class: 'fault', role: 'alert', hidden: true });
  /** @type {Record<string, string>} */
  const chosen = {};
  let busy = false;

  /** @param {string} what */
  function choice(what) {
    return h('fieldset', null, h('legend', null, legends[what]), h('div', { class: 'three' }, Object.entries(options[what] ?? {}).map(([value, text]) =>
      h('label', { class: 'radio' }, h('input', { type: 'radio', name: what, value, onchange: () => { chosen[what] = value; } }), text))));
  }

  /** @param {Event} event */
  async function submit(event) {
    event.preventDefault();
    const born = birthDay(day.input.value, month.input.value, year.input.value);
    const missing = [!name.value.trim() && 'the name', !born && 'a birth date such as 14, 3, 2011', ...Object.keys(options).map((o) => !chosen[o] && legends[o]?.toLowerCase())].filter(Boolean);
    say(fault, missing.length > 0 ? `Still to fill in: ${missing.join(', ')}.` : '');
    fault.hidden = missing.length === 0;
    if (missing.length > 0 || busy) return;
    busy = true;
    const id = newId();
    const person = /** @type {Person} */ ({ name: name.value.trim(), born, ...chosen });
    const kept = await app.keep([app.entry('walk_on', id, { person })], `${person.name}, added to the list`);
    busy = false;
    if (kept && el.isConnected) app.open({ athlete: id, round: 1 });
  }

  const el = h('section', { class: 'narrow' }, button(['‹ ', 'List'], () => app.list(), { class: 'button back', 'aria-label': 'Back to the list' }), title,
    h('p', null, 'First look for the name in the list: it may be written otherwise.'),
    h('form', { novalidate: true, onsubmit: (/** @type {Event} */ e) => void submit(e) },
      h('p', null, h('label', { for: 'newname' }, 'Name'), name),
      h('fieldset', null, h('legend', null, 'Birth date'), h('div', { class: 'three' }, day.el, month.el, year.el)),
      Object.keys(options).map(choice), fault,
      h('p', null, h('button', { class: 'button go large' }, 'Add and go on'))));
  return { el, focus: () => title.focus() };
}

/** @param {string} label @param {number} digits */
function number(label, digits) {
  const id = `born${label}`;
  const input = h('input', { id, type: 'text', inputmode: 'numeric', autocomplete: 'off', maxlength: String(digits) });
  return { input, el: h('div', null, h('label', { for: id }, label), input) };
}

/** A date as it is stored, '' if there is no such day or nobody can be born on it. @param {string} d @param {string} m @param {string} y */
export function birthDay(d, m, y) {
  const [day, month, year] = [d, m, y].map(Number);
  if (!day || !month || !year || year < 1900) return '';
  const at = new Date(Date.UTC(year, month - 1, day));
  if (at.getUTCMonth() !== month - 1 || at.getUTCDate() !== day || at.getTime() > Date.now()) return '';
  return at.toISOString().slice(0, 10);
}
