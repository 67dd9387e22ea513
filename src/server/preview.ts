/**
 * One frame of a join's recipe as it stands, for the sheet. Renderers stay open for the last few recipes, so that a change of
 * one number costs one frame and no set-up.
 */
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { resize } from '../image/resize.js';
import type { JoinRenderer } from '../join/render.js';
import { STEP_ORDER, type StepName } from '../join/types.js';
import { openJoin } from '../jobs/join-parts.js';
import { recipeHash } from '../jobs/workers/join.js';
import { encodeJpeg } from './frame-store.js';

interface Kept { readonly key: string; readonly renderer: Promise<JoinRenderer>; queue: Promise<unknown> }

const kept: WeakMap<Book, Kept[]> = new WeakMap();
const MOST = 2;

function stepName(text: string | undefined): StepName | undefined {
  if (text === undefined || text === '') return undefined;
  const s = STEP_ORDER.find((n) => n === text);
  if (s === undefined) throw new PlatewrightError('PW-JOIN-STEP', `there is no step "${text}"; the steps are ${STEP_ORDER.join(', ')}`, { kind: 'usage' });
  return s;
}

function rendererOf(book: Book, pick: string): Kept {
  const join = book.need('join', pick);
  const key = `${pick}|${join.take}|${recipeHash(join.recipe)}`;
  let list = kept.get(book);
  if (list === undefined) kept.set(book, (list = []));
  let found = list.find((k) => k.key === key);
  if (found === undefined) {
    found = { key, renderer: openJoin(book, pick), queue: Promise.resolve() };
    found.renderer.catch(() => { const i = list.findIndex((k) => k.key === key); if (i >= 0) list.splice(i, 1); });
    list.push(found);
    while (list.length > MOST) {
      const old = list.shift()!;
      void old.queue.then(() => old.renderer).then((r) => r.close(), () => undefined);
    }
  }
  return found;
}

/** JPEG of frame `n` (from the pick's first frame). */
export async function previewFrame(book: Book, pick: string, n: number, o: { step?: string | undefined; alone?: boolean; upTo?: string | undefined; off?: readonly string[]; width?: number | undefined }): Promise<Buffer> {
  const alone = o.alone === true ? stepName(o.step) : undefined;
  const upTo = stepName(o.upTo);
  const off = new Set((o.off ?? []).map((s) => stepName(s)));
  const k = rendererOf(book, pick);
  // One frame at a time on a renderer: its buffers are shared between frames.
  const run = k.queue.then(async () => {
    const renderer = await k.renderer;
    const frame = await renderer.frame(renderer.recipe.plate.in + n, { ...(alone === undefined ? {} : { alone }), ...(upTo === undefined ? {} : { upTo }), ...(off.size === 0 ? {} : { steps: STEP_ORDER.filter((s) => !off.has(s)) }) });
    const coded = frame.coded();
    return o.width !== undefined && o.width < coded.width ? resize(coded, o.width, Math.max(1, Math.round((coded.height * o.width) / coded.width)), 'area') : coded;
  });
  k.queue = run.catch(() => undefined);
  return encodeJpeg(await run);
}
