// Accounts in a browser: the first administrator by the link that the program prints, invitations, the
// second factor, passkeys by a virtual authenticator, signing out; and every page of theirs at the width
// of a phone and of a desk.
import assert from 'node:assert/strict';
import { createHmac } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { assertAxe, assertFits, assertFitsTwiceAsLarge, assertLargeTargets, openPage } from './look.mjs';
import { shots, startBrowser, startProgram, startServer } from './program.mjs';

/** @typedef {import('playwright-core').Page} Page */

const hostile = '<img src=x onerror="document.title=1">';
const password = 'seven quiet herons wade at dusk';
const targets = 'main a.button, main button, main summary, main a.row, header a, header button, main select, main input:not([type=hidden],[type=radio],[type=checkbox],.hidden)';

const folder = mkdtempSync(join(tmpdir(), 'evenhand-accounts-'));
/** @type {Awaited<ReturnType<typeof startServer>>} */
let program;
/** @type {import('playwright-core').Browser} */
let browser;
/** Addresses that were asked for, and what went wrong on pages, over all tests. @type {string[]} */
const wrong = [];
/** The administrator's page, signed in. @type {Page} */
let chief;

before(async () => {
  [program, browser] = await Promise.all([startServer(join(folder, 'accounts.db')), startBrowser()]);
  chief = (await open()).page;
}, { timeout: 120_000 });

after(async () => {
  await browser?.close();
  await program?.stop();
  rmSync(folder, { recursive: true, force: true });
});

/** @param {import('playwright-core').BrowserContextOptions} [options] */
async function open(options = {}) {
  const opened = await openPage(browser, program.url, options);
  opened.page.on('console', (m) => { if (m.type() === 'error' && !/40[134]|42[29]/.test(m.text())) wrong.push(`${opened.page.url()}: ${m.text()}`); });
  opened.page.on('pageerror', (error) => wrong.push(String(error)));
  return opened;
}

/**
 * RFC 6238 with SHA-1, six digits, 30 s.
 * @param {string} secret in base32 @param {number} seconds
 */
function totp(secret, seconds) {
  let bits = '';
  for (const c of secret.replaceAll(' ', '')) bits += 'ABCDEFGHIJKLMNOPQRSTUVWXYZ234567'.indexOf(c).toString(2).padStart(5, '0');
  const key = Buffer.from((bits.match(/.{8}/g) ?? []).map((b) => parseInt(b, 2)));
  const counter = Buffer.alloc(8);
  counter.writeBigUInt64BE(BigInt(Math.floor(seconds / 30)));
  const sum = createHmac('sha1', key).update(counter).digest();
  return String((sum.readUInt32BE((sum.at(-1) ?? 0) & 15) & 0x7fffffff) % 1_000_000).padStart(6, '0');
}

/** @param {Page} page @param {string} login @param {string} [code] @param {string} [word] */
async function signIn(page, login, code = '', word = password) {
  await page.fill('#login', login);
  await page.fill('#password', word);
  await page.fill('#code', code);
  await page.click('main button[type=submit]');
}

/**
 * Looks at a page at both widths.
 * @param {Page} page @param {string} name
 */
async function look(page, name) {
  for (const width of [390, 1440]) {
    await page.setViewportSize({ width, height: width === 390 ? 844 : 900 });
    await assertFits(page, `${name} at ${width} px`);
    await page.screenshot({ path: join(shots, `accounts-${name}-${width}.png`), fullPage: true });
    if (width === 1440) await assertFitsTwiceAsLarge(page, name);
    for (const colorScheme of /** @type {const} */ (['dark', 'light'])) {
      await page.emulateMedia({ colorScheme });
      await assertAxe(page, `${name} at ${width} px, ${colorScheme}`);
    }
    await assertLargeTargets(page, targets, name);
    assert.equal(await page.locator('img').count(), 0, name);
  }
}

