/** A page that is closed while a take is being sent asks first; before and afterwards it does not. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { madeProduction } from '../../src/book/made-production.js';
import { listen, type RunningService } from '../../src/server/listen.js';
import { CHROMIUM, launchChromium } from './chromium.js';
import { makeClip } from './made-clip.js';

let folder: string, service: RunningService, browser: Browser, page: Page;

describe.skipIf(CHROMIUM === undefined)('a page that is closed', () => {
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-sending-'));
    const clip = join(folder, 'film.mp4');
    await makeClip(clip, 6, (x, y, _, c) => 0.4 + 0.1 * (((x >> 4) + (y >> 4)) & 1) + 0.02 * c);
    const span = { in: 0, out: 6, marks: { frame: 0, marks: [] } };
    const book = await madeProduction(folder, 'Sending', clip, { id: 'street', title: 'Street', ...span });
    book.close();
    service = await listen(join(folder, 'production'), { port: 0 });
    browser = await launchChromium();
    page = await browser.newPage();
    page.setDefaultTimeout(60_000);
    await page.goto(`http://localhost:${service.port}/#/sheet/street`);
  }, 240_000);
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('asks while a take is being sent, and only then', async () => {
    let asked = 0;
    page.on('dialog', (d) => {
      asked++;
      void d.dismiss();
    });
    let free = (): void => undefined;
    const held = new Promise<void>((done) => (free = done));
    await page.route('**/api/takes?**', async (route) => {
      await held;
      await route.abort();
    });
    const sending = page.getByLabel('sending the take');
    const heading = page.getByRole('heading', { name: 'Takes and verdicts' });
    // Browsers ask nobody who has not touched the page.
    await heading.click();
    await page.locator('input[type=file]').first().setInputFiles(join(folder, 'film.mp4'));
    await sending.waitFor();
    // A reload that is asked about and refused never ends, so it is not waited for.
    await page.evaluate(() => setTimeout(() => location.reload(), 0));
    await expect.poll(() => asked, { timeout: 60_000 }).toBe(1);
    expect(await sending.count()).toBe(1);
    free();
    await sending.waitFor({ state: 'detached' });
    await heading.click();
    await page.reload();
    await heading.waitFor();
    expect(asked).toBe(1);
  }, 240_000);
});
