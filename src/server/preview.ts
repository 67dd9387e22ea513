/**
 * One frame of a join's recipe as it stands or as it is being changed, for the sheet. Renderers stay open for the last
 * few joins, so that a change of one number costs one frame and no set-up.
 */
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import type { Picture } from '../image/picture.js';
import type { StepChoice } from '../join/render/active-steps.js';
import type { JoinRenderer } from '../join/render/render.js';
import { stepNumber, withStepNumber } from '../join/step-numbers.js';
import { STEP_ORDER, type Recipe, type RecipeStep, type StepName } from '../join/types.js';
import { liveRecipe, openJoin } from '../jobs/join-parts.js';
import { encodeJpeg } from './frame-store.js';

interface Kept {
  readonly pick: string;
  readonly renderer: Promise<JoinRenderer>;
  queue: Promise<unknown>;
  /** Pictures that are being made or wait. */
  busy: number;
  /** Another recipe came while it was busy: what it has not begun is not made any more. */
  dropped: boolean;
}

const kept: WeakMap<Book, Kept[]> = new WeakMap();
const MOST = 2;

function stepName(text: string | undefined): StepName | undefined {
  if (text === undefined || text === '') return undefined;
  const s = STEP_ORDER.find((n) => n === text);
  if (s === undefined)
    throw new PlatewrightError('PW-JOIN-STEP', `there is no step "${text}"; the steps are ${STEP_ORDER.join(', ')}`, {
      kind: 'usage',
    });
  return s;
}

/**
 * The recipe of a join with some numbers of its steps changed (`"ground.azimuthDeg":
 * 30`), as a slider does while it moves.
 */
