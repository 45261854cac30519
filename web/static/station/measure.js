// One measure of one athlete: both sides beside each other, the left one always left, entered in the
// order in which they are measured.
import { button, fill, h, heading, say as setText, upper } from './dom.js';
import { handDoubt, nextDoubt, partner } from './doubts.js';
import { describe, measureOf, numbered } from './entrywords.js';
import { Field, signKeys } from './field.js';
import { athleteHead, extras, firstWords, measureTitle, notDone, sidesToTake, unitWords } from './head.js';
import { makePad, typeInto } from './pad.js';
import { questionBar } from './record.js';
import { say } from './rules.js';
import { labels, stopped } from './sheet.js';
import { makeCounter, makeWatch } from './timer.js';

/** @typedef {import('./types.d.ts').Athlete} Athlete */
/** @typedef {import('./types.d.ts').Measure} Measure */
/** @typedef {import('./types.d.ts').Side} Side */
/** @typedef {import('./screens.d.ts').App} App */
/** @typedef {import('./screens.d.ts').Turn} Turn */

/** How soon after a field was entered by itself a further Enter or Tab is still meant for the one before, in ms. */
const habit = 500;

/**
 * Tells the browser what the keys cover, so that it brings a field into the part that is seen. Keys that
 * would cover most of the screen, with large text say, stay below the fields instead.
 * @param {HTMLElement | null} bottom
 * @returns {boolean} whether the keys lie below
 */
function cover(bottom) {
  const below = bottom !== null && bottom.classList.toggle('below', bottom.offsetHeight > 0.62 * innerHeight);
  const covers = bottom && getComputedStyle(bottom).position === 'sticky' && getComputedStyle(bottom).top === 'auto';
  document.documentElement.style.setProperty('--covered', `${covers ? bottom.offsetHeight + 8 : 8}px`);
  return below;
}

/** @param {App} app @param {Athlete} a @param {Measure} m @param {Turn} turn */
export function makeMeasure(app, a, m, turn) {
  return new MeasureScreen(app, a, m, turn);
}

/** @typedef {import('./screens.d.ts').View} View */
/** @implements {View} */
class MeasureScreen {
  /** @param {App} app @param {Athlete} a @param {Measure} m @param {Turn} turn */
  constructor(app, a, m, turn) {
    this.app = app;
    this.a = a;
    this.m = m;
    this.turn = turn;
    this.sides = sidesToTake(app, a, m, turn);
    this.trials = app.sheet.station.steps[turn.step ?? 0]?.trials || m.trials;
    this.draftKey = [a.id, m.id, turn.round, turn.again ? 'again' : ''].join('|');
    /** In the order in which they are entered. @type {Field[]} */
    this.fields = [];
    /** Questions that were answered, and their kinds. @type {Set<string>} */
    this.answered = new Set();
    /** @type {Set<string>} */
    this.kinds = new Set();
    this.busy = false;
    /** @type {Map<Side, HTMLElement>} */
    this.columns = new Map();
    this.bottom = h('div', { class: 'bottom' });
    this.covers = new ResizeObserver(() => {
      const below = cover(this.bottom);
      for (const f of this.fields) f.input.inputMode = below ? 'decimal' : 'none'; // out of sight, they are no help
    });
    this.covers.observe(this.bottom);
    this.notDone = notDone(app, a, turn, (reason) => void this.finish(reason));
    this.news = questionBar(app, a, m.id);
    this.el = this.build();
    this.restore();
    this.current = this.fields.find((f) => f.value === null) ?? this.fields[0];
    this.tools = this.makeTools();
    this.showTool(this.tools.first);
  }

  build() {
    const { app, a, m, turn } = this;
    const cells = app.sheet.cells.filter((c) => c.step === turn.step);
    const columns = h('div', { class: m.paired ? 'sides' : 'sides one' }, cells.map((c) => this.column(c.side)));
    for (const side of this.sides) for (let i = 1; i <= this.trials; i++) this.addField(side);
    columns.addEventListener('keydown', (event) => this.key(event));
    return h('section', { class: 'athlete' }, athleteHead(app, a, turn), this.news.el,
      h('div', { class: 'work' },
        h('div', { class: 'sheet' }, measureTitle(m), firstWords(app, turn, this.sides, m.scale === 'count' ? '' : unitWords(m)), columns,
          this.notDone, h('p', null, button('All of this athlete: undo, skip', () => app.record(a.id), { class: 'button quiet' }))),
        this.bottom));
  }

