// Questions: the same file as the server's test, internal/screen/testdata/questions.json. What is typed:
// expectations follow from the bounds and steps that stand beside each case.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { doubts, otherHand, parse, say, typed } from './rules.js';

/** @typedef {import('./types.d.ts').Measure} Measure */
/** @typedef {{measure: string, side: 'left' | 'right', trials: number[]}} Reading */
/** @typedef {{name: string, hand: 'left' | 'right' | 'both', readings: Reading[], want: string[], texts: string[]}} Case */

/** @type {{measures: Measure[], cases: Case[]}} */
const file = JSON.parse(readFileSync(new URL('../../../internal/screen/testdata/questions.json', import.meta.url), 'utf8'));
const measures = new Map(file.measures.map((m) => [m.id, m]));

/** @param {string} id @returns {Measure} */
function measure(id) {
  const m = measures.get(id);
  assert.ok(m, `no measure ${id}`);
  return m;
}

/** @param {Case} c */
function asked(c) {
  const all = (/** @type {string} */ id, /** @type {string} */ side) => c.readings.filter((r) => r.measure === id && r.side === side).flatMap((r) => r.trials);
  const kinds = [];
  const texts = [];
  for (const r of c.readings) {
    for (const d of doubts(measure(r.measure), r.side, r.trials, all(r.measure, r.side === 'left' ? 'right' : 'left'))) {
      kinds.push(`${d.kind} ${r.measure} ${r.side}`);
      texts.push(d.text);
    }
  }
  const sides = (/** @type {string} */ id) => ({ measure: measure(id), left: all(id, 'left'), right: all(id, 'right') });
  const hand = otherHand(c.hand, sides('shoulder_internal_rotation'), sides('shoulder_external_rotation'));
  if (hand) {
    kinds.push(`other_hand shoulder_internal_rotation ${c.hand}`);
    texts.push(hand);
  }
  return { kinds, texts };
}

test('the station asks what the server asks, in the same words', () => {
  assert.ok(file.cases.length >= 60);
  for (const c of file.cases) assert.deepEqual(asked(c), { kinds: c.want, texts: c.texts }, c.name);
});

test('a number is read with a point or a comma, and with any minus', () => {
  /** @type {[string, number | null][]} */
  const cases = [['41', 41], ['41.5', 41.5], ['41,5', 41.5], [' 7 ', 7], ['-4', -4], ['\u22124', -4], ['\u20134', -4], ['0', 0], ['-0', 0], ['.5', 0.5], ['5.', 5],
    ['', null], ['-', null], ['.', null], ['4 1', null], ['1.2.3', null], ['1,234.5', null], ['41°', null], ['1e3', null], ['--4', null], ['abc', null], ['1234567890123', null]];
  for (const [text, want] of cases) assert.equal(parse(text), want, JSON.stringify(text));
});

/**
 * @param {string} id
 * @param {[string, string][]} cases text and what it is: ok, complete (ok and nothing can follow), open (not
 *   good yet), final (cannot become good)
 */
function states(id, cases) {
  for (const [text, want] of cases) {
    const t = typed(measure(id), text);
    const is = t.complete ? 'complete' : t.ok ? 'ok' : t.final ? 'final' : 'open';
    assert.equal(is, want, `${id} ${JSON.stringify(text)}`);
    assert.equal(t.problem === '', t.ok || text === '' || text === '-' || text === '.', `${id} ${JSON.stringify(text)}: ${t.problem}`);
  }
}

test('whole degrees from 0 to 120', () => states('shoulder_internal_rotation', [
  ['', 'open'], ['0', 'complete'], ['1', 'ok'], ['9', 'ok'], ['12', 'ok'], ['13', 'complete'], ['41', 'complete'], ['120', 'complete'], ['121', 'final'], ['130', 'final'],
  ['41.5', 'complete'], ['41.', 'complete'], ['999', 'final'], ['x', 'final'], ['10', 'ok'], ['99', 'complete'],
]));

