// The list: who is still missing here. It is built once; while somebody types or entries are sent only
// the rows that change are touched.
import { button, byId, fill, h, heading, say } from './dom.js';
import { holdWords, measureOf, noConsentWords, throws } from './entrywords.js';
import { notAsked } from './head.js';
import { missing, search } from './sheet.js';

/** @typedef {import('./types.d.ts').Athlete} Athlete */
/** @typedef {import('./screens.d.ts').App} App */
/** @typedef {{ el: HTMLLIElement, key: HTMLButtonElement, place: string, text: string }} Row */

/** @param {App} app @returns {import('./screens.d.ts').View} */
export function makeList(app) {
  /** @type {Map<string, Row>} */
  const rows = new Map();
  const title = heading('h1', 'Who is next?');
  const count = h('p', { class: 'count' });
  const input = h('input', { id: 'find', type: 'search', autocomplete: 'off', enterkeyhint: 'go', spellcheck: 'false' });
  const none = h('p', { class: 'fault', role: 'status', hidden: true }, 'Nobody on the list is called so.');
  const again = h('section', { class: 'again', hidden: true });
  const places = makePlaces();
  const form = h('form', { role: 'search', class: 'find', onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); go(); } },
    h('label', { for: 'find' }, 'Name, number, or code on the sheet'), input, none);
  input.addEventListener('input', filter);

  const el = h('section', { class: 'list' }, title, count, form, again, places.missing.el, places.second.el,
    h('p', null, button('Add somebody who is not on the list', () => app.walkOn())), places.hold.el, places.without.el, places.through.el, h('p', { class: 'fine' }, byId('bar').querySelector('.fine')?.textContent));

  function update() {
    const cells = app.sheet.cells;
    let through = 0;
    let held = 0;
    let without = 0;
    for (const a of app.athletes) {
      const left = missing(a, cells).length;
      const place = a.hold?.length ? 'hold' : a.consent === false ? 'without' : left > 0 ? 'missing' : a.twice && missing(a, cells, 2).length > 0 ? 'second' : 'through';
      if (place === 'hold') held++;
      if (place === 'without') without++;
      if (place === 'through' || place === 'second') through++;
      setRow(a, place, rowText(a, place, left, cells.length, notAsked(app, a)));
    }
    say(count, `${through} of ${app.athletes.length} through${held > 0 ? `, ${held} on hold` : ''}${without > 0 ? `, ${without} without consent` : ''}`);
    places.counts();
    showAgain();
    filter();
  }

  /** @param {Athlete} a @param {string} place @param {string} state */
  function setRow(a, place, state) {
    const text = [place, a.number, a.name, a.hand, state].join('|');
    let row = rows.get(a.id);
    if (row?.text === text) return;
    if (!row) {
      const key = button('', () => app.open({ athlete: a.id, round: rows.get(a.id)?.place === 'second' ? 2 : 1 }), { class: 'athleterow' });
      row = { el: h('li', null, key), key, place: '', text: '' };
      rows.set(a.id, row);
    }
    row.text = text;
    fill(row.key, h('span', { class: 'number' }, a.number > 0 ? a.number : 'new'),
      h('span', { class: 'name' }, a.name), hand(a), h('span', { class: 'howfar' }, state));
    if (row.place !== place) {
      row.place = place;
      row.el.dataset.order = String(a.number || Number.MAX_SAFE_INTEGER); // a late comer's number is not known yet
      places.put(place, row.el);
    }
  }

  function showAgain() {
    const list = app.questions();
    again.hidden = list.length === 0;
    const text = list.map((q) => q.athlete + q.text).join('|');
    if (again.dataset.text === text) return;
    again.dataset.text = text;
    fill(again, h('h2', null, 'Measure again'), h('ul', { class: 'rows' }, list.map((q) => h('li', { class: 'question' },
      h('p', null, h('b', null, `${q.number} ${q.name}: ${measureOf(app.sheet, q.measure)?.name ?? ''}`)), h('p', null, q.text),
      h('div', { class: 'buttons' }, button('Measure again', () => app.take(q), { 'aria-label': `Measure again: ${q.number} ${q.name}` }),
        button('Leave as it is', () => app.drop(q), { 'aria-label': `Leave as it is: ${q.number} ${q.name}` }))))));
  }

  function filter() {
    const text = input.value.trim();
    const found = text === '' ? null : new Set(search(app.athletes, text).map((a) => a.id));
    for (const [id, row] of rows) row.el.hidden = found !== null && !found.has(id);
    none.hidden = found === null || found.size > 0;
    places.searched(found !== null);
  }

  /** Enter opens the athlete with exactly this number or code, or the only one found. */
  function go() {
    const text = input.value.trim();
    const same = (/** @type {string} */ s) => s.replaceAll(/[\s-]/g, '').toLowerCase() === text.replaceAll(/[\s-]/g, '').toLowerCase();
    const found = search(app.athletes, text);
    const a = app.athletes.find((x) => String(x.number) === text || same(x.code)) ?? (found.length === 1 ? found[0] : undefined);
    if (text && a) app.open({ athlete: a.id, round: rows.get(a.id)?.place === 'second' ? 2 : 1 });
    else if (found.length > 1) say(none, 'Several are called so: tap the right one.');
    none.hidden = found.length === 1 || text === '';
  }

  /** A scanner types without choosing a field first. @param {KeyboardEvent} event */
  function typeAnywhere(event) {
    const other = document.activeElement instanceof HTMLInputElement;
    if (!other && event.key.length === 1 && event.key !== ' ' && !event.ctrlKey && !event.metaKey && !event.altKey) input.focus();
  }
  addEventListener('keydown', typeAnywhere);
  update();
  return {
    el, update,
    focus: () => (matchMedia('(pointer: fine)').matches ? input : title).focus(),
    leave: () => removeEventListener('keydown', typeAnywhere),
    escape: () => { input.value = ''; filter(); return true; },
  };
}

