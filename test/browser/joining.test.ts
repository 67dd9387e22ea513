/**
 * What a person does on the sheet on the way to a join, in a real browser: a drawing in layers, and more.
 * A small production made here. Skips loudly where there is no Chromium; with
 * PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { madeProduction } from '../../src/book/made-production.js';
import { doJob } from '../../src/jobs/run-job.js';
import type { BookState } from '../../src/server/api-types.js';
import { listen, type RunningService } from '../../src/server/listen.js';
import { CHROMIUM, launchChromium, look } from './chromium.js';
import { makeClip } from './made-clip.js';

const PLATE_FRAMES = 12;
let folder: string, service: RunningService, browser: Browser, page: Page, base: string;

/** The book as the service tells it. */
async function bookNow<T>(read: (b: BookState) => T): Promise<T> {
  return read((await page.evaluate(async () => (await fetch('/api/book')).json() as Promise<unknown>)) as BookState);
}
const layerMark =
  (frame: number) =>
  (b: BookState): { readonly distance?: number; readonly share?: number } | undefined =>
    b.takes[0]?.marks?.marks.find((m) => m.kind === 'layer' && m.frame === frame) as { distance?: number } | undefined;

async function narrow(name: string): Promise<void> {
  await page.setViewportSize({ width: 390, height: 844 });
  const wide = await page.evaluate(() => ({ page: document.documentElement.scrollWidth, screen: innerWidth }));
  expect(wide.page, name).toBeLessThanOrEqual(wide.screen + 1);
  await look(page, `${name}-390`);
  await page.setViewportSize({ width: 1600, height: 1000 });
  await look(page, `${name}-1600`);
}

