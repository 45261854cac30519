// An invented squad of sixty and what is measured of it, the same every time: nothing in it is a real
// person's. Values are drawn around the middle of what is usual, so that hardly anything is asked about.

/** A small generator of numbers that seem random (the 32-bit mix of Mulberry). @param {number} seed */
export function dice(seed) {
  let s = seed >>> 0;
  return () => {
    s = (s + 0x6d2b79f5) >>> 0;
    let t = Math.imul(s ^ (s >>> 15), 1 | s);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

/** @typedef {{ id: string, name: string, born: string, sex: 'male' | 'female', hand: 'left' | 'right', number: number }} Athlete */
/** @typedef {{ about: string, side: 'left' | 'right', trials: number[] }} Reading */

const firsts = ['Ada', 'Bo', 'Cleo', 'Dov', 'Ezra', 'Fay', 'Gil', 'Hana', 'Ida', 'Jon', 'Kit', 'Lea'];
const lasts = ['Ashcombe', 'Brookwater', 'Cinderfield', 'Dunmarsh', 'Elderwick'];

/** @returns {Athlete[]} in the order of their names, which is the order of the day's list */
export function squad() {
  const roll = dice(7);
  const all = firsts.flatMap((f) => lasts.map((l) => `${f} ${l}`)).sort((a, b) => (a < b ? -1 : 1));
  return all.map((name, i) => ({
    id: `athlete-${String(i + 1).padStart(2, '0')}`, name, number: i + 1, born: `${2006 + Math.floor(roll() * 7)}-0${1 + Math.floor(roll() * 9)}-15`,
    sex: roll() < 0.6 ? 'male' : 'female', hand: roll() < 0.2 ? 'left' : 'right',
  }));
}

/** What a station measures: middle and spread of one side, how much sides differ, step, trials, and whether words say the sign. */
export const measures = {
  shoulder_internal_rotation: { middle: 55, spread: 6, differ: 6, step: 1, trials: 2 },
  shoulder_external_rotation: { middle: 108, spread: 7, differ: 5, step: 1, trials: 2 },
  hip_internal_rotation: { middle: 37, spread: 5, differ: 5, step: 1, trials: 2 },
  hip_external_rotation: { middle: 42, spread: 5, differ: 5, step: 1, trials: 2 },
  trunk_rotation: { middle: 50, spread: 6, differ: 4, step: 1, trials: 2 },
  elbow_extension: { middle: 2, spread: 4, differ: 2, step: 1, trials: 2, words: true },
  elbow_flexion: { middle: 145, spread: 4, differ: 3, step: 1, trials: 2 },
  reach_anterior: { middle: 65, spread: 6, differ: 3, step: 0.5, trials: 3 },
  grip_strength: { middle: 30, spread: 6, differ: 2, step: 0.5, trials: 3 },
};
/** @typedef {keyof typeof measures} MeasureID */

export const stations = [
  { code: 'CHECKIN1', name: 'Check-in', steps: [{ kind: 'check_in' }] },
  { code: 'SHOULDER', name: 'Shoulder', steps: ['shoulder_internal_rotation', 'shoulder_external_rotation'] },
  { code: 'HIPTRUNK', name: 'Hip and trunk', steps: ['hip_internal_rotation', 'hip_external_rotation', 'trunk_rotation'] },
  { code: 'ELBOWREA', name: 'Elbow and reach', steps: ['elbow_extension', 'elbow_flexion', 'reach_anterior'] },
  { code: 'GRIPMOVE', name: 'Grip and mechanics', steps: ['grip_strength', { kind: 'checklist' }] },
].map((s) => ({ ...s, steps: s.steps.map((x) => (typeof x === 'string' ? { kind: 'measure', measure: x } : x)) }));

/** Who says which sign at check-in. */
export const signs = /** @type {Record<number, { id: string, name: RegExp, side: 'Left' | 'Right' }>} */ ({
  17: { id: 'numbness_or_tingling', name: /^Numbness or tingling/, side: 'Right' },
  44: { id: 'muscle_soreness', name: /^Ordinary muscle soreness/, side: 'Left' },
});

/**
 * What is read of an athlete in a round.
 * @param {Athlete} a @param {string} about @param {number} round
 * @returns {Reading[]} left first
 */
export function readings(a, about, round) {
  const m = measures[/** @type {MeasureID} */ (about)];
  const truth = dice(a.number * 1000 + Object.keys(measures).indexOf(about));
  const bell = (/** @type {() => number} */ roll) => roll() + roll() + roll() - 1.5;
  const middle = m.middle + 1.2 * m.spread * bell(truth);
  const differ = 2 * m.differ * bell(truth);
  const error = dice(a.number * 1000 + Object.keys(measures).indexOf(about) + 500 * round);
  const snap = (/** @type {number} */ x) => Math.round(x / m.step) * m.step;
  return /** @type {const} */ (['left', 'right']).map((side, k) => {
    const placed = middle + (k === 0 ? differ : -differ) / 2 + 2 * m.step * bell(error);
    return { about, side, trials: Array.from({ length: m.trials }, () => snap(placed + m.step * bell(error))) };
  });
}

/** What is seen of an athlete's throw: met, not met, not seen. @param {Athlete} a @param {number} item */
export function seen(a, item) {
  const roll = dice(a.number * 77 + item)();
  return roll < 0.7 ? 'met' : roll < 0.92 ? 'not_met' : 'not_seen';
}
