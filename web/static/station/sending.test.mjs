// What counts as the server's word follows from the API: JSON with results and seq, or a problem document
// (RFC 9457) with its own status. Everything else may come from any machine on the way.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { outcomeOf } from './sending.js';

const problem = (/** @type {number} */ status, /** @type {object} */ more = {}) => JSON.stringify({ type: 'about:blank', title: 'Title', status, detail: 'what was wrong', ...more });

test('only the server itself can say yes or no', () => {
  /** @type {[number, string, string][]} */
  const cases = [
    [200, '{"results": [], "seq": 0}', 'ok'], [200, '{"results": [], "seq"', 'away'], [200, '{}', 'away'], [200, '[]', 'away'], [200, 'null', 'away'], [200, '<html>', 'away'], [204, '', 'away'], [302, '', 'away'],
    [400, problem(400), 'fault'], [409, problem(409), 'fault'], [422, problem(422), 'fault'], [413, '<html>', 'fault'], [413, problem(413), 'fault'],
    [401, problem(401), 'shut'], [403, problem(403), 'shut'], [404, problem(404), 'shut'], [410, problem(410), 'shut'], [421, problem(421), 'shut'],
    [403, '<html>', 'away'], [404, 'page not found', 'away'], [404, '{}', 'away'], [422, '"no"', 'away'], [511, '<html>', 'away'],
    [408, problem(408), 'away'], [425, problem(425), 'away'], [429, problem(429), 'away'], [500, problem(500), 'broken'], [500, '', 'broken'], [502, '', 'away'], [503, problem(503), 'away'], [504, '', 'away'], [0, '', 'away'],
  ];
  for (const [status, text, want] of cases) assert.equal(outcomeOf(status, text).kind, want, `${status} ${text}`);
});

test('a refusal has the words of its first fault, or of the whole', () => {
  assert.deepEqual(outcomeOf(422, problem(422, { errors: [{ location: 'body.entries[0]', message: 'too many', want: '1 to 500' }, { message: 'more' }] })), { kind: 'fault', problem: 'too many', want: '1 to 500' });
  assert.deepEqual(outcomeOf(404, problem(404, { want: 'ask for the link' })), { kind: 'shut', problem: 'what was wrong', want: 'ask for the link' });
  assert.deepEqual(outcomeOf(422, problem(422)), { kind: 'fault', problem: 'what was wrong', want: '' });
});
