// A measure that is judged by eye: one tap a side.
import { button, h } from './dom.js';
import { describe, sideWord } from './entrywords.js';
import { athleteHead, extras, firstWords, measureTitle, notDone, sidesToTake } from './head.js';
import { questionBar } from './record.js';
import { labels, stopped } from './sheet.js';

/** @typedef {import('./types.d.ts').Side} Side */
/** @typedef {import('./screens.d.ts').App} App */

/** @param {App} app @param {import('./types.d.ts').Athlete} a @param {import('./types.d.ts').Measure} m @param {import('./screens.d.ts').Turn} turn @returns {import('./screens.d.ts').View} */
export function makeRatings(app, a, m, turn) {
  const sides = sidesToTake(app, a, m, turn);
  /** @type {Map<Side, number>} */
  const chosen = new Map();
  let busy = false;
  const news = questionBar(app, a, m.id);
  const head = athleteHead(app, a, turn);

  /** @param {import('./types.d.ts').Entry['reason']} [reason] */
  async function save(reason) {
    const more = extras(app, a, turn);
    const entries = sides.flatMap((side) => {
      const value = chosen.get(side);
      if (value !== undefined) return [app.entry('reading', a.id, { about: m.id, side, trials: [value], ...more })];
      return reason ? [app.entry('not_done', a.id, { about: m.id, side, reason, ...(turn.round === 2 ? { round: 2 } : {}) })] : [];
    });
    if (busy || entries.length === 0) return;
    busy = true;
    const kept = await app.keep(entries, describe(app.sheet, entries));
    busy = false;
    if (kept && el.isConnected) app.next(turn);
  }

  /** @param {Side} side */
  function column(side) {
    const label = side === 'none' ? null : labels(m, a)[side];
    const name = [label?.side, label?.role].filter(Boolean).join(', ') || m.name;
    const keys = (m.categories ?? []).map((text, value) => button(text, () => choose(value), { class: 'button choice', 'aria-pressed': 'false', 'aria-label': `${name}: ${text}` }));
    /** @param {number} value */
    function choose(value) {
      if (busy) return;
      chosen.set(side, value);
      keys.forEach((k, i) => k.setAttribute('aria-pressed', String(i === value)));
      if (sides.every((s) => chosen.has(s))) void save();
    }
    return h('div', { class: `side ${side}`, role: 'group', 'aria-label': name },
      label && h('p', { class: 'sidehead' }, h('b', null, sideWord(side).toUpperCase()), label.role && h('span', null, label.role)),
      sides.includes(side) ? keys : h('p', { class: 'fine' }, 'Entered, or not done.'));
  }

  const cells = app.sheet.cells.filter((c) => c.step === turn.step);
  const title = measureTitle(m);
  const el = h('section', { class: 'athlete' }, head, news.el, title, firstWords(app, turn, sides),
    h('div', { class: m.paired ? 'sides' : 'sides one' }, cells.map((c) => column(c.side))),
    notDone(app, a, turn, (reason) => void save(reason)),
    h('p', null, button('All of this athlete: undo, skip', () => app.record(a.id), { class: 'button quiet' })));
  return {
    el, focus: () => /** @type {HTMLElement | null} */ (title.querySelector('h2'))?.focus(),
    update: () => { if (stopped(app.athlete(a.id))) app.open(turn); else news.update(); },
  };
}
