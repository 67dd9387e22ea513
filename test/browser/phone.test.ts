/**
 * The shoot day on a phone (390 x 844, touch) through the phone's own way in: TLS, the code from the computer's
 * page, a take sent, nothing else shown. Skips loudly where there is no Chromium; with
 * PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { madeProduction } from '../../src/book/made-production.js';
import { listen, type RunningService } from '../../src/server/listen.js';
import { CHROMIUM, launchChromium, look } from './chromium.js';
import { makeClip } from './made-clip.js';

let folder: string, service: RunningService, browser: Browser, desk: Page, phone: Page;

describe.skipIf(CHROMIUM === undefined)('shoot day on a phone', () => {
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-phone-page-'));
    await makeClip(join(folder, 'film.mp4'), 12, (_x, _y, f) => 0.25 + 0.02 * f, { crf: 8 });
    const book = await madeProduction(folder, 'Phone walk', join(folder, 'film.mp4'), {
      id: 'one',
      title: 'The platform',
      in: 2,
      out: 10,
      action: 'sits',
    });
    book.close();
    service = await listen(join(folder, 'production'), { port: 0, lan: { address: '127.0.0.1', port: 0 } });
    browser = await launchChromium();
    desk = await (await browser.newContext({ viewport: { width: 1280, height: 900 } })).newPage();
    phone = await (
      await browser.newContext({
        viewport: { width: 390, height: 844 },
        hasTouch: true,
        isMobile: true,
        ignoreHTTPSErrors: true,
      })
    ).newPage();
    for (const page of [desk, phone]) page.setDefaultTimeout(120_000);
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('pairs by the code that the computer shows, and then shows the shoot day alone', async () => {
    await desk.goto(`${service.url}#/day`);
    await desk.getByText('On a phone', { exact: true }).click();
    const invite = desk.locator('.invite');
    await invite.waitFor();
    const { address, code } = service.phones!.invitation();
    expect((await invite.innerText()).replace(/\s/g, '')).toContain(code);
    await phone.goto(address);
    await phone.getByText('Shoot day on this phone').waitFor();
    expect(await phone.getByText('The platform').count()).toBe(0);
    await phone.getByLabel('code').fill('00000000');
    await phone.getByRole('button', { name: 'Pair this phone' }).click();
    await phone.getByRole('alert').filter({ hasText: 'not the code' }).waitFor();
    await phone.getByLabel('code').fill(code);
    await phone.getByRole('button', { name: 'Pair this phone' }).click();
    await phone.getByRole('heading', { name: 'The platform' }).waitFor();
    expect(await phone.locator('.bookmarks a').allInnerTexts()).toEqual(['Shoot day']);
    expect(await phone.getByRole('button', { name: 'Take back' }).count()).toBe(0);
    await desk.getByText('one phone is in').waitFor();
    await look(phone, 'phone-day');
    await look(desk, 'phone-invitation', false);
    expect(await phone.evaluate(() => document.documentElement.scrollWidth <= innerWidth)).toBe(true);
  });

  it('sends a take from the phone, and the computer has it', async () => {
    await phone.locator('.takes-now').getByLabel('Add a take').setInputFiles(join(folder, 'film.mp4'));
    await phone.locator('.takes-now .take-now').first().waitFor({ timeout: 300_000 });
    await desk.locator('.takes-now .take-now').first().waitFor({ timeout: 300_000 });
    expect(await phone.getByRole('button', { name: 'Take it out of the book' }).count()).toBe(0);
  });

  it('is sent away by the computer, and comes in again by what it scans', async () => {
    await desk.getByRole('button', { name: 'Send all phones away' }).click();
    await desk.getByText('no phone is in').waitFor();
    await phone.reload();
    await phone.getByText('Shoot day on this phone').waitFor();
    const { address, code } = service.phones!.invitation();
    await phone.goto('about:blank');
    await phone.goto(`${address}#/pair/${code}`);
    await phone.getByRole('heading', { name: 'The platform' }).waitFor();
    await expect.poll(() => phone.evaluate(() => location.hash)).toBe('#/day');
  });
});
