/**
 * The join's sheet in a real browser: each step looked at alone, before and after; controls by slider, number and
 * keyboard, refused with the reason, put back and taken back; a render that keeps what a hand changed; people and
 * patches proposed; a shadow marked on the performer. A small production made here. Skips loudly where there is no
 * Chromium; with PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Locator, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addTake } from '../../src/book/add-media.js';
import { madeProduction } from '../../src/book/made-production.js';
import { doJob } from '../../src/jobs/run-job.js';
import type { RecipeStep, StepName } from '../../src/join/types.js';
import type { BookState } from '../../src/server/api-types.js';
import { listen, type RunningService } from '../../src/server/listen.js';
import { CHROMIUM, launchChromium } from './chromium.js';
import { makeClip } from './made-clip.js';
import { inTime } from './slow-answers.js';

const W = 320;
const H = 180;
const FRAMES = 24;
/** Loaded machines are slow: what is waited for comes, or the test fails by this. */
const LONG = { timeout: 300_000 };
let folder: string, service: RunningService, browser: Browser, page: Page, base: string;

/** Somebody 84 px tall who walks along the street; foot at 30 + 8 f. */
const walks = (x: number, y: number, f: number): boolean => {
  const u = x - 30 - 8 * f;
  const v = 150 - y;
  return (
    Math.hypot(u, v - 75) < 9 ||
    (Math.abs(u) < 12 && v > 33 && v < 68) ||
    (Math.abs(Math.abs(u) - 5) < 4 && v >= 0 && v <= 35)
  );
};
const guest = (x: number, y: number, f: number): boolean => Math.hypot((x - 150 - f / 2) / 26, (y - 100) / 44) < 1;

async function bookNow<T>(read: (b: BookState) => T): Promise<T> {
  return read((await page.evaluate(async () => (await fetch('/api/book')).json() as Promise<unknown>)) as BookState);
}
const stepNow = <N extends StepName>(name: N) =>
  bookNow((b) => b.joins[0]?.recipe.steps.find((s): s is Extract<RecipeStep, { step: N }> => s.step === name));
const step = (name: string): Locator => page.locator(`li.step[aria-label="${name}"]`);
const big = (): Locator => page.locator('.step-picture img').first();
/** The large picture's address: it is another one whenever a picture came. */
const address = (): Promise<string> => big().evaluate((i: HTMLImageElement) => i.src);
/** Mean R, G, B of a box of the picture that the service makes. */
async function meanOf(query: string, box: readonly [number, number, number, number]): Promise<number[]> {
  return page.evaluate(
    async ([q, [x, y, w, h]]) => {
      const bitmap = await createImageBitmap(await (await fetch(q)).blob());
      const c = document.createElement('canvas');
      c.width = bitmap.width;
      c.height = bitmap.height;
      const g = c.getContext('2d')!;
      g.drawImage(bitmap, 0, 0);
      const d = g.getImageData(x, y, w, h).data;
      const sum = [0, 0, 0];
      for (let i = 0; i < d.length; i += 4) for (let k = 0; k < 3; k++) sum[k] = sum[k]! + d[i + k]!;
      return sum.map((s) => (4 * s) / d.length);
    },
    [query, box] as const,
  );
}