  /** @param {Side} side */
  column(side) {
    const label = this.label(side);
    const taken = !this.sides.includes(side);
    const el = h('div', { class: `side ${side}`, role: 'group', 'aria-label': label.join(', ') || this.m.name },
      side !== 'none' && h('p', { class: 'sidehead' }, h('b', null, side.toUpperCase()), label[1] && h('span', null, label[1])),
      taken && h('p', { class: 'fine' }, 'Entered, or not done.'));
    this.columns.set(side, el);
    return el;
  }

  /** "Left" and "throwing arm". @param {Side} side @returns {string[]} */
  label(side) {
    if (side === 'none') return [];
    const l = labels(this.m, this.a)[side];
    return [l.side, l.role].filter(Boolean);
  }

  /** @param {Side} side */
  addField(side) {
    const trial = this.fields.filter((f) => f.side === side).length + 1;
    const text = [...this.label(side), this.trials > 1 || trial > 1 ? `trial ${trial}` : '', unitWords(this.m)].filter(Boolean).join(', ');
    const f = new Field(this.m, side, trial, side === 'none' ? upper([this.m.name, text].join(', ')) : text, this.trials === 1 && trial === 1);
    const after = this.fields.findLastIndex((x) => x.side === side);
    this.fields.splice(after < 0 ? this.fields.length : after + 1, 0, f);
    this.columns.get(side)?.append(f.el);
    f.input.addEventListener('focus', () => this.enter(f));
    f.input.addEventListener('input', () => this.typed(f));
    return f;
  }

  /** What is typed with: keys, a stop-watch for times, a counter for counts. */
  makeTools() {
    const { m } = this;
    const words = signKeys(m);
    const pad = makePad((key) => this.press(key), { decimal: (m.step ?? 1) < 1, words });
    const seconds = Number(/(\d+) s\b/.exec(m.name)?.[1] ?? 0);
    const take = (/** @type {string} */ text) => this.taken(text);
    const special = m.timed ? makeWatch(take) : m.scale === 'count' ? makeCounter({ what: m.name, cap: m.cap, seconds, take }) : null;
    if (!special) return { first: 'pad', pad, special };
    const typing = m.timed ? 'Type the seconds' : 'Type the number';
    this.forWhom = special.whom;
    special.el.append(button(typing, () => { this.showTool('pad'); this.current?.focus(); }, { class: 'button quiet' }));
    pad.append(button(m.timed ? 'Use the stop-watch' : 'Count by taps', () => { this.showTool('special'); this.focus(); }, { class: 'button quiet' }));
    return { first: 'special', pad, special };
  }

  /** @param {string} which */
  showTool(which) {
    this.tool = which;
    fill(this.bottom, which === 'special' && this.tools.special ? this.tools.special.el : this.tools.pad);
    if (this.current) this.enter(this.current);
  }

  focus() {
    if (this.asking) return;
    if (this.tool === 'special' && this.current) {
      this.enter(this.current);
      this.tools.special?.focus();
    } else this.current?.focus();
  }

  /** A field is the one that is entered now. @param {Field} f */
  enter(f) {
    for (const x of this.fields) x.el.classList.toggle('now', x === f);
    this.current = f;
    if (this.forWhom) setText(this.forWhom, upper([f.side === 'none' ? '' : f.side, this.trials > 1 ? `trial ${f.trial}` : ''].filter(Boolean).join(', ')));
    f.input.select();
  }

  /** @param {Field} f */
  typed(f) {
    if (this.busy) return;
    this.asked(null);
    if (f.typed()) this.advance(f);
  }