test('RFC 6238, appendix B', () => {
  assert.equal(totp('GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ', 59), '287082');
  assert.equal(totp('GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ', 1111111109), '081804');
});

test('the first administrator, by the link that the program prints', async () => {
  const link = /first administrator: (http:\S+\/setup\/\S+)/.exec(program.said())?.[1] ?? '';
  assert.ok(link, program.said());
  await chief.goto('/');
  assert.match(chief.url(), /\/sign-in\?next=%2F$/);
  assert.match(await chief.locator('.needs').innerText(), /Nobody has an account here yet/);
  await look(chief, 'nobody');
  await chief.goto(link);
  await look(chief, 'setup');
  await chief.fill('#name', `Chief ${hostile}`);
  await chief.fill('#login', 'chief');
  await chief.fill('#password', 'short');
  await chief.fill('#again', 'short');
  await chief.click('button:text("Make the account")');
  assert.match(await chief.locator('#fault-password').innerText(), /\S/);
  await look(chief, 'setup-faults');
  await chief.fill('#password', password);
  await chief.fill('#again', password);
  await chief.click('button:text("Make the account")');
  assert.equal(await chief.locator('.selfname').innerText(), `Chief ${hostile}`);
  await chief.goto(link);
  assert.match(await chief.locator('main').innerText(), /This link does not work/);
  await chief.goto('/teams/new');
  await chief.fill('#name', 'Harbour Under 16');
  await chief.click('button:text("Add the team")');
  assert.equal(await chief.locator('h1').innerText(), 'Harbour Under 16');
});

test('signing out and in, by keyboard, and where it leads', async () => {
  await chief.click('button:text("Sign out")');
  await chief.waitForURL((url) => url.pathname === '/sign-in');
  await chief.goto('/people');
  assert.match(chief.url(), /\/sign-in\?next=%2Fpeople$/);
  await chief.focus('#login');
  await chief.keyboard.type('chief');
  await chief.keyboard.press('Tab');
  await chief.keyboard.type('not this one');
  await chief.keyboard.press('Enter');
  await chief.locator('[role=alert]').waitFor();
  assert.match(await chief.locator('[role=alert]').innerText(), /^That does not fit/);
  assert.equal(await chief.inputValue('#password'), '');
  assert.equal(await chief.inputValue('#login'), 'chief');
  await look(chief, 'wrong');
  await chief.focus('#password');
  await chief.keyboard.type(password);
  await chief.keyboard.press('Enter');
  await chief.waitForURL((url) => url.pathname === '/people');
  const cookie = (await chief.context().cookies()).find((c) => c.name === 'evenhand');
  assert.ok(cookie?.httpOnly && cookie.sameSite === 'Lax' && cookie.path === '/');
});