function drafted(recipe: Recipe, changes: Readonly<Record<string, number>>): Recipe {
  let steps: readonly RecipeStep[] = recipe.steps;
  for (const [name, value] of Object.entries(changes)) {
    const [step, ...key] = name.split('.');
    const path = key.join('.');
    const found = steps.find((s) => s.step === step);
    if (found === undefined || stepNumber(found, path) === undefined || !Number.isFinite(value))
      throw new PlatewrightError('PW-JOIN-STEP', `the recipe has no number "${name}" to change`, { kind: 'usage' });
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
  // A plate may be mended for minutes, and nobody waits for the recipe as it was. What is idle stays, for an undo.
  for (const k of list.filter((x) => x.pick === pick && x.busy > 0)) {
    list.splice(list.indexOf(k), 1);
    k.dropped = true;
    void k.renderer.then(
      (r) => r.leaveMending(),
      () => undefined,
    );
    closeAfterwards(k);
  }
  const opened = openJoin(book, pick, true);
  const entry: Kept = { pick, renderer: opened, queue: Promise.resolve(), busy: 0, dropped: false };
  opened.catch(() => {
    const i = list.indexOf(entry);
    if (i >= 0) list.splice(i, 1);
  });
  list.push(entry);
  while (list.length > MOST) closeAfterwards(list.shift()!);
  const base = await opened;
  const renderer = base.under(recipe);
  if (renderer === null)
    throw new PlatewrightError(
      'PW-JOIN-STEP',
      'only the spill and numbers of the steps after the peel can be tried out without being kept; ' +
        'keep the change first',
      { kind: 'usage' },
    );
  return { kept: entry, renderer };
}

/** Closes what is no longer kept, once the pictures asked of it are made or left off. */
function closeAfterwards(k: Kept): void {
  void k.queue
    .then(() => k.renderer)
    .then(
      (r) => r.close(),
      () => undefined,
    );
}

/** How a step is looked at: by itself on grey, or the picture just before it and just after it. */
export type StepView = 'alone' | 'before' | 'after';

/**
 * Steps that change the plate or cover the performer: alone they are what they changed, on grey; ground is how much it
 * darkened or lightened a grey. The others are the performer as it is after them.
 */
const BY_CHANGE: ReadonlySet<StepName> = new Set(['erase', 'widen', 'patch', 'ground', 'front']);
/** Coded difference that shows: half of a code value in eight bits. */
const SHOWS = 0.5 / 255;
/** Codes so low are noise over noise. */
const LEAST = 0.02;

interface PreviewOptions {
  readonly step?: string | undefined;
  readonly view?: string | undefined;
  readonly off?: readonly string[];
  readonly width?: number | undefined;
  readonly changes?: Readonly<Record<string, number>>;
  /** A hand moves, and the picture is asked for again when it rests. */
  readonly soon?: boolean;
}

/**
 * JPEG of frame `n` (from the pick's first frame) of the whole recipe, or of one step;
 * `changes` are numbers tried out and not in the book.
 */
export async function previewFrame(book: Book, pick: string, n: number, o: PreviewOptions): Promise<Buffer> {
  const step = stepName(o.step);
  const view = viewOf(o.view, step);
  const off = new Set((o.off ?? []).map((s) => stepName(s)));
  const recipe = drafted(await liveRecipe(book, book.need('join', pick)), o.changes ?? {});
  const { kept: k, renderer } = await rendererFor(book, pick, recipe);
  const at = renderer.recipe.plate.in + n;
  const left = off.size === 0 ? {} : { steps: STEP_ORDER.filter((s) => !off.has(s)) };
  // A part of the plate that goes onto the joined performer is laid last of all.
  const patches = recipe.steps.filter((s) => s.step === 'patch' && s.on);
  const last = step === 'patch' && patches.length > 0 && patches.every((s) => s.step === 'patch' && s.onto === 'join');
  // The steps before one: none before the first.
  const before: StepChoice =
    step === undefined
      ? {}
      : last
        ? { steps: STEP_ORDER.filter((s) => s !== 'patch' && !off.has(s)) }
        : STEP_ORDER[0] === step
          ? { steps: [] }
          : { ...left, upTo: STEP_ORDER[STEP_ORDER.indexOf(step) - 1]! };
  const after: StepChoice = step === undefined || last ? left : { ...left, upTo: step };
  const made = (choice: StepChoice): ReturnType<JoinRenderer['frame']> => renderer.frame(at, choice, o.soon);
  // One frame at a time on a renderer: its buffers are shared between frames.
  k.busy++;
  const run = k.queue.then(async () => {
    if (k.dropped)
      throw new PlatewrightError(
        'PW-JOIN-CHANGED',
        'the join was changed meanwhile; ask for the picture as it is now',
        {
          kind: 'finding',
        },
      );
    if (step === undefined) return encodeJpeg((await made(left)).coded(), o.width);
    if (view === 'before') return encodeJpeg((await made(before)).coded(), o.width);
    if (view === 'after') return encodeJpeg((await made(after)).coded(), o.width);
    if (!BY_CHANGE.has(step)) return encodeJpeg((await made({ ...left, alone: step })).coded(), o.width);
    const was = (await made(before)).coded();
    const is = (await made(after)).coded();
    return encodeJpeg(step === 'ground' ? ratioOnGrey(was, is) : changedOnGrey(was, is), o.width);
  });
  k.queue = run.then(
    () => void k.busy--,
    () => void k.busy--,
  );
  return run;
}

function viewOf(text: string | undefined, step: StepName | undefined): StepView {
  if (step === undefined) return 'after';
  if (text === undefined || text === 'alone' || text === 'before' || text === 'after') return text ?? 'after';
  throw new PlatewrightError('PW-JOIN-STEP', `a step is seen alone, before or after, not "${text}"`, { kind: 'usage' });
}

/** `is`, in place, with mid grey wherever it shows what `was` does. Pictures of one size. */
function changedOnGrey(was: Picture, is: Picture): Picture {
  const n = is.width * is.height;
  for (let i = 0; i < n; i++) {
    if (
      Math.abs(is.data[i]! - was.data[i]!) > SHOWS ||
      Math.abs(is.data[n + i]! - was.data[n + i]!) > SHOWS ||
      Math.abs(is.data[2 * n + i]! - was.data[2 * n + i]!) > SHOWS
    )
      continue;
    is.data[i] = is.data[n + i] = is.data[2 * n + i] = 0.5;
  }
  return is;
}

/**
 * Mid grey times what `is` has over `was`, in place: as codes follow a power of the light, a
 * share of the light is the same share everywhere.
 */
function ratioOnGrey(was: Picture, is: Picture): Picture {
  for (let i = 0; i < 3 * is.width * is.height; i++)
    is.data[i] = Math.min(1, (0.5 * (is.data[i]! + LEAST)) / (was.data[i]! + LEAST));
  return is;
}
