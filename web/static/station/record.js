// All of one athlete at this station: what was entered here, what is missing, and the way to take back or
// measure again. Also why an athlete is not measured, and what the server asks.
import { button, fill, h, heading, listed } from './dom.js';
import { batches, describe, holdWords, measureOf, noConsentWords, numbered } from './entrywords.js';
import { athleteHead } from './head.js';
import { missing } from './sheet.js';

/** @typedef {import('./types.d.ts').Athlete} Athlete */
/** @typedef {import('./screens.d.ts').App} App */
/** @typedef {import('./screens.d.ts').View} View */

/** @param {App} app @param {Athlete} first @returns {View} */
export function makeRecord(app, first) {
  const body = h('div', null);
  const el = h('section', { class: 'athlete narrow' }, athleteHead(app, first), body);

  function update() {
    const a = app.athlete(first.id) ?? first;
    const { cells } = app.sheet;
    const left = missing(a, cells);
    const second = a.twice ? missing(a, cells, 2) : [];
    // Whoever measures a second time is not to see the first values.
    const secret = a.twice && left.length === 0 && second.length > 0;
    const go = left.length > 0 ? button(`Go on: ${left.length} of ${cells.length} to do`, () => app.open({ athlete: a.id, round: 1 }), { class: 'button go large' })
      : second.length > 0 && button('Measure a second time', () => app.open({ athlete: a.id, round: 2 }), { class: 'button go large' });
    fill(body, h('p', null, left.length === 0 ? 'Nothing is missing here.' : `Missing: ${listed([...new Set(left.map((i) => nameOf(app, i)))])}.`), go, entered(a, secret), steps(a));
  }
  /** @param {Athlete} a @param {boolean} secret */
  function entered(a, secret) {
    const list = batches(app.standing(a.id));
    return [h('h2', null, 'Entered on this device'),
      list.length === 0 ? h('p', null, 'Nothing. What was entered on another device is taken back there, or corrected in the record.')
        : h('ul', { class: 'rows' }, list.map((entries) => {
          const words = secret ? `${measureOf(app.sheet, entries[0]?.about)?.name ?? 'Entered'}: the values are not shown before the second time` : describe(app.sheet, entries);
          return h('li', { class: 'entered' }, h('span', null, words), button('Undo', () => void app.undo(entries.map((e) => e.id), true), { class: 'button', 'aria-label': `Undo: ${words}` }));
        }))];
  }
  /** @param {Athlete} a */
  function steps(a) {
    const { station, cells } = app.sheet;
    return [h('h2', null, 'What is taken here'), h('ul', { class: 'rows' }, station.steps.map((s, step) => {
      const mine = cells.map((c, i) => ({ c, letter: a.done[i] })).filter(({ c }) => c.step === step);
      const open = mine.filter(({ letter }) => letter !== 'x' && letter !== 'n').length;
      const state = open === mine.length ? 'missing' : open > 0 ? `${open} of ${mine.length} missing` : mine.every(({ letter }) => letter === 'n') ? 'not done' : 'entered';
      const again = s.kind === 'measure' && open < mine.length;
      const name = stepName(app, step);
      return h('li', null, button([h('b', null, name), h('span', { class: 'howfar' }, !again ? state : state === 'not done' ? 'not done: measure now' : `${state}: measure again`)],
        () => app.open({ athlete: a.id, round: 1, step, again: again && open === 0 }), { class: 'athleterow plain' }));
    }))];
  }
  update();
  return { el, update, focus: () => /** @type {HTMLElement | null} */ (el.querySelector('h1'))?.focus() };
}

/** @param {App} app @param {number} step */
function stepName(app, step) {
  const s = app.sheet.station.steps[step];
  return s?.kind === 'check_in' ? 'Check-in' : s?.kind === 'checklist' ? 'Checklist of the throw' : measureOf(app.sheet, s?.measure)?.name ?? '';
}

/** @param {App} app @param {number} cell */
function nameOf(app, cell) {
  const c = app.sheet.cells[cell];
  return c ? stepName(app, c.step) : '';
}

/** An athlete who goes no further today. @param {App} app @param {Athlete} a @returns {View} */
export function makeHold(app, a) {
  const title = heading('h1', `Stop: ${numbered(a)}`);
  const mine = app.standing(a.id).filter(({ entry }) => entry.kind === 'symptom');
  const undo = mine.length > 0 && button('This was entered by mistake: undo', () => void app.undo(mine.map((k) => k.entry.id)), { class: 'button large' });
  const el = h('section', { class: 'stop', role: 'alert' }, title,
    h('p', { class: 'big' }, holdWords(a)),
    h('p', { class: 'big' }, `${a.name} does not go on today: no throwing until a licensed clinician has seen the arm. Tell the person who runs the day now.`),
    h('div', { class: 'stack' }, button('Back to the list', () => app.list(), { class: 'button large' }), undo));
  return {
    el, focus: () => title.focus(),
    update: () => { if (!app.athlete(a.id)?.hold?.length) app.open({ athlete: a.id, round: 1 }); },
  };
}

/** An athlete without a consent for screening: nothing is measured. @param {App} app @param {Athlete} a @returns {View} */
export function makeWithout(app, a) {
  const title = heading('h1', `Do not measure: ${numbered(a)}`);
  const entered = app.standing(a.id).some(({ entry }) => entry.kind !== 'walk_on');
  const seen = entered && button('What was entered here', () => app.record(a.id), { class: 'button large' });
  const el = h('section', { class: 'stop', role: 'alert' }, title,
    h('p', { class: 'big' }, noConsentWords),
    h('p', { class: 'big' }, `There is no consent for screening on record for ${a.name}. Ask the person who runs the day: who has seen a signed consent on paper records it on the board, and ${a.name} can be measured.`),
    h('div', { class: 'stack' }, button('Back to the list', () => app.list(), { class: 'button large' }), seen));
  return {
    el, focus: () => title.focus(),
    update: () => { if (app.athlete(a.id)?.consent !== false) app.open({ athlete: a.id, round: 1 }); },
  };
}

/**
 * What the server asks about an athlete who is still here. The present measure is left out: it is being
 * measured.
 * @param {App} app @param {Athlete} a @param {string} [present]
 */
export function questionBar(app, a, present = '') {
  const el = h('div', { class: 'news', 'aria-live': 'polite' });
  function update() {
    const list = app.questions(a.id).filter((q) => q.measure !== present && !app.isPutOff(q));
    const text = list.map((q) => q.text).join('|');
    if ((el.dataset.text ?? '') === text) return false;
    el.dataset.text = text;
    fill(el, list.map((q) => h('div', { class: 'question' },
      h('p', null, h('b', null, `${q.kind === 'unsettled' ? 'Measure once more, newly placed' : 'Look at this once more'}: ${measureOf(app.sheet, q.measure)?.name ?? ''}. `), q.text),
      h('div', { class: 'buttons' }, button('Now', () => app.take(q), { class: 'button go' }), button('Not now', () => app.notNow(q))))));
    return true;
  }
  update();
  return { el, update };
}
