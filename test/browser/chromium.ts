/**
 * The browser that the browser tests drive, found once for all of them: the Chromium of this machine (its own network
 * chatter off), or none, which skips the tests loudly; with PLATEWRIGHT_BROWSER=required it fails instead.
 * PLATEWRIGHT_SCREENSHOTS names a folder for pictures; late answers are for slow-answers.ts.
 */
import { existsSync, mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { chromium, type Browser, type Page } from 'playwright-core';
import { withSlowAnswers } from './slow-answers.js';

export const CHROMIUM =
  ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'].find((p) => existsSync(p)) ??
  process.env['PLATEWRIGHT_CHROMIUM'];
if (CHROMIUM === undefined) {
  if (process.env['PLATEWRIGHT_BROWSER'] === 'required')
    throw new Error(
      'PLATEWRIGHT_BROWSER=required, but there is no Chromium on this machine (Debian: apt-get install chromium)',
    );
  console.warn(
    '\n*** BROWSER TESTS SKIPPED: there is no Chromium on this machine (Debian: apt-get install chromium) ***\n',
  );
}

export async function launchChromium(): Promise<Browser> {
  const browser = await chromium.launch({
    executablePath: CHROMIUM!,
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  });
  return withSlowAnswers(browser);
}

/** Writes a picture of the page where pictures are wanted. */
export async function look(page: Page, name: string, fullPage = true): Promise<void> {
  const folder = process.env['PLATEWRIGHT_SCREENSHOTS'];
  if (folder === undefined) return;
  mkdirSync(folder, { recursive: true });
  await page.screenshot({ path: join(folder, `${name}.png`), fullPage });
}
