/** Makes the reveal of the rendered joins: plate, take, the performer alone, placed, lit, grounded, finished. */
import { mkdirSync } from 'node:fs';
import type { Book } from '../../book/book.js';
import type { JoinDocument } from '../../book/documents.js';
import { takePath } from '../../book/take-place.js';
import { PlatewrightError } from '../../core/errors.js';
import { framesPerSecond } from '../../core/rational.js';
import { loadFace } from '../../cut/lettering.js';
import {
  renderReveal,
  revealSize,
  shortTitle,
  type RevealOptions,
  type RevealPart,
  type RevealStage,
} from '../../cut/reveal.js';
import type { JoinRenderer } from '../../join/render/render.js';
import type { PatchStep } from '../../join/performer-steps.js';
import { STEP_ORDER, type FrontStep, type GroundStep, type Recipe, type StepName } from '../../join/types.js';
import type { StepChoice } from '../../join/render/active-steps.js';
import { toCodedRgb } from '../../media/convert.js';
import { VideoReader } from '../../media/video-reader.js';
import { VideoWriter } from '../../media/video-writer.js';
import type { JobWorker } from '../run-job.js';
import { openJoin } from '../join-parts.js';

/** Steps that add something to see, in order, with what the audience reads. */
const CAPTIONS: readonly (readonly [StepName, string])[] = [
  ['erase', 'what must go is taken out'],
  ['widen', 'the picture is made wider'],
  ['ride', 'placed, and moved with the film'],
  ['light', 'in the film’s light'],
  ['ground', 'shadow on the film’s ground'],
  ['front', 'behind what stands in front'],
  ['air', 'with the film’s grain and softness'],
];

/** What the audience reads of a part that is laid on, and the step up to which the picture is then built. */
const PATCH_CAPTIONS = {
  take: ['ride', 'with a part of another take'],
  plate: ['patch', 'with the film’s own from another moment'],
  join: ['air', 'with a part of the film’s own actor'],
} as const satisfies Record<NonNullable<PatchStep['onto']>, readonly [StepName, string]>;

/** What the audience reads of a ground step, which may lay no shadow; null where it lays nothing. */
export function groundCaption(s: Pick<GroundStep, 'shadow' | 'contact' | 'reflection'>): string | null {
  if (s.shadow) return 'shadow on the film’s ground';
  if (s.contact) return 'standing on the film’s ground';
  return s.reflection === undefined ? null : 'mirrored in the film’s ground';
}

/** What the audience reads of a front step; null where it only keeps the black bars round the picture free. */
export function frontCaption(s: Pick<FrontStep, 'region' | 'also' | 'pane'>): string | null {
  return s.region === null && (s.also ?? []).length === 0 && s.pane === null ? null : 'behind what stands in front';
}

/** The job `reveal`, into delivered/reveal.mp4: `spec.picks` (ids; all that are rendered), in the story's order. */
export const revealWorker: JobWorker = async ({ book, job, progress, signal }) => {
  const wanted = Array.isArray(job.spec['picks']) ? new Set(job.spec['picks'] as string[]) : null;
  const open: { close(): Promise<void> }[] = [];
  try {
    const parts: RevealPart[] = [];
    let widthPx = 0;
    let heightPx = 0;
    let rate = null as JoinRenderer['rate'] | null;
    for (const j of joinsInStory(book, wanted)) {
      const renderer = await openJoin(book, j.id);
      open.push(renderer);
      const take = await VideoReader.open(takePath(book, book.need('take', j.take)));
      open.push(take);
      widthPx = Math.max(widthPx, renderer.plateInfo.widthPx);
      heightPx = Math.max(heightPx, renderer.plateInfo.heightPx);
      rate ??= renderer.rate;
      const { title } = book.need('pick', j.id);
      const { in: first, out } = j.recipe.plate;
      parts.push({ title, frames: out - first, stages: stagesOf(j, title, renderer, take) });
    }
    mkdirSync(book.insidePath('delivered'), { recursive: true });
    mkdirSync(book.cachePath('reveal'), { recursive: true });
    const file = book.insidePath('delivered', 'reveal.mp4');
    const frames = await writeReveal(file, parts, {
      widthPx: widthPx - (widthPx % 2),
      heightPx,
      rate: rate!,
      scratch: book.cachePath('reveal', `${job.id}.rgb`),
      framesPerSecond: framesPerSecond(rate!),
      secondsAStage: typeof job.spec['secondsAStage'] === 'number' ? job.spec['secondsAStage'] : 1.2,
      signal,
      progress: (d, t) => progress(d, t, 'building it up'),
    });
    const stored = book.storedPath(file);
    book.edit('make the reveal', (e) =>
      e.put('delivery', { id: 'reveal', at: new Date().toISOString(), files: [stored], report: { frames } }),
    );
    return { file: stored, frames };
  } finally {
    for (const o of open) await o.close();
  }
};

