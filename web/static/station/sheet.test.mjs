// Expectations follow from the meaning of a sheet's fields (types.d.ts): done has a letter for each cell,
// and an entry with a seq up to the sheet's is in it already.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { labels, missing, overlay, search } from './sheet.js';

/** @typedef {import('./types.d.ts').Sheet} Sheet */
/** @typedef {import('./types.d.ts').Athlete} Athlete */
/** @typedef {import('./types.d.ts').Entry} Entry */
/** @typedef {import('./types.d.ts').Kept} Kept */

/** @param {Partial<Athlete>} a @returns {Athlete} */
const athlete = (a) => ({
  id: 'a1', number: 1, code: '1-QRT', name: 'Ana Ruiz', hand: 'right', arm: ['non-throwing', 'throwing'], leg: ['lead', 'trail'], first: 'right', twice: false, done: '......', ...a,
});

/** @param {Partial<Sheet>} [more] @returns {Sheet} */
const sheet = (more) => ({
  day: { id: 'd1', team: 'Team', on: '2026-02-10', side_order: 'throwing_first', closed: false, demo: false },
  station: { code: 'SHOULDER', name: 'Shoulder', steps: [] },
  cells: [
    { step: 0, about: 'check_in', side: 'none' }, { step: 1, about: 'ir', side: 'left' }, { step: 1, about: 'ir', side: 'right' },
    { step: 2, about: 'er', side: 'left' }, { step: 2, about: 'er', side: 'right' }, { step: 3, about: 'item1', side: 'none' },
  ],
  measures: [], items: [{ id: 'item1', phase: 'p', name: 'n' }],
  symptoms: [{ id: 'night_pain', name: 'Pain at night', referral: true }, { id: 'sore', name: 'Soreness', referral: false }],
  athletes: [athlete({}), athlete({ id: 'a2', number: 2, code: '2-KLM', name: 'Zoë Müller', twice: true, second: '......' })],
  helpers: [], sport: 'baseball', seq: 10, now: '2026-02-10T10:00:00Z', protocol: 'p 1', ...more,
});

let n = 0;
/** @param {Partial<Entry>} entry @param {Partial<Kept>} [more] @returns {Kept} */
const kept = (entry, more) => ({
  n: ++n, state: 'waiting', entry: { id: `e${n}`, kind: 'reading', athlete: 'a1', examiner: 'KL', taken: '2026-02-10T10:00:00Z', ...entry }, ...more,
});
const sent = (/** @type {number} */ seq) => ({ state: /** @type {const} */ ('sent'), seq });

/** @param {Kept[]} list @param {Sheet} [s] */
const first = (list, s = sheet()) => {
  const a = overlay(s, list)[0];
  assert.ok(a);
  return a;
};

test('an entry of each kind fills its cell', () => {
  assert.equal(first([kept({ about: 'ir', side: 'left' })]).done, '.x....');
  assert.equal(first([kept({ kind: 'not_done', about: 'er', side: 'right', reason: 'pain' })]).done, '....n.');
  assert.equal(first([kept({ kind: 'answer', about: 'item1', answer: 'not_seen' })]).done, '.....x');
  assert.equal(first([kept({ kind: 'check_in' })]).done, 'x.....');
  assert.equal(first([kept({ kind: 'symptom', about: 'sore', side: 'left' })]).done, '......');
});

test('only what the sheet does not have counts, and nothing refused', () => {
  const e = { about: 'ir', side: /** @type {const} */ ('left') };
  assert.equal(first([kept(e, sent(11))]).done, '.x....', 'sent, and not in the sheet yet');
  assert.equal(first([kept(e, sent(10))]).done, '......', 'the sheet knows of it and says missing: withdrawn on another page, say');
  assert.equal(first([kept(e, { state: 'refused' })]).done, '......');
  assert.equal(first([kept({ about: 'of another station', side: 'left' })]).done, '......');
  assert.equal(first([kept({ ...e, athlete: 'nobody' })]).done, '......');
});