test('whole degrees from 90 to 170: one digit is not enough', () => states('elbow_flexion', [
  ['1', 'open'], ['14', 'open'], ['142', 'complete'], ['9', 'open'], ['95', 'complete'], ['8', 'final'], ['2', 'final'], ['18', 'final'], ['17', 'open'], ['171', 'final'], ['90', 'complete'],
]));

test('signed degrees from -60 to 30', () => states('elbow_extension', [
  ['-', 'open'], ['-5', 'ok'], ['-6', 'ok'], ['-7', 'complete'], ['-60', 'complete'], ['-61', 'final'], ['3', 'ok'], ['4', 'complete'], ['30', 'complete'], ['31', 'final'], ['0', 'complete'],
]));

test('a minus where nothing is below zero', () => {
  states('shoulder_internal_rotation', [['-4', 'final']]);
  assert.ok(typed(measure('shoulder_internal_rotation'), '-').final);
});

test('halves from 2 to 100', () => states('grip_strength', [
  ['1', 'open'], ['2', 'ok'], ['31', 'ok'], ['31.', 'ok'], ['31.5', 'complete'], ['31.0', 'complete'], ['31,5', 'complete'], ['31.3', 'complete'], ['100', 'complete'], ['100.5', 'final'], ['10', 'ok'],
]));

test('halves of a centimetre from 0 to 30', () => states('lunge_distance', [
  ['0', 'ok'], ['0.5', 'complete'], ['3', 'ok'], ['30', 'complete'], ['12.5', 'complete'], ['31', 'final'], ['4', 'ok'],
]));

test('tenths of a second from 0 to 120', () => states('stance_time_eyes_closed', [
  ['12', 'ok'], ['12.3', 'complete'], ['119.', 'ok'], ['120', 'complete'], ['12.34', 'complete'], ['0.', 'ok'],
]));

test('a count from 0 to 10', () => states('stance_errors', [
  ['0', 'complete'], ['1', 'ok'], ['2', 'complete'], ['10', 'complete'], ['11', 'final'], ['1.5', 'final'],
]));

test('a category of three', () => states('scapula_rating', [['0', 'complete'], ['2', 'complete'], ['3', 'final'], ['1', 'complete'], ['0.5', 'final']]));

test('a refused value is answered with what would be right', () => {
  assert.equal(typed(measure('shoulder_internal_rotation'), '130').problem, 'Shoulder internal rotation is between 0° and 120°.');
  assert.equal(typed(measure('elbow_extension'), '45').problem, 'Elbow extension is between 60° short of straight and 30° beyond straight.');
  assert.equal(typed(measure('grip_strength'), '1').problem, 'Grip strength is between 2 kg and 100 kg.');
  assert.equal(typed(measure('shoulder_horizontal_adduction'), '-31').problem, 'Shoulder horizontal adduction is between 30° short of vertical and 80° past vertical.');
  assert.equal(typed(measure('scapula_rating'), '3').problem, 'Scapular motion, rating is 0 (normal), 1 (subtle), 2 (obvious).');
  assert.equal(typed(measure('shoulder_internal_rotation'), '4a').problem, 'That is not a number.');
});

test('values are said as they are called out', () => {
  /** @type {[string, number, string][]} */
  const cases = [
    ['elbow_extension', 2, '2° beyond straight'], ['elbow_extension', -4, '4° short of straight'], ['elbow_extension', 0, 'straight'], ['elbow_extension', -0.001, 'straight'],
    ['shoulder_internal_rotation', 41, '41°'], ['shoulder_internal_rotation', 124 / 3, '41.33°'], ['lunge_distance', 12.5, '12.5 cm'], ['shoulder_horizontal_adduction', -5, '5° short of vertical'],
    ['stance_errors', 9, '9'], ['stance_errors', 10, '10 or more'], ['stance_errors', 0, '0'], ['stance_time_eyes_closed', 12.3, '12.3 s'], ['scapula_rating', 1, 'subtle'], ['scapula_rating', 0, 'normal'],
  ];
  for (const [id, value, want] of cases) assert.equal(say(measure(id), value), want);
});
