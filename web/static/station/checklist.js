// The checklist of the throw: one tap an item, in the order of the throw. Another tap changes the answer.
import { button, h, say, upper } from './dom.js';
import { answers, numbered } from './entrywords.js';
import { athleteHead, stepNotDone } from './head.js';
import { missing, stopped } from './sheet.js';

/** @typedef {import('./screens.d.ts').App} App */
/** @typedef {NonNullable<import('./types.d.ts').Entry['answer']>} Answer */

/** @param {App} app @param {import('./types.d.ts').Athlete} a @param {import('./screens.d.ts').Turn} turn @returns {import('./screens.d.ts').View} */
export function makeChecklist(app, a, turn) {
  const { cells, items } = app.sheet;
  const mine = cells.map((c, i) => ({ ...c, i })).filter((c) => c.step === turn.step);
  const left = h('p', { class: 'count' });
  /** @type {Map<string, HTMLElement>} */
  const rows = new Map();
  /** @type {(() => void)[]} */
  const shows = [];

  /** @param {string} id */
  const isOpen = (id) => missing(app.athlete(a.id) ?? a, cells, turn.round).some((i) => cells[i]?.about === id);

  /** @param {import('./types.d.ts').Sheet['items'][number]} item */
  function row(item) {
    const state = h('span', { class: 'fine' });
    const keys = Object.entries(answers).map(([answer, text]) => button(text, () => void give(item.id, /** @type {Answer} */ (answer)), { class: 'button choice', 'data-answer': answer, 'aria-label': `${item.name}: ${text}` }));
    const el = h('div', { class: 'item', role: 'group', 'aria-label': item.name, tabindex: '-1' }, h('p', { class: 'itemname' }, item.name, ' ', state), h('div', { class: 'three' }, keys));
    shows.push(() => {
      const answer = given(item.id);
      for (const k of keys) k.setAttribute('aria-pressed', String(k.dataset.answer === answer));
      say(state, !answer && !isOpen(item.id) ? 'answered on another device' : '');
    });
    rows.set(item.id, el);
    return el;
  }

  /** The latest answer that this device gave. @param {string} id */
  function given(id) {
    return app.standing(a.id).findLast(({ entry: e }) => e.kind === 'answer' && e.about === id && (e.round ?? 1) === turn.round)?.entry.answer;
  }

  /** @param {string} id @param {Answer} answer */
  async function give(id, answer) {
    const name = items.find((i) => i.id === id)?.name ?? '';
    const first = isOpen(id);
    const more = turn.round === 2 ? { round: 2 } : {};
    const kept = await app.keep([app.entry('answer', a.id, { about: id, answer, ...more })], `${name}: ${answers[answer]?.toLowerCase()}`);
    if (!kept || !el.isConnected) return;
    show();
    if (!first) return;
    const next = mine.find((c) => isOpen(c.about));
    if (!next) return app.next(turn);
    const to = rows.get(next.about);
    to?.scrollIntoView({ block: 'center', behavior: matchMedia('(prefers-reduced-motion: reduce)').matches ? 'auto' : 'smooth' });
    to?.focus({ preventScroll: true });
  }

  function show() {
    for (const s of shows) s();
    const open = mine.filter((c) => isOpen(c.about)).length;
    say(left, open === 0 ? `All ${mine.length} answered` : `${open} of ${mine.length} left`);
  }

  const phases = [...new Set(items.map((i) => i.phase))];
  const el = h('section', { class: 'athlete narrow' }, athleteHead(app, a, turn),
    h('p', null, 'Watch the throw, then tap one answer for each. Not seen is an answer too.'), left,
    phases.map((p) => h('section', null, h('h2', { class: 'phase' }, upper(p.replaceAll('_', ' '))), items.filter((i) => i.phase === p).map(row))),
    stepNotDone(app, a, turn, 'mechanics'),
    h('p', null, button(`Back to the list, ${numbered(a)} is not finished`, () => app.list(), { class: 'button' })));
  show();
  return {
    el, focus: () => /** @type {HTMLElement | null} */ (el.querySelector('h1'))?.focus(),
    update: () => { if (stopped(app.athlete(a.id))) app.open(turn); else show(); },
  };
}
