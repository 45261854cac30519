// The parts of the screens that need no page. What is asked comes from internal/screen/question.go; dates
// are those of the calendar.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { sentWords } from './bar.js';
import { handDoubt, nextDoubt, partner } from './doubts.js';
import { batches, describe, valueWords } from './entrywords.js';
import { tenths } from './timer.js';
import { birthDay } from './walkon.js';

/** @typedef {import('./types.d.ts').Measure} Measure */

const rotation = /** @type {Measure} */ ({
  id: 'shoulder_internal_rotation', name: 'Shoulder internal rotation', unit: '°', paired: true, limb: 'arm', scale: 'linear', trials: 2, most: 10,
  step: 1, agree_within: 5, plausible: [0, 130], typical: [20, 100], swap_margin: 16, placing: 3, timed: false,
});
const elbow = /** @type {Measure} */ ({
  ...rotation, id: 'elbow_extension', name: 'Elbow extension', plausible: [-60, 30], typical: [-15, 20],
  say: { positive: 'beyond straight', negative: 'short of straight', zero: 'straight' },
});

test('exchanged digits are asked about before trials that lie apart because of them', () => {
  const values = { right: [85, 58], left: [57, 56] };
  const first = nextDoubt(rotation, values, new Set());
  assert.equal(first?.kind, 'digits_swapped');
  assert.deepEqual([first?.side, first?.trial, first?.meant], ['right', 0, 58]);
  const second = nextDoubt(rotation, values, new Set([first?.key ?? '']));
  assert.equal(second?.kind, 'trials_apart');
  assert.equal(nextDoubt(rotation, { right: [58, 58], left: [57, 56] }, new Set()), null);
});

test('an unusual value is asked about once, with its neighbours, and in words where a sign has words', () => {
  const first = nextDoubt(elbow, { right: [-20, -21] }, new Set());
  assert.equal(first?.text, 'Elbow extension, right: 20° short of straight is possible but unusual (usually 15° short of straight to 20° beyond straight). Is it right?');
  assert.equal(nextDoubt(elbow, { right: [-20, -21] }, new Set([first?.key ?? ''])), null, 'within what trials may differ by');
  const far = nextDoubt({ ...elbow, agree_within: 0.5 }, { right: [-20, -21] }, new Set([first?.key ?? '']));
  assert.deepEqual([far?.kind, far?.trial], ['unusual', 1]);
});

test('the hand is doubted only with both shoulder rotations of both sides', () => {
  const external = { ...rotation, id: 'shoulder_external_rotation' };
  assert.equal(partner('shoulder_internal_rotation'), 'shoulder_external_rotation');
  assert.equal(partner('hip_internal_rotation'), undefined);
  const inward = { right: [65, 66], left: [40, 41] };
  assert.equal(handDoubt('right', external, { right: [90, 91], left: [112, 113] }, rotation, inward)?.kind, 'other_hand');
  assert.equal(handDoubt('left', external, { right: [90, 91], left: [112, 113] }, rotation, inward), null);
  assert.equal(handDoubt('right', external, { right: [90, 91] }, rotation, inward), null);
});

test('entries of one moment are one step back', () => {
  const entry = (/** @type {number} */ n, /** @type {string} */ taken, /** @type {object} */ more) => /** @type {import('./types.d.ts').Kept} */ (/** @type {unknown} */ ({
    n, state: 'waiting', entry: { id: `e${n}`, kind: 'reading', athlete: 'a', examiner: 'x', taken, about: rotation.id, ...more },
  }));
  const kept = [entry(1, 't1', { side: 'left', trials: [52, 54] }), entry(2, 't1', { side: 'right', trials: [61] }), entry(3, 't2', { kind: 'not_done', side: 'left', reason: 'no_time', about: elbow.id })];
  const sheet = /** @type {import('./types.d.ts').Sheet} */ (/** @type {unknown} */ ({ measures: [rotation, elbow], items: [], symptoms: [] }));
  assert.deepEqual(batches(kept).map((b) => describe(sheet, b)), ['Elbow extension, left not done: no time', 'Shoulder internal rotation, left 52, 54, right 61']);
  assert.equal(valueWords(elbow, 0), 'straight');
  assert.equal(valueWords({ ...rotation, cap: 10 }, 10), '10° or more');
});

test('what is not sent yet, in words', () => {
  const status = (/** @type {number} */ waiting, /** @type {boolean | null} */ online) => sentWords(/** @type {import('./types.d.ts').Status} */ (/** @type {unknown} */ ({ waiting, online })));
  assert.deepEqual([status(0, true), status(3, null), status(12, false), status(0, false)], ['All sent', '3 not yet sent', 'No network: 12 kept on this device', 'No network: all sent so far']);
});

test('seconds to the tenth, and days that there are', () => {
  assert.deepEqual([tenths(12_340), tenths(12_360), tenths(49)], ['12.3', '12.4', '0.0']);
  assert.equal(birthDay('14', '3', '2011'), '2011-03-14');
  assert.equal(birthDay('29', '2', '2012'), '2012-02-29');
  for (const [d, m, y] of [['29', '2', '2011'], ['31', '4', '2011'], ['', '3', '2011'], ['14', '13', '2011'], ['14', '3', '11'], ['14', '3', '3011']]) assert.equal(birthDay(d ?? '', m ?? '', y ?? ''), '');
});
