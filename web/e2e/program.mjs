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

/** @returns {Promise<{url: string, port: string, stop: () => Promise<void>}>} */
export async function startProgram() {
  const folder = mkdtempSync(join(tmpdir(), 'evenhand-e2e-'));
  let program = process.env.EVENHAND_BIN;
  if (!program) {
    program = join(folder, 'evenhand');
    execFileSync('go', ['build', '-o', program, '.'], { cwd: join(here, '../..'), stdio: 'inherit' });
  }
  const child = spawn(program, ['demo', '--listen', '127.0.0.1:0', '--host', 'gym.test'], { stdio: ['ignore', 'pipe', 'pipe'] });
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
    url: String(url),
    port: new URL(String(url)).port,
    stop: async () => {
      child.kill('SIGTERM');
      await ended;
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

/** The browser resolves no name but gym.test, which stands for this machine seen over plain http. */
export function startBrowser() {
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
      '--disable-component-update', '--disable-sync',
      '--host-resolver-rules=MAP gym.test 127.0.0.1 , MAP * ~NOTFOUND , EXCLUDE 127.0.0.1'],
  });
}