describe.skipIf(CHROMIUM === undefined)("the join's sheet", () => {
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-sheet-'));
    await makeClip(join(folder, 'film.mp4'), FRAMES, (x, y, f, c) =>
      walks(x, y, f)
        ? [0.15, 0.2, 0.35][c]!
        : y < 24
          ? // Red and green as bright: a film whose colour hangs on brightness alone would take the guest's colours off.
            (x >> 5) & 1
            ? [0.62, 0.36, 0.4][c]!
            : [0.3, 0.47, 0.3][c]!
          : (y > 110 ? 0.42 : 0.55) + 0.12 * ((((x >> 4) + (y >> 4)) & 1) - 0.5) + 0.03 * c,
    );
    await makeClip(join(folder, 'guest.mp4'), FRAMES, (x, y, f, c) =>
      guest(x, y, f) ? [0.62, 0.5, 0.38][c]! : [0.2, 0.62, 0.25][c]!,
    );
    await makeClip(join(folder, 'other.mp4'), FRAMES, (x, y, f, c) =>
      guest(x, y, f)
        ? Math.hypot(x - 150 - f / 2, y - 80) < 12
          ? [0.7, 0.2, 0.2][c]!
          : [0.62, 0.5, 0.38][c]!
        : [0.2, 0.62, 0.25][c]!,
    );
    const book = await madeProduction(folder, 'Sheet', join(folder, 'film.mp4'), {
      id: 'street',
      title: 'Street',
      in: 0,
      out: FRAMES,
      marks: { frame: 0, marks: [{ kind: 'stand', ground: [230, 160], top: [230, 90], height: 0.5 }] },
    });
    await doJob(book, 'scan', 'film', {});
    for (const name of ['guest', 'other']) {
      const { id } = await addTake(book, join(folder, `${name}.mp4`), { pick: 'street' });
      const take = book.need('take', id);
      book.edit('marks', (e) =>
        e.put('take', {
          ...take,
          marks: { frame: 0, marks: [{ kind: 'performer', ground: [150, 143], top: [150, 57] }] },
        }),
      );
    }
    book.close();
    service = await listen(join(folder, 'production'), { port: 0 });
    base = `http://localhost:${service.port}/`;
    browser = await launchChromium();
    page = await browser.newPage({ viewport: { width: 1440, height: 900 } });
    page.setDefaultTimeout(120_000);
    await page.goto(`${base}#/sheet/street`);
    await page.getByRole('heading', { name: 'Takes and verdicts' }).waitFor();
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('proposes who walks through the plate, and takes the proposal as an upright', async () => {
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    await page.keyboard.press('Home');
    for (let i = 0; i < 10; i++) await page.keyboard.press('ArrowRight');
    await page.getByRole('button', { name: 'Propose marks' }).click();
    const who = page.locator('.proposals li', { hasText: /1\.7/ }).first();
    await who.waitFor(LONG);
    await who.getByRole('button', { name: 'Take it' }).click();
    await expect.poll(() => bookNow((b) => b.picks[0]!.marks.marks.filter((m) => m.kind === 'upright').length)).toBe(1);
    const upright = await bookNow((b) => b.picks[0]!.marks.marks.find((m) => m.kind === 'upright'));
    expect(upright).toMatchObject({ frame: 10, height: 1.7, foot: [expect.any(Number), expect.any(Number)] });
    const { foot, top } = upright as { foot: [number, number]; top: [number, number] };
    expect(Math.abs(foot[0] - 110)).toBeLessThan(8);
    expect(Math.abs(foot[1] - 150)).toBeLessThan(5);
    expect(Math.abs(top[1] - 66)).toBeLessThan(5);
    await page.keyboard.press('Escape');
    if (await page.locator('dialog.viewer').isVisible()) await page.keyboard.press('Escape');
    await page.getByRole('button', { name: 'Take back' }).click();
    await expect.poll(() => bookNow((b) => b.picks[0]!.marks.marks.length)).toBe(1);
  });

  it('marks a shadow of the plate on the performer, and it darkens there', async () => {
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    await page.getByRole('toolbar', { name: 'Marks' }).getByRole('button', { name: 'in shadow', exact: true }).click();
    const glass = (await page.locator('.sheet-of-glass svg').boundingBox())!;
    for (const [x, y] of [
      [200, 120],
      [260, 120],
      [260, 170],
      [200, 170],
    ] as const)
      await page.mouse.click(glass.x + (glass.width * x) / W, glass.y + (glass.height * y) / H);
    await page.getByRole('button', { name: 'Close the outline (Enter)' }).click();
    await expect.poll(() => bookNow((b) => b.picks[0]!.marks.marks.filter((m) => m.kind === 'shade').length)).toBe(1);
    await page.keyboard.press('Escape');
    if (await page.locator('dialog.viewer').isVisible()) await page.keyboard.press('Escape');
    await page
      .locator('.take-card')
      .filter({ has: page.getByRole('heading', { name: /^guest/ }) })
      .getByRole('button', { name: 'Build the join with it' })
      .click();
    await expect.poll(() => bookNow((b) => b.joins[0]?.render?.frames ?? 0), LONG).toBe(FRAMES);
    expect((await stepNow('ground'))?.onPerformer?.regions).toHaveLength(1);
    await step('ground')
      .getByText(/shadow lies on the performer where it was marked/)
      .waitFor();
    // Of the performer what lies in the outline is darker after the step, what lies over it is not.
    const inside = [222, 132, 14, 14] as const;
    const over = [222, 98, 14, 12] as const;
    const [before, after, beforeOver, afterOver] = [
      await meanOf('/api/preview/street/12?step=ground&view=before', inside),
      await meanOf('/api/preview/street/12?step=ground&view=after', inside),
      await meanOf('/api/preview/street/12?step=ground&view=before', over),
      await meanOf('/api/preview/street/12?step=ground&view=after', over),
    ];
    expect(after![0]!).toBeLessThan(0.85 * before![0]!);
    expect(Math.abs(afterOver![0]! - beforeOver![0]!)).toBeLessThan(3);
  });

  it('shows every step alone, before, after and wiped', async () => {
    const names = await bookNow((b) => b.joins[0]!.recipe.steps.map((s) => s.step));
    expect(names).toEqual(expect.arrayContaining(['peel', 'pace', 'ride', 'light', 'ground', 'air']));
    await expect.poll(() => page.locator('.step-picture img').count(), LONG).toBeGreaterThan(0);
    for (const name of names)
      for (const as of ['alone', 'before', 'after', 'wipe'] as const) {
        const last = await address();
        await step(name).getByRole('button', { name: as, exact: true }).click();
        await page
          .locator('.seen-words', {
            hasText: new RegExp(`${as === 'wipe' ? 'left before, right after' : as === 'alone' ? '' : as}.*${name}`),
          })
          .waitFor();
        if (as !== 'wipe') await expect.poll(address, LONG).not.toBe(last);
        else {
          await page.locator('.step-picture img.before').waitFor(LONG);
          // It stands at 230 of 320 columns: the wipe goes through it.
          expect(await page.locator('.wipe-edge').getAttribute('style')).toContain('left: 72%');
        }
        expect(await page.locator('.refused').count(), `${name} ${as}`).toBe(0);
      }
    await page.getByRole('button', { name: 'Whole recipe' }).click();
    await page.locator('.seen-words', { hasText: 'the whole recipe' }).waitFor();
    // Peeled alone the screen has gone: the corner is grey. Before the ride nobody
    // stands on the street yet, after it somebody does.
    const corner = await meanOf('/api/preview/street/12?step=peel&view=alone', [4, 4, 20, 20]);
    expect(Math.max(...corner) - Math.min(...corner)).toBeLessThan(4);
    const [without, placed] = [
      await meanOf('/api/preview/street/12?step=peel&view=before', [222, 110, 16, 20]),
      await meanOf('/api/preview/street/12?step=ride&view=after', [222, 110, 16, 20]),
    ];
    expect(Math.abs(without![2]! - placed![2]!)).toBeGreaterThan(5);
  });

  it('turns a control by keyboard and by number, refuses nonsense, and goes back to what was proposed', async () => {
    const light = step('light');
    const slider = light.getByLabel('exposure', { exact: true });
    const field = light.getByLabel('exposure, stops');
    const proposed = await field.inputValue();
    const last = await address();
    await slider.focus();
    for (let i = 0; i < 6; i++) await page.keyboard.press('ArrowRight');
    await expect.poll(address, LONG).not.toBe(last);
    const turned = await field.inputValue();
    expect(Number(turned) - Number(proposed)).toBeCloseTo(0.3, 1);
    await expect
      .poll(() => bookNow((b) => b.history.find((h) => !h.undone)?.title))
      .toBe(`light: exposure ${turned} stops`);
    // The keyboard takes it back while the slider has the focus: one edit for one
    // turning, a few where the machine was slow to press.
    const turns = await bookNow(
      (b) => b.history.filter((h) => !h.undone && h.title.startsWith('light: exposure')).length,
    );
    expect(turns).toBeLessThanOrEqual(6);
    for (let k = turns; k > 0; k--) {
      await page.keyboard.press('Control+KeyZ');
      await expect
        .poll(() => bookNow((b) => b.history.filter((h) => !h.undone && h.title.startsWith('light: exposure')).length))
        .toBe(k - 1);
    }
    await expect.poll(() => field.inputValue()).toBe(proposed);
    // An undo right after the key takes back this turning, and not the edit before it.
    const before = await bookNow((b) => b.history.filter((h) => !h.undone).length);
    await slider.press('ArrowRight');
    const answered = page.waitForResponse(/\/api\/undo$/);
    await page.keyboard.press('Control+KeyZ');
    await answered;
    expect(await bookNow((b) => b.history.find((h) => h.undone)?.title)).toMatch(/^light: exposure/);
    expect(await bookNow((b) => b.history.filter((h) => !h.undone).length)).toBe(before);
    // Nor is it kept once more when a hand would have rested on it.
    await page.waitForTimeout(900);
    expect(await bookNow((b) => b.history.filter((h) => !h.undone).length)).toBe(before);
    await expect.poll(() => field.inputValue()).toBe(proposed);
    // A page that is closed with a slider hardly at rest keeps what it was moved to.
    let kept = '';
    await inTime(page, async () => {
      await step('light').getByLabel('saturation', { exact: true }).press('ArrowLeft');
      kept = (await step('light').getByLabel('saturation, ×').inputValue()).trim();
      await page.goto('about:blank');
      await page.goto(`${base}#/sheet/street`);
    });
    await field.waitFor();
    await expect.poll(() => step('light').getByLabel('saturation, ×').inputValue()).toBe(kept);
    await expect.poll(() => bookNow((b) => b.history[0]!.title)).toBe(`light: saturation ${kept} ×`);
    await page.getByRole('button', { name: 'Take back' }).click();
    await expect.poll(() => bookNow((b) => b.history.filter((h) => !h.undone).length)).toBe(before);
    await field.fill('1,25');
    await field.press('Enter');
    await expect
      .poll(async () => {
        const s = await stepNow('light');
        return s === undefined ? 0 : Math.log2(0.2126 * s.slope[0] + 0.7152 * s.slope[1] + 0.0722 * s.slope[2]);
      })
      .toBeCloseTo(1.25, 2);
    // In the page's book too: what is refused goes back to that.
    await light.getByRole('button', { name: /^back to .* stops, as proposed$/ }).waitFor();
    await field.fill('12');
    await field.press('Enter');
    await light
      .getByRole('alert')
      .filter({ hasText: 'exposure is a number from -3 to 3; nothing was changed' })
      .waitFor();
    expect(await field.getAttribute('aria-invalid')).toBe('true');
    await field.press('Escape');
    await light.getByRole('alert').waitFor({ state: 'detached' });
    expect(await field.inputValue()).toBe('1.25');
    await light.getByRole('button', { name: /^back to .* stops, as proposed$/ }).click();
    await expect.poll(() => field.inputValue()).toBe(proposed);
    await light.getByRole('button', { name: /as proposed/ }).waitFor({ state: 'detached' });
    // A switch, and a step off and on again.
    await step('ground').getByLabel('contact shadow').uncheck();
    await expect.poll(async () => (await stepNow('ground'))?.contact).toBe(false);
    await step('ground').getByRole('button', { name: 'back to on, as proposed' }).click();
    await expect.poll(async () => (await stepNow('ground'))?.contact).toBe(true);
    await step('air').getByLabel('air on').uncheck();
    await step('air').getByText('Proposed on.').waitFor();
    await step('air').getByLabel('air on').check();
    await expect.poll(async () => (await stepNow('air'))?.on).toBe(true);
  });

  it('renders what a hand changed, and not the proposal over it', async () => {
    const field = step('light').getByLabel('saturation, ×');
    await field.fill('0.5');
    await field.press('Enter');
    await page.locator('#join .stale').waitFor();
    await page.getByRole('button', { name: 'Render at full quality' }).click();
    await page.locator('#join .stale').waitFor({ state: 'detached', ...LONG });
    expect((await stepNow('light'))?.saturation).toBe(0.5);
    expect((await stepNow('peel'))?.quality).toBe('fine');
    expect(await bookNow((b) => b.joins[0]!.render?.quality)).toBe('fine');
  });

  it('proposes a part of another take: off with the reason while nobody marked which, on when both are marked', async () => {
    const card = page.locator('.take-card').filter({ has: page.getByRole('heading', { name: /^guest/ }) });
    await card.getByLabel('with a part of').selectOption({ label: 'other' });
    await card.getByRole('button', { name: 'Build the join with it' }).click();
    // A hand's change is told, and stays where that is asked for.
    const ask = page.getByRole('group', { name: 'The join was changed by hand' });
    await ask.getByText('light: saturation 0.5 ×, proposed').waitFor();
    await page.keyboard.press('Escape');
    await ask.waitFor({ state: 'detached' });
    expect(await page.evaluate(() => document.activeElement?.textContent)).toBe('Build the join with it');
    await page.keyboard.press('Enter');
    await ask.getByRole('button', { name: 'Build it and keep these' }).click();
    await step('patch')
      .getByText(/add a patch mark/)
      .waitFor(LONG);
    expect((await stepNow('light'))?.saturation).toBe(0.5);
    expect((await stepNow('patch'))?.on).toBe(false);
    const mark = {
      kind: 'patch',
      frame: 0,
      polygon: [
        [132, 64],
        [168, 64],
        [168, 96],
        [132, 96],
      ],
    };
    for (const id of ['guest', 'other']) {
      const take = await bookNow((b) => b.takes.find((t) => t.id === id)!);
      await page.evaluate(
        async ([t, m]) => {
          await fetch('/api/edit', {
            method: 'POST',
            headers: { 'content-type': 'application/json' },
            body: JSON.stringify({
              title: 'patch',
              changes: [
                { do: 'put', kind: 'take', document: { ...t, marks: { frame: 0, marks: [...t.marks!.marks, m] } } },
              ],
            }),
          });
        },
        [take, mark] as const,
      );
    }
    await expect
      .poll(() => bookNow((b) => b.jobs.some((j) => j.state === 'running' || j.state === 'waiting')), LONG)
      .toBe(false);
    await card.getByRole('button', { name: 'Build the join with it' }).click();
    await ask.getByRole('button', { name: 'Build it without them' }).click();
    await expect.poll(async () => (await stepNow('patch'))?.on, LONG).toBe(true);
    expect((await stepNow('light'))?.saturation).not.toBe(0.5);
    await step('patch').getByText('onto the take').waitFor();
    await expect
      .poll(
        () =>
          bookNow(
            (b) =>
              !b.stale.renders.includes('street') &&
              !b.jobs.some((j) => j.state === 'running' || j.state === 'waiting'),
          ),
        LONG,
      )
      .toBe(true);
    // The other's red mouth comes along, and alone only that part is shown.
    const [guestFace, patched] = [
      await meanOf('/api/preview/street/0?step=peel&view=after', [145, 75, 10, 10]),
      await meanOf('/api/preview/street/0?step=patch&view=after', [145, 75, 10, 10]),
    ];
    expect(guestFace![0]! / guestFace![1]!).toBeLessThan(1.6);
    expect(patched![0]! / patched![1]!).toBeGreaterThan(guestFace![0]! / guestFace![1]! + 0.3);
  });

  it('says why a picture could not be made', async () => {
    await page.route('**/api/preview/**', (route) =>
      route.fulfill({
        status: 422,
        contentType: 'application/json',
        body: JSON.stringify({
          error: { code: 'PW-JOIN-SIZE', message: 'PW-JOIN-SIZE: the recipe was made for another take' },
        }),
      }),
    );
    await step('ride').getByRole('button', { name: 'after', exact: true }).click();
    await page.getByRole('alert').filter({ hasText: 'the recipe was made for another take' }).waitFor();
    await page.unroute('**/api/preview/**');
    await page.getByRole('button', { name: 'Whole recipe' }).click();
    await page.locator('.refused').waitFor({ state: 'detached', ...LONG });
  });
});
