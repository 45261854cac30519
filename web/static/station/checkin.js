// Check-in: the throwing hand, throwing in the last 48 hours, and symptoms; one question a screen.
import { button, fill, h, heading, say } from './dom.js';
import { numbered } from './entrywords.js';
import { athleteHead, stepNotDone } from './head.js';

/** @typedef {import('./types.d.ts').Athlete['hand']} Hand */
/** @typedef {import('./types.d.ts').Side} Side */
/** @typedef {import('./screens.d.ts').App} App */
/** @typedef {{ id: string, on: boolean, side: Side, chosen?: Side, note: string }} Tick chosen: somebody said so */

/** @type {Record<Hand, string>} */
const withHand = { left: 'with the LEFT hand', right: 'with the right hand', both: 'with both hands' };
/** @type {Record<Hand, string>} */
const other = { left: 'No: left', right: 'No: right', both: 'No: both' };

/** @param {App} app @param {import('./types.d.ts').Athlete} a @param {import('./screens.d.ts').Turn} turn @returns {import('./screens.d.ts').View} */
export function makeCheckIn(app, a, turn) {
  const { symptoms } = app.sheet;
  let hand = a.hand;
  let threw = false;
  let busy = false;
  /** @type {Tick[]} */
  const ticks = symptoms.map((s) => ({ id: s.id, on: false, side: 'none', note: '' }));
  const body = h('div', { class: 'narrow' });
  const el = h('section', { class: 'athlete' }, athleteHead(app, a, turn), body);
  /** @type {() => void} */
  let before = () => app.list();

  /** @param {string} question @param {() => void} back @param {...import('./dom.js').Child | import('./dom.js').Child[]} content */
  function screen(question, back, ...content) {
    before = back;
    const title = heading('h2', question);
    fill(body, title, ...content);
    window.scrollTo(0, 0);
    title.focus();
  }

  function askHand() {
    const pick = (/** @type {Hand} */ to) => () => { hand = to; askThrew(); };
    const others = /** @type {Hand[]} */ (['left', 'right', 'both']).filter((x) => x !== a.hand);
    screen(`Throws ${withHand[a.hand]}. Right?`, () => app.list(), h('p', null, 'Ask the athlete. All sides of today follow from it.'),
      h('div', { class: 'stack' }, button('Yes', pick(a.hand), { class: 'button huge go' }), others.map((x) => button(other[x], pick(x), { class: 'button large' }))),
      stepNotDone(app, a, turn, 'check-in', 'pain'));
  }

  function askThrew() {
    const pick = (/** @type {boolean} */ to) => () => { threw = to; askSymptoms(); };
    screen('Threw in the last 48 hours?', askHand,
      h('div', { class: 'stack' }, button('No', pick(false), { class: 'button huge' }), button('Yes', pick(true), { class: 'button huge' }), earlier()));
  }

  function askSymptoms() {
    const save = button('', () => void finish(), { class: 'button go large' });
    const none = button('None of these', () => { for (const t of ticks) t.on = false; void finish(); }, { class: 'button huge go' });
    const show = () => {
      const n = ticks.filter((t) => t.on).length;
      say(save, `Save ${n === 1 ? '1 sign' : `${n} signs`}`);
      save.hidden = n === 0;
      none.hidden = n > 0;
    };
    const list = ticks.map((t) => row(t, show));
    screen('Any of these now or lately?', askThrew, h('p', null, 'Read them aloud, or let the athlete read.'), none,
      h('div', { class: 'symptoms' }, list), h('div', { class: 'savebar' }, save), earlier());
    show();
  }

  /** @param {Tick} t @param {() => void} changed */
  function row(t, changed) {
    const s = symptoms.find((x) => x.id === t.id);
    const more = h('div', { class: 'more', hidden: !t.on });
    const box = h('input', { type: 'checkbox', checked: t.on, onchange: () => { t.on = box.checked; more.hidden = !t.on; changed(); } });
    const sides = /** @type {[Side, string][]} */ ([['left', 'Left'], ['right', 'Right'], ['none', 'Both']]).map(([side, text]) => {
      const key = button(text, () => { t.side = side; t.chosen = side; for (const k of sides) k.setAttribute('aria-pressed', String(k === key)); }, { class: 'button choice', 'aria-pressed': String(t.chosen === side), 'aria-label': `Side of it: ${text}` });
      return key;
    });
    const note = h('input', { type: 'text', maxlength: '200', autocomplete: 'off', value: t.note, 'aria-label': `Note to ${s?.name ?? ''}`, placeholder: 'Note, if needed', oninput: () => { t.note = note.value; } });
    more.append(h('div', { class: 'three' }, sides), note);
    return h('div', { class: 'symptom' }, h('label', null, box, h('span', null, s?.name, s?.referral && [': ', h('b', null, 'see a clinician')])), more);
  }

  function earlier() {
    return button('One question back', () => before(), { class: 'button quiet' });
  }

  async function finish() {
    if (busy) return;
    busy = true;
    const on = ticks.filter((t) => t.on);
    const entries = on.map((t) => app.entry('symptom', a.id, { about: t.id, side: t.side, ...(t.note.trim() ? { note: t.note.trim() } : {}) }));
    entries.push(app.entry('check_in', a.id, { hand, threw_in_48h: threw }));
    const names = on.map((t) => symptoms.find((s) => s.id === t.id)?.name ?? t.id);
    const words = `${numbered(a)} checked in, throws ${hand === 'both' ? 'with both hands' : hand}, ${threw ? 'threw' : 'did not throw'} in the last 48 hours, ${names.length ? names.join(', ') : 'no signs'}`;
    const kept = await app.keep(entries, words);
    busy = false;
    if (!kept || !el.isConnected) return;
    const signs = on.filter((t) => symptoms.find((s) => s.id === t.id)?.referral);
    if (signs.length > 0) stop(entries.map((e) => e.id), names);
    else app.next(turn);
  }

  /** @param {string[]} ids @param {string[]} names */
  function stop(ids, names) {
    const title = heading('h1', 'Stop');
    before = () => app.list();
    fill(el, h('div', { class: 'stop', role: 'alert' }, title,
      h('p', { class: 'big' }, `${numbered(a)} does not go on today: no throwing until a licensed clinician has seen the arm. Tell the person who runs the day now.`),
      h('p', null, `Entered: ${names.join(', ')}.`),
      h('div', { class: 'stack' }, button('Back to the list', () => app.list(), { class: 'button large' }),
        button('This was entered by mistake: undo', () => void app.undo(ids), { class: 'button large' }))));
    window.scrollTo(0, 0);
    title.focus();
  }

  askHand();
  return { el, focus: () => /** @type {HTMLElement | null} */ (body.querySelector('h2'))?.focus(), escape: () => { before(); return true; } };
}
