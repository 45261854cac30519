// The expected form is that of RFC 9562: version 7 (section 5.7), counter of method 1 (section 6.2).
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { idMaker, newId } from './ids.js';

const form = /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/;

test('an id has the form of version 7', () => {
  for (let i = 0; i < 100; i++) assert.match(newId(), form);
});

test('the time and the random bits of the example in RFC 9562, appendix A.6, make its id', () => {
  // 017F22E2-79B0-7CC3-98C4-DC0C0C07398F; the counter keeps to its lower half, so CC3 becomes 4C3.
  const bytes = [0, 0, 0, 0, 0, 0, 0x7c, 0xc3, 0x98, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f];
  const id = idMaker({ now: () => 0x017f22e279b0, random: (to) => to.set(bytes) })();
  assert.equal(id, '017f22e2-79b0-74c3-98c4-dc0c0c07398f');
});

test('ids ascend within a millisecond, past a full counter, and when the clock is set back', () => {
  let clock = 1_770_000_000_000;
  const make = idMaker({ now: () => clock });
  const ids = Array.from({ length: 10_000 }, make);
  clock -= 86_400_000;
  ids.push(...Array.from({ length: 100 }, make));
  clock += 2 * 86_400_000;
  ids.push(make());
  assert.deepEqual(ids, [...ids].sort());
  assert.equal(new Set(ids).size, ids.length);
  for (const id of ids) assert.match(id, form);
  const at = parseInt((ids.at(-1) ?? '').replace('-', '').slice(0, 12), 16);
  assert.equal(at, clock, 'the clock is followed again once it is ahead');
});

test('two devices with the same clock make different ids', () => {
  const one = idMaker({ now: () => 5 });
  const two = idMaker({ now: () => 5 });
  const ids = Array.from({ length: 1000 }, () => [one(), two()]).flat();
  assert.equal(new Set(ids).size, ids.length);
});