test('a reading outweighs a note that it was not done, whichever came first', () => {
  const cell = { about: 'ir', side: /** @type {const} */ ('left') };
  assert.equal(first([kept({ kind: 'not_done', ...cell }), kept(cell)]).done, '.x....');
  assert.equal(first([kept(cell), kept({ kind: 'not_done', ...cell })]).done, '.x....');
});

test('the second measurement has marks of its own', () => {
  const second = (/** @type {Kept[]} */ list) => overlay(sheet(), list)[1];
  const e = { athlete: 'a2', about: 'ir', side: /** @type {const} */ ('left') };
  const both = second([kept(e), kept({ ...e, round: 2 })]);
  assert.deepEqual([both?.done, both?.second], ['.x....', '.x....']);
  const none = second([kept({ ...e, kind: 'not_done', reason: 'pain' })]);
  assert.deepEqual([none?.done, none?.second], ['.n....', '.n....'], 'what was not done is not asked for again');
  assert.equal(first([kept({ about: 'ir', side: 'left', round: 2 })]).second, undefined, 'an athlete who is measured once');
});

test('an undo takes back its target, wherever that is', () => {
  const cell = { about: 'ir', side: /** @type {const} */ ('left') };
  const waiting = kept(cell);
  assert.equal(first([waiting, kept({ kind: 'undo', undoes: waiting.entry.id })]).done, '......', 'both waiting');
  const shown = sheet({ athletes: [athlete({ done: '.x....' })] });
  const old = kept(cell, sent(9));
  assert.equal(first([old, kept({ kind: 'undo', undoes: old.entry.id })], shown).done, '......', 'the target is in the sheet');
  assert.equal(first([old, kept({ kind: 'undo', undoes: old.entry.id }, sent(10))], shown).done, '.x....', 'the sheet has the undo as well and says taken');
  assert.equal(first([old, kept(cell), kept({ kind: 'undo', undoes: old.entry.id })], shown).done, '.x....', 'another reading of the cell stands');
  assert.equal(first([old, kept({ kind: 'undo', undoes: old.entry.id }), kept(cell)], shown).done, '.x....', 'entered anew');
  assert.equal(first([old, kept({ kind: 'not_done', ...cell }), kept({ kind: 'undo', undoes: old.entry.id })], shown).done, '.n....');
  assert.equal(first([old, kept({ kind: 'undo', undoes: old.entry.id }, { state: 'refused' })], shown).done, '.x....', 'a refused undo undoes nothing');
});

test('a referral sign holds the athlete at once', () => {
  const pain = kept({ kind: 'symptom', about: 'night_pain' });
  assert.deepEqual(first([pain]).hold, ['Pain at night']);
  assert.deepEqual(first([pain, kept({ kind: 'symptom', about: 'night_pain' })]).hold, ['Pain at night']);
  assert.equal(first([kept({ kind: 'symptom', about: 'sore' })]).hold, undefined);
  const undo = kept({ kind: 'undo', undoes: pain.entry.id });
  assert.equal(first([pain, undo]).hold, undefined, 'a slip that the server has not seen');
  const held = sheet({ athletes: [athlete({ hold: ['Pain at night'] })] });
  assert.deepEqual(first([{ ...pain, ...sent(9) }, undo], held).hold, ['Pain at night'], 'only the server lifts what it holds');
  assert.deepEqual(held.athletes[0]?.hold, ['Pain at night']);
});

test('the throwing hand said at check-in turns the sides', () => {
  const a = first([kept({ kind: 'check_in', hand: 'left' })]);
  assert.deepEqual([a.hand, a.arm, a.leg, a.first], ['left', ['throwing', 'non-throwing'], ['trail', 'lead'], 'left']);
  const both = first([kept({ kind: 'check_in', hand: 'both' })]);
  assert.deepEqual([both.arm, both.leg, both.first], [['', ''], ['', ''], 'right']);
});

