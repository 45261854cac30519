// What is asked about values before they are kept, one question at a time.
import { apart, exchange, otherHand, swapped, unusual } from './rules.js';

/** @typedef {import('./types.d.ts').Measure} Measure */
/** @typedef {import('./types.d.ts').Side} Side */
/** @typedef {Partial<Record<Side, number[]>>} Values trials by side */
/**
 * @typedef {object} Doubt
 * @property {'digits_swapped' | 'unusual' | 'trials_apart' | 'other_hand'} kind
 * @property {Side} side
 * @property {string} key the same question about the same values has the same key
 * @property {string} text
 * @property {number} [trial] which trial is doubted, from 0
 * @property {number} [meant] what may have been meant instead
 */

const shoulder = ['shoulder_internal_rotation', 'shoulder_external_rotation'];

/**
 * The first question about a measure that was not answered yet. Exchanged digits come first: with them
 * put right, the other questions are often gone.
 * @param {Measure} m @param {Values} values @param {Set<string>} answered keys
 * @returns {Doubt | null}
 */
export function nextDoubt(m, values, answered) {
  const sides = /** @type {Side[]} */ (Object.keys(values));
  for (const find of [exchanged, odd, far]) {
    for (const side of sides) {
      const trials = values[side] ?? [];
      const other = side === 'none' ? [] : values[side === 'left' ? 'right' : 'left'] ?? [];
      const doubt = find(m, side, trials, other).find((d) => !answered.has(d.key) && !confirmed(m, d, trials, answered));
      if (doubt) return doubt;
    }
  }
  return null;
}

/** Whether a trial near by was said to be right already: an unusual athlete is not asked about twice. @param {Measure} m @param {Doubt} d @param {number[]} trials @param {Set<string>} answered */
function confirmed(m, d, trials, answered) {
  const value = trials[d.trial ?? -1];
  return d.kind === 'unusual' && value !== undefined
    && trials.some((t) => Math.abs(t - value) <= (m.agree_within ?? 0) && answered.has(unusualKey(d.side, t)));
}

/** @param {Side} side @param {number} t */
const unusualKey = (side, t) => ['unusual', side, t].join();

/** @param {Measure} m @param {Side} side @param {number[]} trials @param {number[]} other @returns {Doubt[]} */
function exchanged(m, side, trials, other) {
  const found = exchange(m, side, trials, other);
  if (!found) return [];
  return [{ kind: 'digits_swapped', side, key: ['swapped', side, trials[found.trial]].join(), text: swapped(m, side, trials, other), ...found }];
}

/** @param {Measure} m @param {Side} side @param {number[]} trials @returns {Doubt[]} */
function odd(m, side, trials) {
  return trials.flatMap((t, trial) => {
    const text = unusual(m, side, [t]);
    return text ? [{ kind: 'unusual', side, key: unusualKey(side, t), text, trial }] : [];
  });
}

/** @param {Measure} m @param {Side} side @param {number[]} trials @returns {Doubt[]} */
function far(m, side, trials) {
  const text = apart(m, side, trials);
  return text ? [{ kind: 'trials_apart', side, key: ['apart', side, ...trials].join(), text }] : [];
}

/** Whether this measure is one of the two that tell a throwing hand, and then the other one. @param {string} id */
export function partner(id) {
  return shoulder.includes(id) ? shoulder.find((s) => s !== id) : undefined;
}

/**
 * Whether the shoulders look like those of the other hand.
 * @param {import('./types.d.ts').Athlete['hand']} hand
 * @param {Measure} m @param {Values} values @param {Measure | undefined} other @param {Values} otherValues
 * @returns {Doubt | null}
 */
export function handDoubt(hand, m, values, other, otherValues) {
  const sides = (/** @type {Measure} */ of, /** @type {Values} */ v) => (v.left?.length && v.right?.length ? { measure: of, left: v.left, right: v.right } : undefined);
  if (!other) return null;
  const [here, there] = [sides(m, values), sides(other, otherValues)];
  const text = m.id === shoulder[0] ? otherHand(hand, here, there) : otherHand(hand, there, here);
  return text ? { kind: 'other_hand', side: 'none', key: 'other_hand', text } : null;
}
