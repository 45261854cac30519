// What every screen of an athlete begins with, and what goes with it.
import { button, fill, h, heading, upper } from './dom.js';
import { numbered, reasons, throws } from './entrywords.js';
import { missing } from './sheet.js';

/** @typedef {import('./types.d.ts').Athlete} Athlete */
/** @typedef {import('./types.d.ts').Entry} Entry */
/** @typedef {import('./types.d.ts').Measure} Measure */
/** @typedef {import('./types.d.ts').Side} Side */
/** @typedef {import('./screens.d.ts').App} App */
/** @typedef {import('./screens.d.ts').Turn} Turn */

/** Who it is: number, name, throwing hand, and the way back. @param {App} app @param {Athlete} a @param {Turn} [turn] */
export function athleteHead(app, a, turn) {
  const round = turn?.round === 2 && h('p', { class: 'round' }, h('b', null, 'Second time'), ', best by another helper. Do not look at the first values.');
  return h('header', { class: 'athletehead' },
    h('div', { class: 'whoname' }, button(['‹ ', 'List'], () => app.list(), { class: 'button back', 'aria-label': 'Back to the list' }),
      heading('h1', h('span', null, numbered(a)), ' ', h('span', { class: `hand ${a.hand}` }, throws(a)))),
    notAsked(app, a) && h('p', { class: 'round' }, h('b', null, 'Not checked in yet'), ': ask about pain first, or send to the check-in.'), round);
}

/** Whether symptoms were not asked about yet, although the day asks. @param {App} app @param {Athlete} a */
export function notAsked(app, a) {
  return a.asked === false && !app.sheet.station.steps.some((s) => s.kind === 'check_in');
}

/** How a measure is taken, folded away. @param {Measure} m */
function how(m) {
  const lines = [m.position && upperPart('Position', m.position), m.instrument && upperPart('Instrument', m.instrument), m.how].filter(Boolean);
  return lines.length > 0 && h('details', { class: 'how' }, h('summary', null, 'How'), lines.map((l) => h('p', null, /** @type {string} */ (l))));
}

/** @param {string} name @param {string} text */
function upperPart(name, text) {
  return `${name}: ${text}.`;
}

/** The name of the measure and how it is taken. @param {Measure} m */
export function measureTitle(m) {
  return h('div', { class: 'measuretitle' }, h('h2', { class: 'measure', tabindex: '-1' }, m.name), how(m));
}

/** A unit as it is read. @param {Measure} m */
export function unitWords(m) {
  return { '°': 'degrees', s: 'seconds' }[m.unit] ?? m.unit;
}

/** The sides that a screen takes: those missing, or all when it is measured again. @param {App} app @param {Athlete} a @param {Measure} m @param {Turn} turn @returns {Side[]} */
export function sidesToTake(app, a, m, turn) {
  const { cells } = app.sheet;
  const mine = cells.filter((c) => c.step === turn.step);
  const open = new Set(missing(a, cells, turn.round).map((i) => cells[i]));
  const left = mine.filter((c) => open.has(c));
  const sides = (turn.again || left.length === 0 ? mine : left).map((c) => c.side).filter((s) => !turn.side || s === turn.side);
  return sides.sort((x, y) => Number(y === a.first) - Number(x === a.first));
}

/** Entries say that a value was measured on purpose once more only where there is one. @param {App} app @param {Athlete} a @param {Turn} turn */
export function extras(app, a, turn) {
  const letters = turn.round === 2 ? a.second ?? '' : a.done;
  const taken = app.sheet.cells.some((c, i) => c.step === turn.step && letters[i] === 'x');
  return { ...(turn.round === 2 ? { round: 2 } : {}), ...(turn.again && taken ? { again: true } : {}) };
}

/** "2 of 6. First the left side, in degrees." @param {App} app @param {Turn} turn @param {Side[]} sides @param {string} [unit] */
export function firstWords(app, turn, sides, unit = '') {
  const steps = app.sheet.station.steps.length;
  const first = sides.length > 1 ? `First the ${sides[0]} side` : sides[0] && sides[0] !== 'none' ? `Only the ${sides[0]} side is missing` : '';
  const words = upper([first, unit && `in ${unit}`].filter(Boolean).join(', '));
  return h('p', { class: 'order' }, steps > 1 && h('span', { class: 'fine' }, `${(turn.step ?? 0) + 1} of ${steps}. `), words && `${words}.`);
}

/**
 * A row with the reasons why something is not done. Absent may hold for all that is left.
 * @param {App} app @param {Athlete} a @param {Turn} turn
 * @param {(reason: NonNullable<Entry['reason']>) => void} give for the present measure
 * @param {string} [but] a reason that is not offered
 */
export function notDone(app, a, turn, give, but) {
  const el = h('div', { class: 'notdone', role: 'group', 'aria-label': 'Not done' });
  function row() {
    fill(el, h('span', { class: 'label' }, 'Not done:'), Object.entries(reasons).filter(([id]) => id !== but).map(([id, text]) => button(text, () => {
      const rest = restOf(app, a, turn);
      if (id === 'absent' && rest.length > 0) absent(rest);
      else give(/** @type {'pain'} */ (id));
    }, { class: 'button reason', 'data-reason': id })));
  }
  /** @param {Entry[]} rest */
  function absent(rest) {
    const all = button('All that is left here', () => void app.keep(rest, `${numbered(a)} absent, all that was left here`).then((kept) => { if (kept) app.list(); }), { class: 'button go' });
    fill(el, h('span', { class: 'label' }, 'Absent for'), all, button('Only this', () => give('absent')), button('Not absent', row, { class: 'button quiet' }));
    all.focus();
  }
  row();
  return el;
}

/**
 * The same row where no side is measured: the reason holds for all of the step that is still missing.
 * @param {App} app @param {Athlete} a @param {Turn} turn @param {string} what in words @param {string} [but] a reason that is not offered
 */
export function stepNotDone(app, a, turn, what, but) {
  const { cells } = app.sheet;
  return notDone(app, a, turn, async (reason) => {
    const open = missing(app.athlete(a.id) ?? a, cells, turn.round).map((i) => cells[i]).filter((c) => c?.step === turn.step);
    const entries = open.map((c) => app.entry('not_done', a.id, { about: c?.about, side: 'none', reason }));
    if (entries.length > 0 && await app.keep(entries, `${numbered(a)}, ${what} not done: ${reasons[reason]?.toLowerCase()}`)) app.next(turn);
  }, but);
}

/** What would be marked absent: all that is still missing; empty if that is the present step only. @param {App} app @param {Athlete} a @param {Turn} turn */
function restOf(app, a, turn) {
  const { cells } = app.sheet;
  const open = missing(a, cells, turn.round).map((i) => cells[i]).filter((c) => c !== undefined);
  if (open.every((c) => c.step === turn.step)) return [];
  const more = turn.round === 2 ? { round: 2 } : {};
  return open.map((c) => app.entry('not_done', a.id, { about: c.about, side: c.side, reason: 'absent', ...more }));
}
