// A stop-watch with one very large key, and a counter beside a clock that runs down.
import { button, h, say } from './dom.js';

/** @param {number} ms @returns {string} seconds to the tenth */
export function tenths(ms) {
  return (Math.round(ms / 100) / 10).toFixed(1);
}

/**
 * A stop-watch. What it stopped at is shown and only taken when somebody says so.
 * @param {(seconds: string) => void} take
 */
export function makeWatch(take) {
  let from = 0;
  let stopped = '';
  let frame = 0;
  const shown = h('p', { class: 'seconds', 'aria-hidden': 'true' }, '0.0 s');
  const spoken = h('p', { class: 'hidden', role: 'status' });
  const whom = h('p', { class: 'forwhom' });
  const key = button('Start', turn, { class: 'button huge go' });
  const accept = button('', () => { if (stopped) { const s = stopped; reset(); take(s); } }, { class: 'button go wide' });
  const again = button('Take again', () => { reset(); key.focus(); }, { class: 'button wide' });
  const after = h('div', { class: 'pair', hidden: true }, accept, again);

  function turn() {
    if (from) {
      stopped = tenths(performance.now() - from);
      cancelAnimationFrame(frame);
      from = 0;
      say(shown, `${stopped} s`);
      say(accept, `Take ${stopped} s`);
      say(spoken, `${stopped} seconds`);
      key.hidden = true;
      after.hidden = false;
      accept.focus();
      return;
    }
    from = performance.now();
    key.textContent = 'Stop';
    tick();
  }
  function tick() {
    if (!from) return;
    say(shown, `${tenths(performance.now() - from)} s`);
    frame = requestAnimationFrame(tick);
  }
  function reset() {
    cancelAnimationFrame(frame);
    from = 0;
    stopped = '';
    say(shown, '0.0 s');
    say(spoken, '');
    key.textContent = 'Start';
    key.hidden = false;
    after.hidden = true;
  }
  return { el: h('div', { class: 'watch' }, whom, shown, spoken, key, after), whom, focus: () => key.focus(), reset };
}

/**
 * Counts by taps, with a clock of so many seconds beside it that starts only when somebody starts it.
 * @param {{ what: string, cap?: number, seconds: number, take: (count: string) => void }} options
 */
export function makeCounter({ what, cap, seconds, take }) {
  let n = 0;
  const whom = h('p', { class: 'forwhom' });
  const shown = h('p', { class: 'seconds', role: 'status' });
  const plus = button('+1', () => set(n + 1), { class: 'button huge', 'aria-label': `+1: ${what}` });
  const minus = button('Take one back', () => set(n - 1), { class: 'button wide' });
  const done = button('', () => { const count = String(n); reset(); take(count); }, { class: 'button go wide' });
  const clock = seconds > 0 ? makeClock(seconds) : null;

  /** @param {number} to */
  function set(to) {
    n = Math.max(0, cap ? Math.min(cap, to) : to);
    const words = countWords(n, cap);
    say(shown, words);
    plus.setAttribute('aria-label', `+1: ${what}, ${words} so far`);
    say(done, `Done: ${words}`);
    minus.disabled = n === 0;
    plus.disabled = cap !== undefined && n >= cap;
  }
  function reset() {
    set(0);
    clock?.reset();
  }
  reset();
  return { el: h('div', { class: 'watch counter' }, h('div', { class: 'countline' }, whom, shown, clock?.el), plus, h('div', { class: 'pair' }, minus, done)), whom, focus: () => plus.focus(), reset };
}

/** A count in words; at its cap it means "at least". @param {number} n @param {number} [cap] */
export function countWords(n, cap) {
  return cap && n >= cap ? `${cap} or more` : String(n);
}

/** @param {number} seconds */
function makeClock(seconds) {
  let end = 0;
  let timer = 0;
  const over = h('span', { role: 'status' });
  const key = button('', () => (end ? reset() : start()), { class: 'button clock' });
  function start() {
    end = performance.now() + seconds * 1000;
    say(over, '');
    timer = window.setInterval(tick, 100);
    tick();
  }
  function tick() {
    const ms = end - performance.now();
    say(key, `${Math.max(0, Math.ceil(ms / 1000))} s left`);
    if (ms > 0) return;
    reset();
    say(over, `${seconds} s are over`);
    navigator.vibrate?.(200);
  }
  function reset() {
    clearInterval(timer);
    end = 0;
    say(over, '');
    say(key, `Start ${seconds} s`);
  }
  reset();
  return { el: h('span', { class: 'clockline' }, over, key), reset };
}
