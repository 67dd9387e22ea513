/**
 * One frame of a join's recipe as it stands or as it is being changed, for the sheet. Renderers stay open for the last few
 * joins, so that a change of one number costs one frame and no set-up.
 */
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import type { JoinRenderer } from '../join/render.js';
import { stepNumber, withStepNumber } from '../join/step-numbers.js';
import { STEP_ORDER, type Recipe, type RecipeStep, type StepName } from '../join/types.js';
import { liveRecipe, openJoin } from '../jobs/join-parts.js';
import { encodeJpeg } from './frame-store.js';

interface Kept { readonly pick: string; readonly renderer: Promise<JoinRenderer>; queue: Promise<unknown> }

const kept: WeakMap<Book, Kept[]> = new WeakMap();
const MOST = 2;

function stepName(text: string | undefined): StepName | undefined {
  if (text === undefined || text === '') return undefined;
  const s = STEP_ORDER.find((n) => n === text);
  if (s === undefined) throw new PlatewrightError('PW-JOIN-STEP', `there is no step "${text}"; the steps are ${STEP_ORDER.join(', ')}`, { kind: 'usage' });
  return s;
}

/** The recipe of a join with some numbers of its steps changed (`"ground.azimuthDeg": 30`), as a slider does while it moves. */
function drafted(recipe: Recipe, changes: Readonly<Record<string, number>>): Recipe {
  let steps: readonly RecipeStep[] = recipe.steps;
  for (const [name, value] of Object.entries(changes)) {
    const [step, ...key] = name.split('.'), path = key.join('.'), found = steps.find((s) => s.step === step);
    if (found === undefined || stepNumber(found, path) === undefined || !Number.isFinite(value)) throw new PlatewrightError('PW-JOIN-STEP', `the recipe has no number "${name}" to change`, { kind: 'usage' });
    steps = steps.map((s) => (s === found ? withStepNumber(s, path, value) : s));
  }
  return { ...recipe, steps };
}

/** An open renderer for the recipe: one that is open already where only spill, light, ground, front or air differ. */
async function rendererFor(book: Book, pick: string, recipe: Recipe): Promise<{ kept: Kept; renderer: JoinRenderer }> {
  let list = kept.get(book);
  if (list === undefined) kept.set(book, (list = []));
  for (const k of list.filter((x) => x.pick === pick)) {
    const renderer = (await k.renderer.catch(() => null))?.under(recipe) ?? null;
    if (renderer !== null) return { kept: k, renderer };
  }
  const opened = openJoin(book, pick);
  const entry: Kept = { pick, renderer: opened, queue: Promise.resolve() };
  opened.catch(() => { const i = list.indexOf(entry); if (i >= 0) list.splice(i, 1); });
  list.push(entry);
  while (list.length > MOST) {
    const old = list.shift()!;
    void old.queue.then(() => old.renderer).then((r) => r.close(), () => undefined);
  }
  const base = await opened;
  const renderer = base.under(recipe);
  if (renderer === null) throw new PlatewrightError('PW-JOIN-STEP', 'only the spill and numbers of the steps after the peel can be tried out without being kept; keep the change first', { kind: 'usage' });
  return { kept: entry, renderer };
}

/** JPEG of frame `n` (from the pick's first frame); `changes` are numbers tried out and not in the book. */
export async function previewFrame(book: Book, pick: string, n: number, o: { step?: string | undefined; alone?: boolean; upTo?: string | undefined; off?: readonly string[]; width?: number | undefined; changes?: Readonly<Record<string, number>> }): Promise<Buffer> {
  const alone = o.alone === true ? stepName(o.step) : undefined;
  const upTo = stepName(o.upTo);
  const off = new Set((o.off ?? []).map((s) => stepName(s)));
  const recipe = drafted(await liveRecipe(book, book.need('join', pick)), o.changes ?? {});
  const { kept: k, renderer } = await rendererFor(book, pick, recipe);
  // One frame at a time on a renderer: its buffers are shared between frames.
  const run = k.queue.then(async () => {
    const frame = await renderer.frame(renderer.recipe.plate.in + n, { ...(alone === undefined ? {} : { alone }), ...(upTo === undefined ? {} : { upTo }), ...(off.size === 0 ? {} : { steps: STEP_ORDER.filter((s) => !off.has(s)) }) });
    return encodeJpeg(frame.coded(), o.width);
  });
  k.queue = run.catch(() => undefined);
  return run;
}