test('a walk-on stands at the end until the sheet has her', () => {
  const person = { name: 'Kim Ode', born: '2011-01-02', sex: /** @type {const} */ ('female'), hand: /** @type {const} */ ('left'), level: /** @type {const} */ ('youth') };
  const walk = kept({ kind: 'walk_on', athlete: 'w1', person });
  const reading = kept({ athlete: 'w1', about: 'ir', side: 'left' });
  const list = overlay(sheet(), [walk, reading]);
  const last = list.at(-1);
  assert.deepEqual([list.length, last?.id, last?.number, last?.code, last?.name, last?.done, last?.first], [3, 'w1', 0, 'new', 'Kim Ode', '.x....', 'left']);
  const known = sheet({ seq: 20, athletes: [athlete({ id: 'w1', number: 61, code: '61-ABC', name: 'Kim Ode', done: '.x....' })] });
  assert.deepEqual(overlay(known, [{ ...walk, ...sent(19) }, { ...reading, ...sent(20) }]), known.athletes);
  const onRecord = sheet({ seq: 20, athletes: [athlete({ id: 'other', known_as: ['w1'], number: 61, name: 'Kim Ode' })] });
  const found = overlay(onRecord, [{ ...walk, ...sent(19) }, reading]);
  assert.deepEqual([found.length, found[0]?.done], [1, '.x....'], 'somebody on record has the id on record');
});

test('a sheet is not changed', () => {
  const s = sheet();
  const before = structuredClone(s);
  overlay(s, [kept({ about: 'ir', side: 'left' }), kept({ kind: 'symptom', about: 'night_pain' }), kept({ kind: 'check_in', hand: 'left' })]);
  assert.deepEqual(s, before);
});

test('what is missing', () => {
  const { cells } = sheet();
  assert.deepEqual(missing(athlete({ done: 'x.nx..' }), cells), [1, 4, 5]);
  assert.deepEqual(missing(athlete({ done: 'xxxxxx' }), cells), []);
  assert.deepEqual(missing(athlete({ second: 'n.xxxn' }), cells, 2), [1]);
  assert.deepEqual(missing(athlete({}), cells, 2), []);
});

test('athletes are found by name, number and code', () => {
  const list = [
    athlete({ id: '1', number: 1, code: '1-QRT', name: 'Ana Ruiz' }), athlete({ id: '2', number: 12, code: '12-KLM', name: 'Zoë Müller' }),
    athlete({ id: '3', number: 21, code: '21-2X4', name: 'Jean-Luc O’Brien' }), athlete({ id: '4', number: 0, code: 'new', name: 'Kim Ode' }), athlete({ id: '5', number: 2, code: '2-ZZZ', name: 'Łukasz Groß' }),
  ];
  /** @type {[string, string][]} */
  const cases = [
    ['', '12345'], ['  ', '12345'], ['an', '13'], ['AN', '13'], ['zoe', '2'], ['mull', '2'], ['MÜ', '2'], ['ll', '2'], ['a', ''], ['ruiz an', '1'], ['luc', '3'], ['brien', '3'], ['lukasz', '5'], ['gross', '5'],
    ['1', '1'], ['12', '2'], ['2', '5'], ['0', ''], ['99', ''], ['12-KLM', '2'], ['12klm', '2'], [' 12-klm ', '2'], ['12 KLM', '2'], ['21-2X4', '3'], ['212x4', '3'], ['12-KLN', ''], ['od', '4'], ['new', ''], ['xx', ''],
  ];
  for (const [text, want] of cases) assert.equal(search(list, text).map((a) => a.id).join(''), want, JSON.stringify(text));
});

test('sides are named by what they are to the athlete', () => {
  const m = (/** @type {'arm' | 'leg' | 'turn'} */ limb) => /** @type {any} */ ({ limb });
  const right = athlete({});
  assert.deepEqual(labels(m('arm'), right), { left: { side: 'Left', role: 'non-throwing arm' }, right: { side: 'Right', role: 'throwing arm' } });
  assert.deepEqual(labels(m('leg'), right), { left: { side: 'Left', role: 'lead leg' }, right: { side: 'Right', role: 'trail leg' } });
  assert.deepEqual(labels(m('turn'), right), { left: { side: 'Left', role: 'to the non-throwing side' }, right: { side: 'Right', role: 'to the throwing side' } });
  assert.equal(labels(m('arm'), athlete({ arm: ['', ''] })).left.role, '');
});
