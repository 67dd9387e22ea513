/**
 * The shoot day on a phone (390 x 844, touch) through the phone's own way in: TLS, the code from the computer's page, a take
 * sent, nothing else shown. Skips loudly where there is no Chromium; with PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import { existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium, type Browser, type Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addFilm } from '../../src/book/add-media.js';
import { Book } from '../../src/book/book.js';
import { newProduction } from '../../src/book/new-production.js';
import { rate } from '../../src/core/rational.js';
import { createPicture } from '../../src/image/picture.js';
import { VideoWriter } from '../../src/media/video-writer.js';
import { listen, type RunningService } from '../../src/server/listen.js';

const CHROMIUM = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'].find((p) => existsSync(p)) ?? process.env['PLATEWRIGHT_CHROMIUM'];
if (CHROMIUM === undefined) {
  if (process.env['PLATEWRIGHT_BROWSER'] === 'required') throw new Error('PLATEWRIGHT_BROWSER=required, but there is no Chromium on this machine (Debian: apt-get install chromium)');
  console.warn('\n*** BROWSER TESTS SKIPPED: there is no Chromium on this machine (Debian: apt-get install chromium) ***\n');
}
const SHOTS = process.env['PLATEWRIGHT_SCREENSHOTS'];

let folder: string, service: RunningService, browser: Browser, desk: Page, phone: Page;

describe.skipIf(CHROMIUM === undefined)('shoot day on a phone', () => {
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-phone-page-'));
    const w = await VideoWriter.open(join(folder, 'film.mp4'), { widthPx: 320, heightPx: 180, rate: rate(24), codec: 'h264', crf: 8 });
    for (let f = 0; f < 12; f++) { const p = createPicture(320, 180, 3); p.data.fill(0.25 + 0.02 * f); await w.writeCoded(p); }
    await w.close();
    const book = Book.create(join(folder, 'production'));
    book.edit('start', (e) => e.put('production', newProduction('Phone walk')));
    await addFilm(book, join(folder, 'film.mp4'), { title: 'Film' });
    book.edit('pick', (e) => e.put('pick', { id: 'one', film: 'film', title: 'The platform', in: 2, out: 10, order: 1, note: '', marks: { frame: 0, marks: [] }, action: 'sits' }));
    book.close();
    service = await listen(join(folder, 'production'), { port: 0, lan: { address: '127.0.0.1', port: 0 } });
    browser = await chromium.launch({ executablePath: CHROMIUM!, args: ['--no-sandbox'] });
    desk = await (await browser.newContext({ viewport: { width: 1280, height: 900 } })).newPage();
    phone = await (await browser.newContext({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, ignoreHTTPSErrors: true })).newPage();
  }, 120_000);
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('pairs by the code that the computer shows, and then shows the shoot day alone', async () => {
    await desk.goto(`${service.url}#/day`);
    await desk.getByText('On a phone').click();
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
    if (SHOTS !== undefined) { mkdirSync(SHOTS, { recursive: true }); await phone.screenshot({ path: join(SHOTS, 'phone-day.png'), fullPage: true }); await desk.screenshot({ path: join(SHOTS, 'phone-invitation.png') }); }
    expect(await phone.evaluate(() => document.documentElement.scrollWidth <= innerWidth)).toBe(true);
  }, 120_000);

  it('sends a take from the phone, and the computer has it', async () => {
    await phone.locator('.takes-now').getByLabel('Add a take').setInputFiles(join(folder, 'film.mp4'));
    await phone.locator('.takes-now .take-now').first().waitFor({ timeout: 60_000 });
    await desk.locator('.takes-now .take-now').first().waitFor({ timeout: 60_000 });
    expect(await phone.getByRole('button', { name: 'Take it out of the book' }).count()).toBe(0);
  }, 120_000);

  it('is sent away by the computer, and comes in again by what it scans', async () => {
    await desk.getByRole('button', { name: 'Send all phones away' }).click();
    await desk.getByText('no phone is in').waitFor();
    await phone.reload();
    await phone.getByText('Shoot day on this phone').waitFor();
    const { address, code } = service.phones!.invitation();
    await phone.goto('about:blank');
    await phone.goto(`${address}#/pair/${code}`);
    await phone.getByRole('heading', { name: 'The platform' }).waitFor();
    expect(await phone.evaluate(() => location.hash)).toBe('#/day');
  }, 120_000);
});