  /** A key of the pad. @param {string} key */
  press(key) {
    const f = this.current;
    if (this.busy) this.app.ahead.push(key);
    if (!f || this.busy) return;
    const word = signKeys(this.m).find((w) => w.key === key);
    if (key === 'next') this.accept(f);
    else if (word) {
      if (f.word(word.sign)) this.advance(f);
      else if (f.empty || document.activeElement === document.body) f.focus();
    } else if (key === 'delete' && f.empty) this.stepBack(f);
    else {
      if (document.activeElement !== f.input) f.focus();
      typeInto(f.input, key);
    }
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const f = this.fields.find((x) => x.input === event.target);
    if (!f) return;
    if (this.busy) {
      if (/^[\d.,]$/.test(event.key)) this.app.ahead.push(event.key.replace(',', '.'));
      return event.preventDefault();
    }
    const early = f.empty && performance.now() - f.enteredAt < habit;
    if (event.key === 'Enter') {
      event.preventDefault();
      if (!early && !event.repeat) this.accept(f);
    } else if (event.key === 'Tab' && early && !event.shiftKey) event.preventDefault();
    else if (event.key === 'Backspace' && f.empty) {
      event.preventDefault();
      this.stepBack(f);
    }
  }

  /** @param {Field} f */
  accept(f) {
    if (f.commit()) this.advance(f);
    else if (f.lacksWord) {
      /** @type {HTMLElement | null} */ (this.bottom.querySelector('.word'))?.focus();
    } else f.focus();
  }

  /** @param {Field} f */
  stepBack(f) {
    const before = this.fields[this.fields.indexOf(f) - 1];
    (before ?? f).focus();
  }

  /** A stop-watch or counter gives a value. @param {string} text */
  taken(text) {
    const f = this.current;
    if (!f || this.busy) return;
    f.input.value = text;
    f.typed();
    if (f.commit()) this.advance(f);
  }

  /** On to the next field that is empty; after the last one the values are looked at and kept. @param {Field} f */
  advance(f) {
    const at = this.fields.indexOf(f);
    const next = [...this.fields.slice(at + 1), ...this.fields.slice(0, at)].find((x) => x.value === null);
    if (!next) void this.finish();
    else if (this.tool === 'special') {
      this.enter(next);
      this.focus();
    } else next.focus();
  }

  /** Trials by side, of the sides that have any. @returns {import('./doubts.js').Values} */
  values() {
    /** @type {import('./doubts.js').Values} */
    const out = {};
    for (const side of this.sides) {
      const trials = this.fields.filter((f) => f.side === side && f.value !== null).map((f) => /** @type {number} */ (f.value));
      if (trials.length > 0) out[side] = trials;
    }
    return out;
  }

  /** Asks what there is to ask, then keeps the values. @param {NonNullable<import('./types.d.ts').Entry['reason']>} [reason] why sides without values have none */
  async finish(reason) {
    const bad = this.fields.find((f) => !f.empty && f.value === null);
    if (this.busy || (bad && !bad.commit())) return bad?.focus();
    const values = this.values();
    const doubt = nextDoubt(this.m, values, this.answered) ?? this.handDoubt(values);
    if (doubt) return this.ask(doubt, reason);
    this.asked(null);
    await this.save(values, reason);
  }

  /** @param {import('./doubts.js').Values} values */
  handDoubt(values) {
    const id = partner(this.m.id);
    if (!id || this.answered.has('other_hand')) return null;
    /** @type {import('./doubts.js').Values} */
    const other = {};
    for (const { entry } of this.app.standing(this.a.id)) {
      if (entry.kind === 'reading' && entry.about === id && (entry.round ?? 1) === this.turn.round && entry.side) other[entry.side] = entry.trials;
    }
    return handDoubt(this.a.hand, this.m, values, measureOf(this.app.sheet, id), other);
  }