/** The joins wanted (null: all) in the order of the story. Throws `PW-REVEAL-EMPTY` where there is none. */
function joinsInStory(book: Book, wanted: ReadonlySet<string> | null): JoinDocument[] {
  const joins = book
    .list('join')
    .filter((j) => (wanted === null || wanted.has(j.id)) && book.get('pick', j.id) !== null);
  if (joins.length === 0)
    throw new PlatewrightError(
      'PW-REVEAL-EMPTY',
      `${wanted === null ? 'no pick is joined yet' : `${[...wanted].join(', ')}: not joined yet`}, ` +
        'so there is nothing to reveal: build a join on a pick’s sheet (“platewright join PICK”) first',
      { kind: 'usage' },
    );
  return joins.sort((a, b) => book.need('pick', a.id).order - book.need('pick', b.id).order);
}

/** The film's shot, the take, and what each of the recipe's steps adds. */
function stagesOf(join: JoinDocument, title: string, renderer: JoinRenderer, take: VideoReader): RevealStage[] {
  const { plate } = join.recipe;
  const lastFrame = take.info.frameCount - 1;
  const stages: RevealStage[] = [
    {
      caption: `${shortTitle(title)}: the film's shot`,
      frame: async (n) => (await renderer.frame(plate.in + n, { steps: [] })).coded(),
    },
    {
      caption: 'the take at home',
      frame: async (n) =>
        toCodedRgb(await take.frame(Math.min(lastFrame, Math.round(renderer.takeFrameOf(plate.in + n))))),
    },
  ];
  for (const { caption, choice } of builtUp(join.recipe))
    stages.push({ caption, frame: async (n) => (await renderer.frame(plate.in + n, choice)).coded() });
  return stages;
}

/** A stage of the build-up: what the audience reads, and which steps its picture has. */
interface BuiltUp {
  readonly caption: string;
  readonly choice: StepChoice;
}

/**
 * What is built up after another, and what each of it adds. A part that is laid on (`patch`) has a stage of its own:
 * before that the picture is without it.
 */
export function builtUp({ steps }: Pick<Recipe, 'steps'>): BuiltUp[] {
  const on = steps.filter((s) => s.on),
    ground = on.find((s) => s.step === 'ground'),
    front = on.find((s) => s.step === 'front'),
    patch = on.find((s): s is PatchStep => s.step === 'patch'),
    [at, words] = patch === undefined ? [null, ''] : PATCH_CAPTIONS[patch.onto ?? 'take'],
    bare = STEP_ORDER.filter((s) => s !== 'patch'),
    out: BuiltUp[] = [];
  let laid = patch === undefined;
  const lay = (): void => {
    if (!laid && at !== null)
      out.push({ caption: words, choice: at === 'patch' ? { steps: ['erase', 'widen', 'patch'] } : { upTo: at } });
    laid = true;
  };
  for (const [step, usual] of CAPTIONS) {
    // Laid onto the plate it comes before what follows in the recipe's order.
    if (at === 'patch' && STEP_ORDER.indexOf(step) > STEP_ORDER.indexOf('patch')) lay();
    const caption =
      step === 'ground' && ground !== undefined
        ? groundCaption(ground)
        : step === 'front' && front !== undefined
          ? frontCaption(front)
          : usual;
    if (on.some((s) => s.step === step) && caption !== null)
      out.push({ caption, choice: laid ? { upTo: step } : { upTo: step, steps: bare } });
    if (at === step) lay();
  }
  return out;
}

/** Writes the reel; a failure leaves no half of one. How many frames it has. */
async function writeReveal(
  file: string,
  parts: readonly RevealPart[],
  options: RevealOptions & { readonly rate: JoinRenderer['rate'] },
): Promise<number> {
  const { rate } = options;
  const writer = await VideoWriter.open(file, { ...revealSize(options), rate, codec: 'h264', crf: 19 });
  try {
    const frames = await renderReveal(parts, writer, { regular: loadFace('regular'), bold: loadFace('bold') }, options);
    await writer.close();
    return frames;
  } catch (error) {
    await writer.abort();
    throw error;
  }
}
