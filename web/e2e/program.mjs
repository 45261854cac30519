// Starts what the tests look at: the program with its demo squad, and a browser that can reach no other
// host than this machine.
import { execFileSync, spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';

const here = dirname(fileURLToPath(import.meta.url));

/** Where screenshots go. */
export const shots = process.env.SHOTS ?? join(here, 'shots');
mkdirSync(shots, { recursive: true });

/** The program, built if there is none. */
function binary() {
  if (process.env.EVENHAND_BIN) return process.env.EVENHAND_BIN;
  const folder = mkdtempSync(join(tmpdir(), 'evenhand-bin-'));
  process.on('exit', () => rmSync(folder, { recursive: true, force: true }));
  process.env.EVENHAND_BIN = join(folder, 'evenhand');
  execFileSync('go', ['build', '-o', process.env.EVENHAND_BIN, '.'], { cwd: join(here, '../..'), stdio: 'inherit' });
  return process.env.EVENHAND_BIN;
}

/** @typedef {{ url: string, port: string, said: () => string, stop: (signal?: NodeJS.Signals) => Promise<void> }} Program */

/**
 * Starts the program and waits until it names its address.
 * @param {string[]} args
 * @returns {Promise<Program>}
 */
async function start(args) {
  const child = spawn(binary(), [...args, '--host', 'gym.test'], { stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  const url = await new Promise((resolve, reject) => {
    const late = setTimeout(() => reject(new Error(`the program named no address:\n${said}`)), 30_000);
    for (const stream of [child.stdout, child.stderr]) {
      stream.on('data', (text) => {
        said += text;
        const found = /http:\/\/127\.0\.0\.1:\d+/.exec(said);
        if (found) {
          clearTimeout(late);
          resolve(found[0]);
        }
      });
    }
    child.on('exit', (code) => reject(new Error(`the program ended with ${code}:\n${said}`)));
  });
  const ended = new Promise((resolve) => child.on('exit', resolve));
  return {
    url: String(url), port: new URL(String(url)).port, said: () => said,
    stop: async (signal = 'SIGTERM') => {
      child.kill(signal);
      await ended;
    },
  };
}

/** The demo squad. */
export function startProgram() {
  return start(['demo', '--listen', '127.0.0.1:0']);
}

/** A file of its own, which outlives the program. @param {string} db @param {string} [port] */
export function startServer(db, port = '0') {
  return start(['serve', '--db', db, '--listen', `127.0.0.1:${port}`]);
}

/**
 * Cuts the network off, and waits until the page feels it: the browser's network process hears of it a
 * little later than the one that asks.
 * @param {import('playwright-core').Page} page
 */
export async function cutOff(page) {
  await page.context().setOffline(true);
  await page.waitForFunction(() => fetch('/assets/icon.svg', { cache: 'no-store' }).then(() => false, () => true));
}

/** The browser resolves no name but gym.test, which stands for this machine seen over plain http. */
export function startBrowser() {
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
      '--disable-component-update', '--disable-sync',
      '--host-resolver-rules=MAP gym.test 127.0.0.1 , MAP * ~NOTFOUND , EXCLUDE 127.0.0.1 , EXCLUDE localhost'],
  });
}
