// A field for one trial: what is typed, what it means, and what is wrong with it, said beside it.
import { h, say as setText, upper } from './dom.js';
import { say, typed } from './rules.js';

/** @typedef {import('./types.d.ts').Measure} Measure */
/** @typedef {import('./types.d.ts').Side} Side */

const whichWay = 'Which way: ';
let serial = 0;

export class Field {
  /**
   * @param {Measure} m @param {Side} side @param {number} trial from 1 @param {string} label read aloud
   * @param {boolean} single whether there is one trial only
   */
  constructor(m, side, trial, label, single) {
    this.m = m;
    this.side = side;
    this.trial = trial;
    /** The value with the protocol's sign; null while there is none that can be taken. @type {number | null} */
    this.value = null;
    /** Where a word says on which side of zero a value lies: 1, -1, or 0 while it was not said. */
    this.sign = 0;
    /** Digits are there, the word is not. */
    this.lacksWord = false;
    this.enteredAt = 0;
    const id = `f${++serial}`;
    this.input = h('input', { id, type: 'text', inputmode: 'none', autocomplete: 'off', enterkeyhint: 'next', maxlength: '7', 'aria-label': label, 'aria-describedby': `${id}v ${id}p` });
    this.words = h('span', { class: 'valuewords', id: `${id}v` });
    this.fault = h('p', { class: 'fault', id: `${id}p`, role: 'alert', hidden: true });
    this.el = h('div', { class: 'trial' }, h('label', { for: id }, single ? 'Value' : `Trial ${trial}`), this.input, this.words, this.fault);
  }

  get empty() { return this.input.value === ''; }

  /** Something was typed. @returns {boolean} the value is complete and can be taken */
  typed() {
    const text = this.input.value.replaceAll(',', '.').replaceAll(/[^\d.]/g, '');
    if (text !== this.input.value) this.input.value = text;
    this.sign = 0;
    this.value = null;
    if (text === '') {
      this.show('', '');
      return false;
    }
    if (this.m.say) {
      const [up, down] = [typed(this.m, text), typed(this.m, `-${text}`)];
      this.show('', up.final && down.final ? faultText(this.m, up) : '');
      return false;
    }
    const t = typed(this.m, text);
    this.value = t.ok ? t.value : null;
    const capped = t.ok && t.value !== null && this.m.cap && t.value >= this.m.cap;
    this.show(capped ? say(this.m, this.m.cap ?? 0) : '', t.final ? faultText(this.m, t) : '');
    return t.complete;
  }

  /** A word completes the value. @param {number} sign @returns {boolean} */
  word(sign) {
    if (sign === 0) this.input.value = '0';
    else if (this.empty) {
      this.show('', 'First the digits, then the word.');
      return false;
    }
    const number = Number(this.input.value);
    const t = typed(this.m, String(sign < 0 && number > 0 ? -number : number));
    this.sign = sign || 1;
    this.value = t.ok ? t.value : null;
    this.show(this.value === null ? '' : say(this.m, this.value), t.ok ? '' : faultText(this.m, t));
    return t.ok;
  }

  /** Somebody says that the value is complete. @returns {boolean} whether it can be taken */
  commit() {
    this.lacksWord = false;
    if (this.value !== null) return true;
    if (this.m.say && !this.empty) {
      if (Number(this.input.value) === 0) return this.word(0);
      this.lacksWord = Boolean(this.fault.hidden) || (this.fault.textContent ?? '').startsWith(whichWay);
      if (this.lacksWord) this.show('', `${whichWay}${signKeys(this.m).filter((w) => w.sign).map((w) => w.text).join(' or ')}?`);
      return false;
    }
    if (this.empty) this.show('', 'Type a number, or choose why it is not done.');
    else if (this.fault.hidden) this.show('', faultText(this.m, typed(this.m, this.input.value)) || 'This is not a number that can be taken.');
    return false;
  }

  /** @param {string} words @param {string} problem */
  show(words, problem) {
    setText(this.words, words);
    setText(this.fault, problem);
    this.fault.hidden = problem === '';
    if (problem && !this.empty) this.input.setAttribute('aria-invalid', 'true');
    else this.input.removeAttribute('aria-invalid');
  }

  /** @param {string} text @param {number} sign */
  set(text, sign) {
    this.input.value = text;
    this.typed();
    if (sign && text) this.word(Number(text) === 0 ? 0 : sign);
  }

  focus() {
    this.enteredAt = performance.now();
    this.input.focus({ preventScroll: true });
    this.input.select();
    this.el.scrollIntoView({ block: 'nearest' });
  }
}

/** What is wrong; the measure is named above it already. @param {Measure} m @param {import('./rules.js').Typed} t */
function faultText(m, { problem, want, value }) {
  return value === null && problem && want ? `${problem} Type ${want}.` : upper(problem.replace(`${m.name} is `, ''));
}

/** The keys that say on which side of zero a value lies. @param {Measure} m */
export function signKeys(m) {
  const w = m.say;
  if (!w) return [];
  return [
    { key: 'negative', text: w.negative, sign: -1 },
    { key: 'zero', text: w.zero, sign: 0 },
    { key: 'positive', text: w.positive, sign: 1 },
  ];
}
