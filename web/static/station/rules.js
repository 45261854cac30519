// Checks of values while they are typed. They say what the server would say (internal/screen/question.go);
// internal/screen/testdata/questions.json holds both to the same answers. The server decides.

/** @typedef {import('./types.d.ts').Measure} Measure */
/** @typedef {import('./types.d.ts').Side} Side */
/**
 * What a text that is being typed says. complete: the value is good and no further digit would give another
 * good one. final: nothing that is typed after it makes it good, so its problem can be shown at once; the
 * problem of a text that is not final is shown when the field is left. An empty text has no problem.
 * @typedef {{value: number | null, ok: boolean, complete: boolean, final: boolean, problem: string, want: string}} Typed
 */
/** @typedef {{kind: 'unusual' | 'trials_apart' | 'digits_swapped', text: string}} Doubt */
/** @typedef {{measure: Measure, left: number[], right: number[]}} Sides all trials of a measure, by side */
/** @typedef {{minus: boolean, whole: string, point: boolean, decimals: string}} Parts */

const number = /^\s*([-\u2212\u2013]?)\s*(\d{0,9})(?:([.,])(\d{0,9}))?\s*$/;

/** @param {string} text @returns {Parts | null} also of a beginning of a number: nothing, a sign, a point */
function partsOf(text) {
  const found = number.exec(text);
  if (!found) return null;
  return { minus: found[1] !== '', whole: found[2] ?? '', point: found[3] !== undefined, decimals: found[4] ?? '' };
}

/**
 * The number that a text says: digits, a decimal point or comma, a minus before it.
 * @param {string} text
 * @returns {number | null} null if it says none
 */
export function parse(text) {
  const parts = partsOf(text);
  if (!parts || parts.whole + parts.decimals === '') return null;
  const size = Number(`${parts.whole || '0'}.${parts.decimals || '0'}`);
  return parts.minus && size !== 0 ? -size : size;
}

/** The least and the greatest value that is taken. @param {Measure} m @returns {[number, number]} */
function bounds(m) {
  if (m.scale === 'category') return [0, (m.categories?.length ?? 1) - 1];
  return [m.plausible?.[0] ?? -Infinity, m.plausible?.[1] ?? Infinity];
}

/** Whether only whole values are taken. @param {Measure} m */
const wholeOnly = (m) => m.scale === 'category' || m.scale === 'count';

/** Decimals that a value of the measure is read to; one for a measure without a step. @param {Measure} m */
function decimalsOf(m) {
  if (wholeOnly(m)) return 0;
  if (!m.step) return 1;
  return (String(m.step).split('.')[1] ?? '').length;
}

/**
 * Looks at what was typed for a measure. A value between two steps is taken as it is.
 * @param {Measure} measure
 * @param {string} text
 * @returns {Typed}
 */
export function typed(measure, text) {
  const parts = partsOf(text);
  if (!parts) return { value: null, ok: false, complete: false, final: true, problem: 'That is not a number.', want: 'digits, and a point or a comma before decimals' };
  const value = parse(text);
  const more = canGrow(measure, parts);
  const found = value === null ? null : fault(measure, value);
  const ok = value !== null && found === null;
  return {
    value, ok, complete: ok && !more, final: !ok && !more,
    problem: found?.problem ?? (value === null && !more ? outside(measure) : ''), want: found?.want ?? '',
  };
}

/** @param {Measure} m @param {number} value @returns {{problem: string, want: string} | null} */
function fault(m, value) {
  const [least, most] = bounds(m);
  if (value < least || value > most) return { problem: outside(m), want: `${plainly(m, least)} to ${plainly(m, most)}` };
  if (wholeOnly(m) && !Number.isInteger(value)) return { problem: `${m.name} is a whole number.`, want: 'a whole number' };
  return null;
}

/** @param {Measure} m */
function outside(m) {
  const [least, most] = bounds(m);
  if (m.scale === 'category') return `${m.name} is ${(m.categories ?? []).map((c, i) => `${i} (${c})`).join(', ')}.`;
  return `${m.name} is between ${plainly(m, least)} and ${plainly(m, most)}.`;
}

/** A value as a bound: signed values in words, a count as it is. @param {Measure} m @param {number} value */
const plainly = (m, value) => (m.say ? say(m, value) : m.scale === 'category' ? shown(value) : amount(value, m.unit));

