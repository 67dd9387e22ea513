/**
 * Marks in the workbench: by mouse, beside the picture and by the keyboard alone, proposed ones, one's numbers changed
 * afterwards, and where a carried performer sits. Each test has a workbench of its own. Skips loudly where there is no
 * Chromium; with PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import type { Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import type { Mark } from '../../src/plate/marks/marks.js';
import { CHROMIUM, look } from './chromium.js';
import { Workbenches, type Workbench } from './own-workbench.js';

const UPRIGHT: Mark = { kind: 'upright', frame: 0, foot: [160, 162], top: [160, 54], height: 1.8 };
let all: Workbenches, bench: Workbench, page: Page;

/** Opens the viewer for marks on a pick that has these. */
async function marking(marks: readonly Mark[] = []): Promise<void> {
  bench = await all.open(marks);
  page = bench.page;
  await page.getByRole('button', { name: 'Put marks on it' }).click();
  await page.locator('.sheet-of-glass svg').waitFor();
}
const marks = async (): Promise<readonly Mark[]> => (await bench.book()).picks[0]!.marks.marks;
const tool = (name: string) =>
  page.getByRole('toolbar', { name: 'Marks' }).getByRole('button', { name, exact: true }).click();
async function click(...points: readonly (readonly [number, number])[]): Promise<void> {
  for (const [x, y] of points) await page.mouse.click(...(await bench.onPicture(x, y)));
}

