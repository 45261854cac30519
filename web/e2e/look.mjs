// What every page is looked at for: accessibility, nothing that scrolls sideways (with text of twice the
// size, too), targets for a thumb.
import assert from 'node:assert/strict';
import { AxeBuilder } from '@axe-core/playwright';

/** @typedef {import('playwright-core').Page} Page */

/**
 * A page of its own that remembers what went wrong.
 * @param {import('playwright-core').Browser} browser
 * @param {string} baseURL
 * @param {import('playwright-core').BrowserContextOptions} [options]
 */
export async function openPage(browser, baseURL, options = {}) {
  const context = await browser.newContext({ baseURL, viewport: { width: 1440, height: 900 }, ...options });
  const page = await context.newPage();
  /** @type {string[]} */
  const wrong = [];
  page.on('console', (message) => { if (message.type() === 'error' || message.type() === 'warning') wrong.push(message.text()); });
  page.on('pageerror', (error) => wrong.push(String(error)));
  return { context, page, wrong, close: () => context.close() };
}

/** How far the page can be pushed sideways, in px. @param {Page} page */
export function sidewaysScroll(page) {
  return page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
}

/** A drawing follows the width of the page a moment later, so it is waited for. @param {Page} page @param {string} where */
export async function assertFits(page, where) {
  for (let i = 0; i < 100 && await sidewaysScroll(page) > 0; i++) await page.waitForTimeout(50);
  assert.ok(await sidewaysScroll(page) <= 0, `${where} scrolls sideways`);
}

/**
 * With everything twice as large the page still fits: half as many of its pixels, as a browser's zoom of
 * 200 % leaves.
 * @param {Page} page @param {string} where
 */
export async function assertFitsTwiceAsLarge(page, where) {
  const size = page.viewportSize();
  assert.ok(size);
  await page.setViewportSize({ width: size.width / 2, height: size.height / 2 });
  await assertFits(page, `${where} twice as large`);
  await page.setViewportSize(size);
}

/**
 * Nothing that axe calls serious or critical. In one page and without the insides of what is left out:
 * three times as quick.
 * @param {Page} page @param {string} where @param {string} [leftOut] what is many times the same
 */
export async function assertAxe(page, where, leftOut = '.drawing > *') {
  const { violations } = await new AxeBuilder({ page }).setLegacyMode(true).exclude(leftOut).options({ resultTypes: ['violations'] }).analyze();
  const grave = violations.filter((v) => v.impact === 'serious' || v.impact === 'critical');
  assert.deepEqual(grave.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 200)).join(' | ')}`), [], where);
}

/** Buttons and fields are at least 48 px high. @param {Page} page @param {string} selector @param {string} where */
export async function assertLargeTargets(page, selector, where) {
  const small = await page.evaluate((all) => [...document.querySelectorAll(all)]
    .filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 48 && !e.closest('.where')).map((e) => e.outerHTML.slice(0, 120)), selector);
  assert.deepEqual(small, [], where);
}