/**
 * Whether a digit or a point after what was typed can lead to another good value. All is counted in units of
 * the last decimal: 12 with one decimal is 120, and may become 12.1 to 12.9 or 120.0 to 129.9 and so on.
 * @param {Measure} m
 * @param {Parts} parts
 */
function canGrow(m, parts) {
  const decimals = decimalsOf(m);
  const unit = 10 ** decimals;
  const [least, most] = bounds(m);
  const low = Math.ceil((parts.minus ? -most : least) * unit - 1e-6);
  const high = Math.floor((parts.minus ? -least : most) * unit + 1e-6);
  if (high < 0 || (parts.minus && least >= 0)) return false;
  const grid = Math.max(1, Math.round((m.step || 1 / unit) * unit));
  const size = Number(parts.whole || '0') * unit;
  if (parts.point) return decimalsGrow(parts.decimals, decimals, size, low, high, grid);
  if (decimals > 0 && parts.whole !== '' && decimalsGrow('', decimals, size, low, high, grid)) return true;
  if (parts.whole === '') return true;
  if (/^0+$/.test(parts.whole)) return false;
  for (let from = size * 10, width = 10 * unit; from <= high; from *= 10, width *= 10) {
    if (hits(Math.max(from, low), Math.min(from + width - 1, high), unit === 1 ? 1 : grid)) return true;
  }
  return false;
}

/**
 * @param {string} written decimals already there
 * @param {number} decimals that can be there
 * @param {number} size of the whole number
 * @param {number} low
 * @param {number} high
 * @param {number} grid
 */
function decimalsGrow(written, decimals, size, low, high, grid) {
  const left = decimals - written.length;
  if (left <= 0) return false;
  const from = size + Number(written || '0') * 10 ** left;
  return hits(Math.max(from + 1, low), Math.min(from + 10 ** left - 1, high), grid);
}

/** Whether a multiple of grid lies between. @param {number} from @param {number} to @param {number} grid */
const hits = (from, to, grid) => Math.ceil(from / grid) * grid <= to;

/** A value as it is called out. @param {Measure} m @param {number} x */
const called = (m, x) => (m.say ? say(m, x) : amount(x, m.unit));

/** The same without its unit, where there are no words for it. @param {Measure} m @param {number} x */
const bare = (m, x) => (m.say ? say(m, x) : shown(x));

/**
 * Asks about a value that can be and seldom is.
 * @param {Measure} m
 * @param {Side} side
 * @param {number[]} trials
 * @returns {string} the question; empty if there is none
 */
export function unusual(m, side, trials) {
  const [least, most] = m.typical ?? [];
  if (least === undefined || most === undefined || m.scale === 'category') return '';
  const odd = trials.find((t) => t < least || t > most);
  if (odd === undefined) return '';
  return `${m.name}, ${side}: ${called(m, odd)} is possible but unusual (usually ${bare(m, least)} to ${bare(m, most)}). Is it right?`;
}

/**
 * Asks for another trial where they are too far apart.
 * @param {Measure} m
 * @param {Side} side
 * @param {number[]} trials
 * @returns {string} the question; empty if there is none
 */
export function apart(m, side, trials) {
  if (m.scale === 'category') return '';
  const width = Math.max(...trials) - Math.min(...trials);
  if (!m.agree_within || !(width > m.agree_within)) return '';
  return `${m.name}, ${side}: the trials are ${amount(Number(width.toPrecision(3)), m.unit)} apart (up to ${m.agree_within} is usual). Measure again.`;
}

/**
 * The first trial whose two last whole digits, exchanged, would lie much nearer to the other trials and
 * the other side than the value as written does.
 * @param {Measure} m
 * @param {Side} side
 * @param {number[]} trials
 * @param {number[]} other all trials of the other side, as far as known
 * @returns {{trial: number, meant: number} | null} null if there is none
 */
export function exchange(m, side, trials, other) {
  if (m.scale === 'category' || m.scale === 'count') return null; // of a count no error in the unit is known
  const [least, most] = bounds(m);
  for (const [trial, t] of trials.entries()) {
    const meant = swapDigits(t);
    if (meant === null || meant < least || meant > most) continue;
    const known = side !== 'none' && other.length > 0 ? [mean(other)] : [];
    if (trials.length > 1) known.push(mean(trials.filter((_, j) => j !== trial)));
    if (looksSwapped(t, meant, known, m.swap_margin)) return { trial, meant };
  }
  return null;
}