describe.skipIf(CHROMIUM === undefined)('marks in the workbench', () => {
  beforeAll(async () => {
    all = await Workbenches.prepare();
  });
  afterEach(async () => bench.close());
  afterAll(async () => all.close());

  it('draws marks with the mouse, moves one, and loses nothing on reload', async () => {
    await marking();
    await tool('upright');
    await page.locator('.tools input').fill('1,8');
    await click([160, 162], [160, 54]);
    await page.locator('.mark.upright').waitFor();
    await tool('erase');
    await click([32, 36], [96, 36], [96, 108]);
    await page.keyboard.press('Enter');
    await page.locator('.mark.erase').waitFor();
    // Put the tool away and drag the upright's top.
    await tool('erase');
    await page.mouse.move(...(await bench.onPicture(160, 54)));
    await page.mouse.down();
    await page.mouse.move(...(await bench.onPicture(166, 72)), { steps: 4 });
    await page.mouse.up();
    await expect
      .poll(async () => (await marks()).flatMap((m) => (m.kind === 'upright' ? [m.height, Math.round(m.top[1])] : [])))
      .toEqual([1.8, 72]);
    await look(page, 'marks', false);
    await page.reload();
    await page.getByText('2 marks: upright, erase').waitFor();
  });

  it('takes a carried performer’s place into the mark of what carries it, as one to be moved', async () => {
    await marking();
    await tool('rides on');
    await click([200, 60], [260, 60], [260, 120], [200, 120]);
    await page.keyboard.press('Enter');
    await page.locator('.mark.carry').waitFor();
    await tool('stands here');
    await page.getByLabel('its height, m').fill('0.4');
    await click([230, 70], [230, 30]);
    const carry = async () => (await marks()).flatMap((m) => (m.kind === 'carry' ? [m] : []));
    await expect.poll(async () => (await carry())[0]?.height).toBe(0.4);
    await bench.caughtUp();
    const [first] = await carry();
    expect((await marks()).map((m) => m.kind)).toEqual(['carry']);
    expect(Math.abs(first!.ground![1] - 70) + Math.abs(first!.top![1] - 30)).toBeLessThan(1);
    await tool('stands here');
    await page.mouse.move(...(await bench.onPicture(230, 30)));
    await page.mouse.down();
    await page.mouse.move(...(await bench.onPicture(230, 20)), { steps: 4 });
    await page.mouse.up();
    await expect.poll(async () => Math.round((await carry())[0]!.top![1])).toBe(20);
    await page.keyboard.press('Escape');
    await page.keyboard.press('Escape');
    await page.getByText('1 mark: rides on (carry)').waitFor();
  });

  it('puts points beside the picture, of what its edge cuts; the picture stays where it is', async () => {
    await marking();
    const where = () => page.locator('.sheet-of-glass svg').boundingBox();
    const before = await where();
    await tool('erase');
    await click([300, 40], [324, 40], [324, 100], [300, 100]);
    await page.keyboard.press('Enter');
    await page.locator('.mark.erase').waitFor();
    const polygon = (await marks()).flatMap((m) => (m.kind === 'erase' ? [m.polygon.map((p) => p[0])] : []))[0]!;
    expect(polygon.map(Math.round)).toEqual([300, 324, 324, 300]);
    expect(await where()).toEqual(before);
  });

  it('proposes marks on the frame in view and puts only what is taken', async () => {
    await marking();
    await page.getByRole('button', { name: 'Propose marks' }).click();
    await page.locator('.proposals li').first().waitFor();
    const offered = await page.locator('.proposals button', { hasText: 'Take it' }).count();
    expect((await marks()).length).toBe(0);
    if (offered > 0) {
      await page.locator('.proposals button', { hasText: 'Take it' }).first().click();
      await expect.poll(async () => (await marks()).length).toBe(1);
    }
  });

  it('gives a chosen mark its number afterwards, and takes it back in the viewer', async () => {
    await marking([UPRIGHT]);
    const height = async () => (await marks()).flatMap((m) => (m.kind === 'upright' ? [m.height] : []))[0];
    await page.locator('.mark.upright path').dispatchEvent('click');
    const chosen = page.getByRole('group', { name: 'The chosen mark' });
    await chosen.getByLabel('height, m').fill('nonsense');
    await chosen.getByLabel('height, m').press('Tab');
    await expect.poll(() => chosen.getByLabel('height, m').getAttribute('aria-invalid')).toBe('true');
    expect(await height()).toBe(1.8);
    await chosen.getByLabel('height, m').fill('2,05');
    await chosen.getByLabel('height, m').press('Tab');
    await expect.poll(height).toBe(2.05);
    await page.getByRole('dialog').getByRole('button', { name: 'Take back' }).click();
    await expect.poll(height).toBe(1.8);
    await page.keyboard.press('Escape');
    await page.getByRole('dialog').waitFor({ state: 'detached' });
  });

  it('has a known tone told by what it is, or by numbers of its own', async () => {
    await marking();
    await tool('known tone');
    await click([40, 40], [90, 40], [90, 90], [40, 90]);
    await page.keyboard.press('Enter');
    await page.locator('.mark.tone').waitFor();
    const tone = async () =>
      (await marks()).flatMap((m) =>
        m.kind === 'tone' ? [[m.reflects, m.sdStops, m.grey ?? false, m.upright ?? false]] : [],
      )[0];
    // Until it is said what it is it counts next to nothing.
    expect(await tone()).toEqual([0.3, 1.5, false, false]);
    const chosen = page.getByRole('group', { name: 'The chosen mark' });
    await chosen.getByLabel('it is').selectOption('light skin');
    await expect.poll(tone).toEqual([0.34, 0.4, false, false]);
    await chosen.getByLabel('stands upright, facing the camera').check();
    await expect.poll(tone).toEqual([0.34, 0.4, false, true]);
    await chosen.getByLabel(/^share of light thrown back/).fill('0,3');
    await chosen.getByLabel(/^share of light thrown back/).press('Tab');
    await expect.poll(tone).toEqual([0.3, 0.4, false, true]);
    await expect.poll(() => chosen.getByLabel('it is').inputValue()).toBe('');
    await look(page, 'known-tone', false);
  });

  it('asks for the height of the next mark once one is put, and says whether a rectangle lies or stands', async () => {
    await marking();
    await tool('upright');
    await page.getByLabel('its height, m').fill('1.4');
    await click([60, 150], [60, 60]);
    const next = page.getByLabel('height of the next one, m');
    await next.waitFor();
    expect(await next.inputValue()).toBe('');
    await click([120, 150], [120, 60]);
    await expect
      .poll(async () => (await marks()).flatMap((m) => (m.kind === 'upright' ? [m.height ?? null] : [])))
      .toEqual([1.4, null]);
    await tool('rectangle');
    await click([200, 40], [260, 40], [260, 100], [200, 100]);
    const plane = page.getByRole('group', { name: 'The chosen mark' }).getByRole('combobox', { name: /^it/ });
    const said = async () => (await marks()).flatMap((m) => (m.kind === 'rectangle' ? [m.plane ?? null] : []));
    await expect.poll(said).toEqual([null]);
    await plane.selectOption({ label: 'stands upright' });
    await expect.poll(said).toEqual(['wall']);
    await plane.selectOption({ label: 'lies or stands: guess' });
    await expect.poll(said).toEqual([null]);
  });

  it('copies an outline to the frame in view, where its points are dragged', async () => {
    await marking();
    await tool('in front');
    await click([60, 60], [80, 60], [80, 120], [60, 120]);
    await page.keyboard.press('Enter');
    const chosen = page.getByRole('group', { name: 'The chosen mark' });
    await chosen.getByRole('button', { name: 'Go to frame 0' }).waitFor();
    expect(await chosen.getByRole('button', { name: /^Copy it/ }).count()).toBe(0);
    await page.keyboard.press('Escape');
    for (let i = 0; i < 3; i++) await page.keyboard.press('ArrowRight');
    await chosen.getByRole('button', { name: 'Copy it to frame 3' }).click();
    const fronts = async () =>
      (await marks()).flatMap((m) => (m.kind === 'front' ? [{ frame: m.frame, x: m.polygon.map((p) => p[0]) }] : []));
    await expect.poll(async () => (await fronts()).map((f) => f.frame)).toEqual([0, 3]);
    await bench.caughtUp();
    await page.mouse.move(...(await bench.onPicture(80, 60)));
    await page.mouse.down();
    await page.mouse.move(...(await bench.onPicture(110, 60)), { steps: 4 });
    await page.mouse.up();
    await expect.poll(async () => Math.round((await fronts())[1]!.x[1]!)).toBe(110);
    expect(Math.round((await fronts())[0]!.x[1]!)).toBe(80);
  });

  it('is left by the browser’s back button, which leaves the page where it is', async () => {
    bench = await all.open([]);
    page = bench.page;
    const dialog = page.getByRole('dialog');
    const marking = () => page.getByRole('button', { name: 'Put marks on it' }).click();
    await page.goto(`${bench.base}#/wall`);
    await page.getByRole('link', { name: '1. Shot 1' }).click();
    await marking();
    await dialog.waitFor();
    await page.goBack();
    await dialog.waitFor({ state: 'detached' });
    expect(page.url()).toMatch(/#\/sheet\/shot-1$/);
    // Closed by its own button it leaves nothing behind to go back to.
    await marking();
    await dialog.getByRole('button', { name: 'Close' }).click();
    await dialog.waitFor({ state: 'detached' });
    await expect.poll(() => page.evaluate(() => (history.state as { viewer?: boolean } | null)?.viewer)).not.toBe(true);
    await page.goBack();
    await page.getByRole('heading', { name: 'Picks in story order' }).waitFor();
    // No viewer stays open over another page.
    await page.goForward();
    await marking();
    await dialog.waitFor();
    await page.goto(`${bench.base}#/day`);
    await page.getByRole('heading', { name: 'Shoot day', exact: true }).waitFor();
    expect(await dialog.count()).toBe(0);
  });

  it('draws a mark by the keyboard alone, and begins a second one on a point of the first', async () => {
    bench = await all.open([]);
    page = bench.page;
    await page.getByRole('button', { name: 'Put marks on it' }).focus();
    await page.keyboard.press('Enter');
    await page.getByRole('button', { name: 'upright', exact: true }).focus();
    await page.keyboard.press('Enter');
    // The first arrow shows the crosshair in the middle (160, 90); with shift it goes 10 px.
    await page.keyboard.press('ArrowRight');
    for (let i = 0; i < 3; i++) await page.keyboard.press('Shift+ArrowDown');
    for (let i = 0; i < 4; i++) await page.keyboard.press('ArrowLeft');
    await page.keyboard.press(' ');
    for (let i = 0; i < 7; i++) await page.keyboard.press('Shift+ArrowUp');
    await page.keyboard.press(' ');
    await expect.poll(marks).toMatchObject([{ kind: 'upright', foot: [156, 120], top: [156, 50] }]);
    await bench.caughtUp();
    // A click on the upright's foot with another tool in hand puts a point there and moves nothing.
    await tool('shadow');
    await click([157, 120], [220, 140]);
    await expect
      .poll(async () => (await marks()).flatMap((m) => (m.kind === 'shadow' ? [m.foot] : [])))
      .toEqual([[156, 120]]);
    expect((await marks())[0]).toMatchObject({ foot: [156, 120] });
    expect((await bench.book()).history[0]!.title).toBe('mark shadow');
    // Out of a field by Escape, then out of the tool, then out of the viewer.
    await page.locator('.chosen input').first().focus();
    for (let i = 0; i < 3; i++) await page.keyboard.press('Escape');
    await page.locator('dialog.viewer').waitFor({ state: 'detached' });
  });
});