  /** @param {import('./doubts.js').Doubt} d @param {NonNullable<import('./types.d.ts').Entry['reason']>} [reason] */
  ask(d, reason) {
    const keep = () => { this.answered.add(d.key); this.kinds.add(d.kind); this.asked(null); void this.finish(reason); };
    const field = this.fields.filter((f) => f.side === d.side && f.value !== null)[d.trial ?? 0];
    const retype = (/** @type {Field[]} */ fields) => { for (const f of fields) f.set('', 0); this.asked(null); fields[0]?.focus(); };
    const more = () => { this.asked(null); this.addField(d.side).focus(); };
    const use = () => { field?.set(String(Math.abs(d.meant ?? 0)), field.sign); this.asked(null); void this.finish(reason); };
    const value = field?.value ?? 0;
    const full = (this.values()[d.side]?.length ?? 0) >= this.m.most;
    /** @type {Record<string, [string, () => void][]>} */
    const choices = {
      digits_swapped: [[`Use ${say(this.m, d.meant ?? 0)}`, use], [`Keep ${say(this.m, value)}`, keep]],
      unusual: [['Yes, it is right', keep], ['Type it again', () => retype(field ? [field] : [])]],
      trials_apart: [...(full ? [] : [/** @type {[string, () => void]} */ (['Measure once more', more])]), ['Keep as they are', keep]],
      other_hand: [['Keep as they are', keep], ['Measure again', () => retype(this.fields)]],
    };
    const title = heading('h3', upper(d.text.replace(`${this.m.name}, `, '')));
    this.asked(h('div', { class: 'ask' }, title, h('div', { class: 'stack' }, (choices[d.kind] ?? []).map(([text, act]) => button(text, act, { class: 'button large' })))));
    title.focus();
  }

  /** Shows a question in the place of the keys, or the keys again. @param {HTMLElement | null} question */
  asked(question) {
    if (!question && !this.asking) return;
    this.asking = question !== null;
    if (question) fill(this.bottom, question);
    else this.showTool(this.tool ?? 'pad');
  }

  /** @param {import('./doubts.js').Values} values @param {NonNullable<import('./types.d.ts').Entry['reason']>} [reason] */
  async save(values, reason) {
    const { app, a, m } = this;
    const more = extras(app, a, this.turn);
    const entries = [];
    for (const side of this.sides) {
      const trials = values[side];
      if (trials) entries.push(app.entry('reading', a.id, { about: m.id, side, trials, ...more }));
      else if (reason) entries.push(app.entry('not_done', a.id, { about: m.id, side, reason, ...(this.turn.round === 2 ? { round: 2 } : {}) }));
    }
    if (entries.length === 0) return;
    this.lock(true);
    const kept = await app.keep(entries, describe(app.sheet, entries));
    this.lock(false);
    if (!kept) return this.current?.focus();
    for (const kind of this.kinds) app.answered(a.id, m.id, kind);
    this.saved = true;
    app.drafts.delete(this.draftKey);
    if (this.shown()) app.next(this.turn);
  }

  /** @param {boolean} busy */
  lock(busy) {
    this.busy = busy;
    this.el.setAttribute('aria-busy', String(busy));
    for (const f of this.fields) f.input.readOnly = busy;
  }

  shown() {
    return this.el.isConnected;
  }

  /** Puts back what was typed before somebody left. */
  restore() {
    const draft = this.app.drafts.get(this.draftKey) ?? {};
    for (const side of this.sides) {
      (draft[side] ?? []).forEach(({ text, sign }, i) => {
        const of = this.fields.filter((f) => f.side === side);
        (of[i] ?? this.addField(side)).set(text, sign);
      });
    }
  }

  leave() {
    this.covers.disconnect();
    cover(null);
    this.tools.special?.reset();
    if (this.saved || this.fields.every((f) => f.empty)) return;
    /** @type {import('./screens.d.ts').Draft} */
    const draft = {};
    for (const f of this.fields) (draft[f.side] ??= []).push({ text: f.input.value, sign: f.sign });
    this.app.drafts.set(this.draftKey, draft);
    this.app.say(`Not saved yet: what was typed for ${numbered(this.a)}. It is there when you open the athlete again.`, this.a.id);
  }

  escape() {
    if (!this.asking) return false;
    this.asked(null);
    this.current?.focus();
    return true;
  }

  update() {
    if (stopped(this.app.athlete(this.a.id))) this.app.open(this.turn);
    else if (this.news.update()) this.current?.el.scrollIntoView({ block: 'nearest' });
  }
}
