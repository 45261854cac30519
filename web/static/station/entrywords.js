// Entries, sides and hands in words.
import { listed, upper } from './dom.js';
import { say } from './rules.js';

/** @typedef {import('./types.d.ts').Sheet} Sheet */
/** @typedef {import('./types.d.ts').Entry} Entry */
/** @typedef {import('./types.d.ts').Measure} Measure */
/** @typedef {import('./types.d.ts').Athlete} Athlete */
/** @typedef {import('./types.d.ts').Side} Side */

/** @type {Record<string, string>} */
export const reasons = { pain: 'Pain', refused: 'Refused', absent: 'Absent', no_time: 'No time' };
/** @type {Record<string, string>} */
export const answers = { met: 'Met', not_met: 'Not met', not_seen: 'Not seen' };
/** @type {Record<string, string>} */
const hands = { left: 'LEFT', right: 'right', both: 'with both hands' };

/** @param {Athlete} a */
export function numbered(a) {
  return a.number > 0 ? `${a.number} ${a.name}` : `${a.name} (new)`;
}

/** The throwing hand; a left one stands out. @param {Athlete} a */
export function throws(a) {
  return `throws ${hands[a.hand] ?? a.hand}`;
}

/** @param {Sheet} sheet @param {string | undefined} id */
export function measureOf(sheet, id) {
  return sheet.measures.find((m) => m.id === id);
}

/** @param {Measure} m @param {number} value */
export function valueWords(m, value) {
  return m.scale === 'category' || m.say || (m.cap && value >= m.cap) ? say(m, value) : String(value);
}

/** "left 52, 54" @param {Measure} m @param {Entry} e */
function readingWords(m, e) {
  const values = (e.trials ?? []).map((t) => valueWords(m, t)).join(', ');
  return e.side && e.side !== 'none' ? `${e.side} ${values}` : values;
}

/** Entries that were made together, in words. @param {Sheet} sheet @param {Entry[]} entries */
export function describe(sheet, entries) {
  const parts = [];
  let last = '';
  for (const e of entries) {
    const [about, text] = wordsOf(sheet, e);
    parts.push(about && about === last ? text : [about, text].filter(Boolean).join(', '));
    last = about;
  }
  return parts.join(', ');
}

/** What an entry is about and what it says. @param {Sheet} sheet @param {Entry} e @returns {[string, string]} */
function wordsOf(sheet, e) {
  const m = measureOf(sheet, e.about);
  const item = sheet.items.find((i) => i.id === e.about);
  const side = e.side && e.side !== 'none' ? `${e.side} ` : '';
  switch (e.kind) {
    case 'reading': return [m?.name ?? e.about ?? '', m ? readingWords(m, e) : side + (e.trials ?? []).join(', ')];
    case 'not_done': return [m?.name ?? item?.name ?? (e.about === 'check_in' ? 'Check-in' : e.about ?? ''), `${side}not done: ${(reasons[e.reason ?? ''] ?? '').toLowerCase()}`];
    case 'answer': return [item?.name ?? e.about ?? '', (answers[e.answer ?? ''] ?? '').toLowerCase()];
    case 'symptom': return ['', `${sheet.symptoms.find((s) => s.id === e.about)?.name ?? e.about}${side && `, ${side.trim()}`}`];
    case 'check_in': return ['', `checked in, throws ${e.hand === 'both' ? 'with both hands' : e.hand}, ${e.threw_in_48h ? 'threw' : 'did not throw'} in the last 48 hours`];
    case 'walk_on': return ['', `added: ${e.person?.name ?? ''}`];
    case 'undo': return ['', 'taken back'];
  }
}

/** Entries of one moment, which were kept together, the newest first. @param {import('./types.d.ts').Kept[]} kept */
export function batches(kept) {
  /** @type {Entry[][]} */
  const out = [];
  for (const { entry } of kept) {
    const last = out[out.length - 1];
    if (last?.[0] && last[0].taken === entry.taken && last[0].athlete === entry.athlete && last[0].kind !== 'answer') last.push(entry);
    else out.push([entry]);
  }
  return out.reverse();
}

/** Why an athlete is on hold, as it is said at every station. @param {Athlete} a */
export function holdWords(a) {
  return `Stop: ${listed(a.hold ?? []) || 'a sign that needs a clinician'}. Nothing more is measured today.`;
}

/** What is said of an athlete without a consent for screening. */
export const noConsentWords = 'No consent: do not measure.';

/** @param {string} side */
export function sideWord(side) {
  return side === 'none' ? '' : upper(side);
}