/**
 * Asks about such a trial.
 * @param {Measure} m
 * @param {Side} side
 * @param {number[]} trials
 * @param {number[]} other all trials of the other side, as far as known
 * @returns {string} the question; empty if there is none
 */
export function swapped(m, side, trials, other) {
  const found = exchange(m, side, trials, other);
  if (!found) return '';
  return `${m.name}, ${side}: ${called(m, trials[found.trial] ?? 0)}. Was ${bare(m, found.meant)} meant? The digits look exchanged.`;
}

/** @param {number} t @param {number} s @param {number[]} known @param {number} margin */
function looksSwapped(t, s, known, margin) {
  return known.length > 0 && known.every((r) => Math.abs(t - r) >= Math.max(margin, 3 * Math.abs(s - r)) && Math.abs(s - r) <= margin);
}

/** @param {number} t @returns {number | null} null if nothing changes */
function swapDigits(t) {
  const size = Math.abs(t);
  const whole = Math.trunc(size);
  if (whole < 10 || whole >= 1000) return null;
  const other = Math.trunc(whole / 100) * 100 + (whole % 10) * 10 + (Math.trunc(whole / 10) % 10);
  return other === whole ? null : Math.sign(t) * (other + size - whole);
}

/**
 * Everything to ask about a reading.
 * @param {Measure} measure
 * @param {Side} side
 * @param {number[]} trials
 * @param {number[]} [other] all trials of the other side, as far as known
 * @returns {Doubt[]}
 */
export function doubts(measure, side, trials, other = []) {
  /** @type {Doubt[]} */
  const all = [
    { kind: 'unusual', text: unusual(measure, side, trials) },
    { kind: 'trials_apart', text: apart(measure, side, trials) },
    { kind: 'digits_swapped', text: swapped(measure, side, trials, other) },
  ];
  return all.filter((d) => d.text !== '');
}

/**
 * Asks whether the throwing hand is right: throwers usually turn less inward and more outward on the
 * throwing side, and here it is the other way round by more than the error.
 * @param {'left' | 'right' | 'both'} hand
 * @param {Sides | undefined} internal shoulder internal rotation
 * @param {Sides | undefined} external shoulder external rotation
 * @returns {string} the question; empty if there is none
 */
export function otherHand(hand, internal, external) {
  if (hand === 'both') return '';
  const inward = sidesApart(hand, internal);
  const outward = sidesApart(hand, external);
  if (!(inward > 0) || !(outward < 0)) return '';
  return `The ${hand} (throwing) shoulder turns ${wholeDegrees(inward)}° more inward and ${wholeDegrees(-outward)}° less outward than the other. Throwers are usually the other way round: is the throwing hand right, were the sides exchanged?`;
}

/** Throwing side less the other; 0 if it is not known or not beyond the error. @param {'left' | 'right'} hand @param {Sides | undefined} sides */
function sidesApart(hand, sides) {
  if (!sides || sides.left.length === 0 || sides.right.length === 0) return 0;
  const width = mean(sides[hand]) - mean(sides[hand === 'left' ? 'right' : 'left']);
  return Math.abs(width) > 2 * sides.measure.placing ? width : 0;
}

/** Rounded to whole degrees, a half to the even one, as the server does. @param {number} x */
function wholeDegrees(x) {
  const down = Math.floor(x);
  if (x - down !== 0.5) return Math.round(x);
  return down % 2 === 0 ? down : down + 1;
}

/** @param {number[]} xs */
function mean(xs) {
  let sum = 0;
  for (const x of xs) sum += x;
  return sum / xs.length;
}

/** @param {number} x */
const shown = (x) => String(x);

/** A number with its unit as a reader writes it: 41°, 6 cm, 3. @param {number} x @param {string} unit */
const amount = (x, unit) => (unit === '' || unit === '°' ? `${shown(x)}${unit}` : `${shown(x)} ${unit}`);

/**
 * A value in words, as it is called out.
 * @param {Measure} measure
 * @param {number} value
 * @returns {string}
 */
export function say(measure, value) {
  const x = Math.round(value * 100) / 100 || 0;
  const { say: words, unit } = measure;
  if (measure.scale === 'category') return measure.categories?.[x] ?? shown(x);
  if (measure.cap && x >= measure.cap) return `${amount(measure.cap, unit)} or more`;
  if (!words) return amount(x, unit);
  if (x === 0) return words.zero;
  return `${amount(Math.abs(x), unit)} ${x > 0 ? words.positive : words.negative}`;
}