describe.skipIf(CHROMIUM === undefined)('joining on the sheet', () => {
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-joining-'));
    await makeClip(
      join(folder, 'film.mp4'),
      PLATE_FRAMES,
      // Red and green as bright along its top: a film whose colour hangs on brightness alone would take the colours off
      // who comes into it.
      (x, y, _f, c) =>
        y < 24
          ? ((x >> 5) & 1 ? [0.62, 0.36, 0.4] : [0.3, 0.47, 0.3])[c]!
          : (y > 90 ? 0.3 : 0.5) + 0.15 * ((((x >> 4) + (y >> 4)) & 1) - 0.5) + 0.03 * c,
    );
    const book = await madeProduction(folder, 'Joining', join(folder, 'film.mp4'), {
      id: 'street',
      title: 'Street',
      in: 0,
      out: PLATE_FRAMES,
      marks: { frame: 0, marks: [{ kind: 'stand', ground: [160, 150], top: [160, 80], height: 0.5 }] },
    });
    await doJob(book, 'scan', 'film', {});
    book.close();
    service = await listen(join(folder, 'production'), { port: 0 });
    base = `http://localhost:${service.port}/`;
    browser = await launchChromium();
    page = await browser.newPage({ viewport: { width: 1600, height: 1000 } });
    page.setDefaultTimeout(120_000);
    await page.goto(`${base}#/sheet/street`);
    await page.getByRole('heading', { name: 'Takes and verdicts' }).waitFor();
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('takes the layers of a drawing, their distances, and joins them', async () => {
    const layer = async (svg: string): Promise<Buffer> =>
      sharp(Buffer.from(`<svg xmlns="http://www.w3.org/2000/svg" width="640" height="360">${svg}</svg>`))
        .png()
        .toBuffer();
    await page.getByLabel('Add a drawing in layers').setInputFiles([
      {
        name: 'moon 2.png',
        mimeType: 'image/png',
        buffer: await layer('<circle cx="300" cy="230" r="60" fill="#c33"/>'),
      },
      {
        name: 'moon 10.png',
        mimeType: 'image/png',
        buffer: await layer('<circle cx="340" cy="230" r="60" fill="#33c"/>'),
      },
    ]);
    await page.getByLabel('layer 2', { exact: true }).waitFor();
    await page.getByLabel('layer 1', { exact: true }).fill('6,5');
    // The same take is changed elsewhere while a hand types: neither what it typed nor the change is lost.
    const id = await bookNow((b) => b.takes[0]!.id);
    await page.evaluate(async (take) => {
      await fetch('/api/edit', {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify({
          title: 'note',
          changes: [{ do: 'change', kind: 'take', id: take, fields: { note: 'chalk on card' } }],
        }),
      });
    }, id);
    await page.getByText('chalk on card').waitFor();
    expect(await page.getByLabel('layer 1', { exact: true }).inputValue()).toBe('6,5');
    await page.getByLabel('layer 1', { exact: true }).press('Tab');
    await expect.poll(() => bookNow((b) => layerMark(0)(b)?.distance)).toBe(6.5);
    await page.getByLabel('layer 2', { exact: true }).fill('2');
    await page.getByLabel('layer 2', { exact: true }).press('Tab');
    await expect.poll(() => bookNow((b) => layerMark(1)(b)?.distance)).toBe(2);
    await page.getByLabel('unit of layer 2').selectOption('share');
    await expect.poll(() => bookNow((b) => layerMark(1)(b)?.share)).toBe(2);
    expect(await bookNow((b) => b.takes[0]!.note)).toBe('chalk on card');
    await page.reload();
    await expect.poll(() => page.getByLabel('layer 1', { exact: true }).inputValue()).toBe('6.5');
    await page.getByRole('button', { name: 'Build the join with it' }).click();
    await page.getByText(/2 layers laid over the whole picture.*the camera stands still/).waitFor({ timeout: 300_000 });
    await expect.poll(() => bookNow((b) => b.joins[0]?.render?.frames ?? 0), { timeout: 300_000 }).toBe(PLATE_FRAMES);
    // The nearer (second) layer covers the first: the picture's middle is blue.
    const colour = await page.evaluate(
      async () => (await (await fetch('/api/pixel/join/street/5?x=155&y=115')).json()) as { coded: number[] },
    );
    expect(colour.coded[2]!).toBeGreaterThan(1.5 * colour.coded[0]!);
    await narrow('layers');
  });

  it('joins a take quickly beside its verdict', async () => {
    // A disc before a green cloth that does not fill the picture; nobody on the last frames.
    await makeClip(join(folder, 'guest.mp4'), 16, (x, y, f, c) => {
      const guest = f < 13 && Math.hypot((x - 160 - f) / 24, (y - 100) / 42) < 1;
      const cloth = x > 30 && x < 292 && y > 12 && y < 164;
      return guest ? [0.62, 0.5, 0.38][c]! : cloth ? [0.2, 0.62, 0.25][c]! : 0.5;
    });
    await page.getByLabel('Add a take').setInputFiles(join(folder, 'guest.mp4'));
    const card = page.locator('.take-card').filter({ hasText: 'guest' });
    await card.waitFor();
    await expect
      .poll(() => bookNow((b) => b.takes.find((t) => t.id === 'guest')?.verdict !== undefined), { timeout: 300_000 })
      .toBe(true);
    await bookNow((b) => b);
    const take = await bookNow((b) => b.takes.find((t) => t.id === 'guest')!);
    await page.evaluate(
      async (document) => {
        await fetch('/api/edit', {
          method: 'POST',
          headers: { 'content-type': 'application/json' },
          body: JSON.stringify({ title: 'mark', changes: [{ do: 'put', kind: 'take', document }] }),
        });
      },
      { ...take, marks: { frame: 0, marks: [{ kind: 'performer', ground: [160, 142], top: [160, 58] }] } },
    );
    // The one that came with the upload may be under way still.
    const button = card.getByRole('button', { name: /See it on the plate|Join it quickly again|Joining quickly/ });
    await expect.poll(() => button.isEnabled(), { timeout: 300_000 }).toBe(true);
    const before = await bookNow((b) => b.quick['guest'] ?? '');
    await button.click();
    await expect.poll(() => bookNow((b) => b.quick['guest'] ?? ''), { timeout: 300_000 }).not.toBe(before);
    const video = card.getByLabel('quick join of guest');
    await video.waitFor();
    await expect
      .poll(
        () =>
          video.evaluate((v: HTMLVideoElement) =>
            v.error === null && v.readyState >= 1 && v.videoWidth > 0 ? v.loop : null,
          ),
        { timeout: 300_000 },
      )
      .toBe(true);
  });

  it('proposes the useful part of the screen, and the peel uses it when it is taken', async () => {
    const card = page.locator('.take-card').filter({ hasText: 'guest' });
    await card.getByRole('button', { name: 'Find the screen’s edges' }).click();
    await card.getByText(/% of the picture, nothing is performer/).waitFor();
    await narrow('screen-edges');
    expect(
      await bookNow((b) => b.takes.find((t) => t.id === 'guest')!.marks!.marks.some((m) => m.kind === 'screen')),
    ).toBe(false);
    await card.getByRole('button', { name: 'Take it', exact: true }).click();
    await expect
      .poll(() => bookNow((b) => b.takes.find((t) => t.id === 'guest')!.marks!.marks.some((m) => m.kind === 'screen')))
      .toBe(true);
    // All corners lie on the cloth's edge within 2 % of the width.
    const polygon = await bookNow(
      (b) =>
        (
          b.takes.find((t) => t.id === 'guest')!.marks!.marks.find((m) => m.kind === 'screen') as {
            polygon: [number, number][];
          }
        ).polygon,
    );
    for (const [x, y] of polygon)
      expect(Math.min(Math.abs(x - 30.5), Math.abs(x - 292), Math.abs(y - 12.5), Math.abs(y - 164))).toBeLessThan(6.4);
    // In the viewer it can be moved, and is proposed again.
    await card.getByRole('button', { name: 'Marks', exact: true }).click();
    await page.getByRole('button', { name: 'Propose marks' }).click();
    await page.locator('.proposals li', { hasText: 'nothing is performer' }).waitFor();
    await page.keyboard.press('Escape');
  });

  it('draws roughly round a performer with the tool in hand; the line lies on its own frame alone', async () => {
    const card = page.locator('.take-card').filter({ hasText: 'guest' });
    await card.getByRole('button', { name: 'draw roughly round it' }).click();
    await expect
      .poll(() => page.getByRole('button', { name: 'roughly round', exact: true }).getAttribute('aria-pressed'))
      .toBe('true');
    const glass = (await page.locator('.sheet-of-glass svg').boundingBox())!;
    for (const [x, y] of [
      [0.3, 0.2],
      [0.7, 0.2],
      [0.5, 0.9],
    ] as const)
      await page.mouse.click(glass.x + glass.width * x, glass.y + glass.height * y);
    await page.keyboard.press('Enter');
    await page.locator('.mark.about').waitFor();
    // The tool away, a frame on: the line told of the frame before.
    await page.keyboard.press('Escape');
    await page.keyboard.press('ArrowRight');
    await expect.poll(() => page.locator('.mark.about').count()).toBe(0);
    await page.keyboard.press('ArrowLeft');
    await page.locator('.mark.about').waitFor();
    await page.getByRole('dialog').getByRole('button', { name: 'Take back' }).click();
    await expect.poll(() => page.locator('.mark.about').count()).toBe(0);
    await page.keyboard.press('Escape');
  });

  it('names the frame on which the set is empty', async () => {
    const card = page.locator('.take-card').filter({ hasText: 'guest' });
    const field = card.getByLabel('set is empty on frame');
    await field.fill('99');
    await field.press('Tab');
    expect(await field.inputValue()).toBe('');
    await field.fill('15');
    await field.press('Tab');
    await expect.poll(() => bookNow((b) => b.takes.find((t) => t.id === 'guest')!.marks!.cleanFrame)).toBe(15);
    await card.getByRole('button', { name: 'Look at it' }).click();
    expect(await page.getByTestId('frame-number').textContent()).toContain('frame 15 of');
    await page.keyboard.press('Escape');
    await card.getByRole('button', { name: 'Build the join with it' }).click();
    await page.getByText('its frame 15 shows the empty set').waitFor({ timeout: 300_000 });
    const peel = await bookNow((b) => b.joins[0]!.recipe.steps.find((s) => s.step === 'peel'));
    expect(peel).toMatchObject({ cleanFrame: 15, garbage: { frames: [{ frame: 0 }] } });
  });

  it('puts a wall, a step and a rounded body that take the shadow, and what stirs', async () => {
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    const glass = page.locator('.sheet-of-glass svg');
    for (const [name, height, right] of [
      ['wall', null, 0],
      ['step', '0.3', 0.35],
      ['rounded', null, 0.42],
      ['stirs', null, 0.28],
    ] as const) {
      await page.getByRole('toolbar', { name: 'Marks' }).getByRole('button', { name, exact: true }).click();
      if (height !== null) await page.getByLabel('its height, m').fill(height);
      const box = (await glass.boundingBox())!;
      for (const [u, v] of [
        [0.2, 0.7],
        [0.5, 0.7],
        [0.5, 0.3],
        [0.2, 0.3],
      ] as const)
        await page.mouse.click(box.x + (u + right) * box.width, box.y + v * box.height);
      await look(page, `receiver-${name}`);
      await page.getByRole('button', { name: 'Close the outline (Enter)' }).click();
      await page.getByRole('toolbar', { name: 'Marks' }).getByRole('button', { name, exact: true }).click();
    }
    const stirs = () => bookNow((b) => b.picks[0]!.marks.marks.filter((m) => m.kind === 'stir').length);
    await expect.poll(stirs).toBe(1);
    const marks = await bookNow((b) => b.picks[0]!.marks.marks.filter((m) => m.kind === 'receiver'));
    expect(marks.map((m) => (m.kind === 'receiver' ? m.surface : ''))).toEqual(['wall', 'step', 'face']);
    expect(marks[0]).toMatchObject({
      base: [
        [expect.closeTo(64, 0), expect.closeTo(126, 0)],
        [expect.closeTo(160, 0), expect.closeTo(126, 0)],
      ],
    });
    expect(marks[1]).toMatchObject({ height: 0.3 });
    await page.keyboard.press('Escape');
    if (await page.locator('dialog.viewer').isVisible()) await page.keyboard.press('Escape');
  });

  it('outlines who goes, its shadow, and a part that is taken from later in the shot', async () => {
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    const glass = page.locator('.sheet-of-glass svg');
    for (const [name, right] of [
      ['erase', 0.05],
      ['its shadow', 0.31],
      ['patch', 0.45],
    ] as const) {
      await page.getByRole('toolbar', { name: 'Marks' }).getByRole('button', { name, exact: true }).click();
      if (name === 'patch') await page.getByLabel('frames later').fill('4');
      const box = (await glass.boundingBox())!;
      for (const [u, v] of [
        [0.2, 0.6],
        [0.5, 0.6],
        [0.5, 0.4],
        [0.2, 0.4],
      ] as const)
        await page.mouse.click(box.x + (u + right) * box.width, box.y + v * box.height);
      await look(page, `outline-${name.replace(' ', '-')}`);
      await page.getByRole('button', { name: 'Close the outline (Enter)' }).click();
      await page.getByRole('toolbar', { name: 'Marks' }).getByRole('button', { name, exact: true }).click();
    }
    const patches = () => bookNow((b) => b.picks[0]!.marks.marks.filter((m) => m.kind === 'patch'));
    await expect.poll(patches).toMatchObject([{ offsetFrames: 4 }]);
    const erased = await bookNow((b) => b.picks[0]!.marks.marks.filter((m) => m.kind === 'erase'));
    expect(erased.map((m) => (m.kind === 'erase' ? m.shadow === true : null))).toEqual([false, true]);
    expect(erased[0]).toMatchObject({
      polygon: [
        [expect.closeTo(80, 0), expect.closeTo(108, 0)],
        [expect.closeTo(176, 0), expect.closeTo(108, 0)],
        [expect.closeTo(176, 0), expect.closeTo(72, 0)],
        [expect.closeTo(80, 0), expect.closeTo(72, 0)],
      ],
    });
    await page.keyboard.press('Escape');
    if (await page.locator('dialog.viewer').isVisible()) await page.keyboard.press('Escape');
  });

  it('gives a still more or less stir', async () => {
    const still = await sharp(
      Buffer.from(
        '<svg xmlns="http://www.w3.org/2000/svg" width="300" height="400"><ellipse cx="150" cy="220" rx="90" ' +
          'ry="160" fill="#b58a5a"/></svg>',
      ),
    )
      .png()
      .toBuffer();
    await page.getByLabel('Add a take').setInputFiles({ name: 'still.png', mimeType: 'image/png', buffer: still });
    const card = page.locator('.take-card').filter({ has: page.getByRole('heading', { name: /^still/ }) });
    await card.waitFor();
    const take = await bookNow((b) => b.takes.find((t) => t.id === 'still')!);
    await page.evaluate(
      async (document) => {
        await fetch('/api/edit', {
          method: 'POST',
          headers: { 'content-type': 'application/json' },
          body: JSON.stringify({ title: 'mark', changes: [{ do: 'put', kind: 'take', document }] }),
        });
      },
      { ...take, marks: { frame: 0, marks: [{ kind: 'performer', ground: [150, 380], top: [150, 60] }] } },
    );
    await card.getByRole('button', { name: 'Build the join with it' }).click();
    const knob = page.getByLabel('stir, take px');
    await knob.waitFor({ timeout: 300_000 });
    // What the knob asks the picture for while it moves: tried out, not in the book.
    const sizes = await page.evaluate(async () =>
      Promise.all(
        [0, 20].map(async (v) => {
          const r = await fetch(`/api/preview/street/5?w=320&set=${encodeURIComponent(`ride.stir.amplitudePx:${v}`)}`);
          return r.ok ? Array.from(new Uint8Array(await r.arrayBuffer())).join(',') : `${r.status}`;
        }),
      ),
    );
    expect(sizes[0]!.length).toBeGreaterThan(1000);
    expect(sizes[1]).not.toBe(sizes[0]);
    await knob.fill('9');
    await knob.press('Tab');
    await expect
      .poll(() =>
        bookNow((b) => {
          const r = b.joins[0]!.recipe.steps.find((s) => s.step === 'ride');
          return r?.step === 'ride' ? [r.stir?.amplitudePx, r.stir?.seed] : null;
        }),
      )
      .toEqual([9, 1]);
    await narrow('stir');
  });

  it("changes a limit on the ledger's page, refuses nonsense, and goes back", async () => {
    await page.goto(`${base}#/ledger`);
    await page.getByRole('heading', { name: 'Limits' }).waitFor();
    const row = page.locator('.limits tbody tr').first();
    const field = row.getByRole('spinbutton').first();
    const before = await field.inputValue();
    const wanted = String(Number(before) * 1.1);
    await field.fill(wanted);
    await field.press('Tab');
    await expect.poll(() => row.getAttribute('data-changed')).toBe('true');
    expect(await bookNow((b) => Object.keys(b.production.tolerances).length)).toBe(1);
    await field.fill('');
    await field.press('Tab');
    await expect.poll(() => field.inputValue()).toBe(wanted);
    await row.getByRole('button', { name: /back to/ }).click();
    await expect.poll(() => bookNow((b) => Object.keys(b.production.tolerances).length)).toBe(0);
    await expect.poll(() => field.inputValue()).toBe(before);
    await narrow('limits');
  });
});