/** @param {Athlete} a */
function hand(a) {
  return h('span', { class: `hand ${a.hand}` }, throws(a));
}

/** @param {Athlete} a @param {string} place @param {number} left @param {number} of @param {boolean} unasked */
function rowText(a, place, left, of, unasked) {
  switch (place) {
    case 'hold': return holdWords(a);
    case 'without': return noConsentWords;
    case 'missing': return `${unasked ? 'not checked in yet, ' : ''}${left} of ${of} to do`;
    case 'second': return 'second time';
  }
  return 'through';
}

/** The five parts of the list, each in the order of the numbers. */
function makePlaces() {
  const part = (/** @type {string} */ title, /** @type {string} */ note, /** @type {boolean} */ fold) => {
    const ul = h('ul', { class: 'athletes' });
    const sum = h(fold ? 'summary' : 'h2', null, title);
    const el = h(fold ? 'details' : 'section', { hidden: true }, sum, note && h('p', { class: 'fine' }, note), ul);
    return { el, ul, sum, title };
  };
  const all = {
    missing: part('Still missing here', '', false),
    second: part('A second time, best by another helper', 'When all others are through.', false),
    hold: part('On hold', 'Nothing more is measured today. Tell the person who runs the day.', false),
    without: part('No consent', 'Do not measure: nothing of them is stored. The person who runs the day records a consent on paper.', false),
    through: part('Through here', 'Tap to see, to take back, or to measure again.', true),
  };
  const parts = Object.values(all);
  return {
    ...all,
    /** @param {string} place @param {HTMLLIElement} el its place among the others is in data-order */
    put(place, el) {
      const { ul } = all[/** @type {keyof typeof all} */ (place)];
      const order = (/** @type {Element | null} */ li) => Number(/** @type {HTMLElement | null} */ (li)?.dataset.order ?? -1);
      const after = order(ul.lastElementChild) <= order(el) ? null : [...ul.children].find((li) => order(li) > order(el));
      ul.insertBefore(el, after ?? null);
    },
    counts() {
      for (const p of parts) {
        const n = p.ul.children.length;
        p.el.hidden = n === 0;
        say(p.sum, `${p.title}: ${n}`);
      }
    },
    /** While somebody searches, those who are through are found too. @param {boolean} on */
    searched(on) {
      const { el } = all.through;
      if (!(el instanceof HTMLDetailsElement)) return;
      if (on && el.dataset.opened === undefined) el.dataset.opened = String(el.open);
      if (on) el.open = [...all.through.ul.children].some((li) => !(/** @type {HTMLElement} */ (li).hidden));
      else if (el.dataset.opened !== undefined) {
        el.open = el.dataset.opened === 'true';
        delete el.dataset.opened;
      }
    },
  };
}
