/**
 * Measuring from a pick's sheet, what is said of numbers whose marks were changed since, and a pick's span. Each test
 * has a workbench of its own. Skips loudly where there is no Chromium; with PLATEWRIGHT_BROWSER=required a missing
 * browser fails.
 */
import type { Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import type { Mark } from '../../src/plate/marks/marks.js';
import { CHROMIUM, look } from './chromium.js';
import { Workbenches, type Workbench } from './own-workbench.js';

const UPRIGHT: Mark = { kind: 'upright', frame: 0, foot: [160, 162], top: [160, 54], height: 1.8 };
const LONG = { timeout: 300_000 };
let all: Workbenches, bench: Workbench, page: Page;

async function sheet(marks: readonly Mark[]): Promise<void> {
  bench = await all.open(marks);
  page = bench.page;
}

describe.skipIf(CHROMIUM === undefined)('measures in the workbench', () => {
  beforeAll(async () => {
    all = await Workbenches.prepare();
  });
  afterEach(async () => bench.close());
  afterAll(async () => all.close());

  it('measures from the page, with progress, and says what is older than the marks', async () => {
    await sheet([UPRIGHT]);
    await page.getByRole('button', { name: 'Measure the plate' }).click();
    // What is being done can be read, not only its bar: the words have a width.
    await page.locator('.job .stage', { hasText: '%' }).waitFor();
    expect((await page.locator('.job .stage').first().boundingBox())!.width).toBeGreaterThan(40);
    await page.getByRole('button', { name: 'Measure again' }).waitFor(LONG);
    // Numbers have their units and how sure they are.
    expect(await page.locator('.measure-columns').textContent()).toMatch(/px ± /);
    await page.getByRole('button', { name: 'Write the brief' }).click();
    await page.locator('.instructions li').first().waitFor(LONG);
    await look(page, 'sheet', false);
    const older = (part: string) => page.locator(`${part} .stale`, { hasText: 'changed since' });
    await expect.poll(() => older('main').count()).toBe(0);
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    await page.locator('.mark.upright path').dispatchEvent('click');
    await page.getByRole('button', { name: 'Remove (Del)' }).click();
    await page.locator('.mark.upright').waitFor({ state: 'detached' });
    await page.keyboard.press('Escape');
    await older('#measures').waitFor();
    await page.getByRole('button', { name: 'Measure again' }).click();
    await older('#measures').waitFor({ state: 'detached', ...LONG });
    await older('#brief').waitFor();
    expect(await page.locator('.measure-columns').textContent()).toMatch(/no mark tells how the camera looks/);
  });

  it("changes a pick's name and span, and its marks stay on their pictures", async () => {
    await sheet([UPRIGHT]);
    const pick = async () => (await bench.book()).picks[0]!;
    const before = await pick();
    await page.getByText('Name, span, action').click();
    await page.getByLabel('first frame of the film').fill(String(before.in + 2));
    await page.getByLabel('first frame of the film').press('Tab');
    await expect.poll(async () => (await pick()).in).toBe(before.in + 2);
    expect((await pick()).marks.marks.length).toBe(0);
    await page.getByRole('button', { name: 'Take back' }).click();
    await expect.poll(async () => (await pick()).marks.marks.length).toBe(1);
    await page.getByLabel('last frame', { exact: true }).fill('100000');
    await page.getByLabel('last frame', { exact: true }).press('Tab');
    await page.getByText('a span lies between frames').waitFor();
    expect((await pick()).out).toBe(before.out);
  });
});