test('a coach is invited, without script in the other browser', async () => {
  await chief.goto('/people');
  await chief.fill('#name', hostile);
  await chief.selectOption('#role-1', 'coach');
  assert.equal(await chief.inputValue('#team-1'), '');
  await chief.selectOption('#team-1', { label: 'Harbour Under 16' });
  await chief.click('button:text("More rows")');
  assert.equal(await chief.inputValue('#name'), hostile);
  assert.equal(await chief.inputValue('#role-1'), 'coach');
  await look(chief, 'people');
  await chief.click('button:text("Make the invitation")');
  const link = await chief.inputValue('#link');
  await look(chief, 'invitation-link');
  const { page, close } = await open({ javaScriptEnabled: false });
  await page.goto(link);
  assert.match(await page.locator('main').innerText(), /Coach in Harbour Under 16/);
  await page.fill('#name', `Coach ${hostile}`);
  await page.fill('#login', 'coach');
  await page.fill('#password', password);
  await page.fill('#again', password);
  await page.click('button:text("Make the account")');
  assert.equal(await page.locator('header a:text("People")').count(), 0);
  await page.goto('/people');
  assert.equal(await page.locator('h1').innerText(), 'Not allowed');
  await page.goto('/account');
  assert.match(await page.locator('main').innerText(), /Coach in Harbour Under 16/);
  await close();

  await chief.goto('/people');
  await look(chief, 'people-two');
  await chief.click('a.row:has-text("coach")');
  await chief.locator('summary:text("What each role may do")').click();
  await chief.locator('summary:text("Close the account")').click();
  await look(chief, 'member');
  await chief.click('button:text("Make a link for a new password")');
  assert.match(await chief.inputValue('#link'), /\/reset\//);
  const reset = await open();
  await reset.page.goto(await chief.inputValue('#link'));
  await look(reset.page, 'reset');
  await reset.close();
});

/** @type {string[]} */
let recovery = [];

test('the second factor, with a code worked out here', async () => {
  await chief.goto('/account');
  await look(chief, 'account');
  await chief.click('a:text("Set up a second factor")');
  const secret = (await chief.locator('.secret').innerText()).replaceAll(' ', '');
  await look(chief, 'factor');
  await chief.fill('#code', totp(secret, Date.now() / 1000));
  await chief.fill('#password', 'not this one');
  await chief.click('button:text("Take it into use")');
  assert.match(await chief.locator('#fault-password').innerText(), /\S/);
  assert.equal((await chief.locator('.secret').innerText()).replaceAll(' ', ''), secret);
  const used = Date.now() / 1000;
  await chief.fill('#code', totp(secret, used));
  await chief.fill('#password', password);
  await chief.click('button:text("Take it into use")');
  recovery = await chief.locator('.secrets li').allInnerTexts();
  assert.equal(recovery.length, 10);
  await look(chief, 'codes');
  assert.ok((await chief.pdf({ format: 'A4', path: join(shots, 'accounts-codes.pdf') })).toString('latin1').match(/\/Type\s*\/Page\b(?!s)/g)?.length === 1);

  const { page, close } = await open();
  await page.goto('/sign-in');
  await signIn(page, 'chief');
  assert.match(await page.locator('[role=alert]').innerText(), /second factor/);
  await signIn(page, 'chief', totp(secret, used + 30));
  await page.locator('header button:text("Sign out")').waitFor();
  await page.click('header button:text("Sign out")');
  await signIn(page, 'chief', String(recovery[0]));
  await page.goto('/account');
  assert.match(await page.locator('#factor').innerText(), /9 recovery codes are left/);
  await close();
});

test('a passkey is added on the machine itself and opens the door without password and code', async () => {
  const { page, context, close } = await open({ baseURL: `http://localhost:${program.port}` });
  await page.goto('/sign-in?next=/account');
  await signIn(page, 'chief', String(recovery[1]));
  await page.waitForURL((url) => url.pathname === '/account');
  const cdp = await context.newCDPSession(page);
  await cdp.send('WebAuthn.enable');
  await cdp.send('WebAuthn.addVirtualAuthenticator', { options: { protocol: 'ctap2', transport: 'internal', hasResidentKey: true,
    hasUserVerification: true, isUserVerified: true, automaticPresenceSimulation: true } });
  await page.fill('#passkey-name', hostile);
  await page.click('button:text("Add a passkey")');
  await page.waitForURL(/done=passkey/);
  assert.match(await page.locator('#passkeys .entries').innerText(), /<img src=x/);
  await page.fill('#passkey-name', 'again');
  await page.click('button:text("Add a passkey")');
  await page.locator('[data-passkey-says]:visible').waitFor();
  assert.match(await page.locator('[data-passkey-says]').innerText(), /has a passkey for this account already/);
  await look(page, 'account-full');
  await page.click('header button:text("Sign out")');
  await page.goto('/sign-in?next=/people');
  await look(page, 'sign-in');
  await page.click('button:text("Sign in with a passkey")');
  await page.waitForURL((url) => url.pathname === '/people');
  await page.goto('/account');
  await page.click('button:text("Remove the passkey")');
  await page.waitForURL(/done=removed/);
  await page.click('header button:text("Sign out")');
  await page.click('button:text("Sign in with a passkey")');
  await page.locator('[data-passkey-says]:visible').waitFor();
  assert.match(page.url(), /\/sign-in$/);
  await close();
});

test('passkeys are not offered where they cannot work', async () => {
  const plain = await open({ baseURL: `http://gym.test:${program.port}` });
  await plain.page.goto('/sign-in');
  assert.ok(!await plain.page.locator('[data-passkey]').isVisible());
  await plain.close();
  const numbers = await open();
  await numbers.page.goto('/sign-in');
  await numbers.page.click('button:text("Sign in with a passkey")');
  await numbers.page.locator('[data-passkey-says]:visible').waitFor();
  assert.match(await numbers.page.locator('[data-passkey-says]').innerText(), /name/);
  await numbers.close();
});

test('a token is shown once and works within its bounds', async () => {
  await chief.goto('/account');
  await chief.locator('summary:text("Make a token")').click();
  await look(chief, 'token-form');
  await chief.fill('#token-name', hostile);
  await chief.check('input[name=scopes][value=read]');
  await chief.click('button:text("Make the token")');
  const token = await chief.inputValue('#token');
  await look(chief, 'token');
  const { context, close } = await open();
  const headers = { Authorization: `Bearer ${token}` };
  assert.equal((await context.request.get('/api/v1/teams', { headers })).status(), 200);
  assert.equal((await context.request.get('/api/v1/teams')).status(), 401);
  assert.equal((await context.request.put('/api/v1/teams/made-by-token', { headers, data: { name: 'x', sport: 'baseball' } })).status(), 403);
  await chief.goto('/account');
  await chief.click('button:text("Revoke")');
  assert.equal((await context.request.get('/api/v1/teams', { headers })).status(), 401);
  await close();
});

test('the audit is searched, exported and checked', async () => {
  await chief.goto('/audit');
  await chief.locator('summary:text("Search")').click();
  await look(chief, 'audit');
  await chief.selectOption('#outcome', 'refused');
  await chief.click('button:text("Search")');
  assert.ok(await chief.locator('tbody tr').count() > 0);
  assert.equal(await chief.locator('tbody tr:not(.refused)').count(), 0);
  const csv = await (await chief.request.get(String(await chief.locator('a:text("Save as CSV")').getAttribute('href')))).text();
  assert.match(csv, /^seq,at,who/);
  assert.doesNotMatch(csv, /,done,/);
  await chief.goto('/audit');
  await chief.click('button:text("Check the chain")');
  assert.match(await chief.locator('.done').innerText(), /^Chain checked: \d+ entries, head [0-9a-f]{64}\.$/);
});

test('signing out everywhere', async () => {
  const { page, close } = await open();
  await page.goto('/sign-in?next=/account');
  await signIn(page, 'chief', String(recovery[2]));
  await page.locator('#sessions').waitFor();
  assert.ok(await page.locator('#sessions .entries li').count() > 1);
  await page.click('button:text("Sign out everywhere")');
  await page.waitForURL((url) => url.pathname === '/sign-in');
  await chief.goto('/account');
  assert.match(chief.url(), /\/sign-in\?next=%2Faccount$/);
  await close();
});

test('a demo is seen as each role', async () => {
  const demo = await startProgram();
  const { page, close } = await openPage(browser, demo.url);
  await page.goto('/demo/roles');
  assert.match(await page.locator('.demo').innerText(), /You see it as: administrator and clinician/);
  await look(page, 'demo-roles');
  await page.click('button:text("See it as helper")');
  await page.goto('/demo/roles');
  assert.match(await page.locator('.demo').innerText(), /You see it as: helper/);
  await page.goto('/audit');
  assert.equal(await page.locator('h1').innerText(), 'Not allowed');
  await close();
  await demo.stop();
});

test('nothing went wrong on any page', () => assert.deepEqual(wrong, []));
