/**
 * The reveal: builds a join up step by step for the audience. Each stage plays the same moment of the shot and is wiped
 * in by a travelling line over the stage before; its caption stands on a strip below the picture, for shadows and feet
 * are what is to be seen. Ends with plate and join side by side. The pictures are made moment by moment, all stages of
 * one together, for the performer of a moment is peeled once; they wait in a scratch file for their turn.
 */
import type { Typeface } from '../core/typefaces.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { resize } from '../image/resize.js';
import type { PictureSink } from './assemble.js';
import { fitInto } from './assemble.js';
import { KeptPictures } from './kept-pictures.js';
import { fitLine, renderLines, type Face } from './lettering.js';

/** One step of building up a shot. */
export interface RevealStage {
  readonly caption: string;
  /** Display-coded picture of the stage at a frame of the shot. */
  frame(n: number): Promise<Picture>;
}

/** A shot that is built up. */
export interface RevealPart {
  readonly title: string;
  readonly frames: number;
  readonly stages: readonly RevealStage[];
}

/** How the reel is made. */
export interface RevealOptions {
  /** Size of the pictures; the reel's is `revealSize` of it. */
  readonly widthPx: number;
  readonly heightPx: number;
  readonly framesPerSecond: number;
  /** Seconds a stage stands, its wipe included. */
  readonly secondsAStage?: number;
  /** File in which pictures wait; it is removed at the end. */
  readonly scratch: string;
  readonly progress?: (done: number, total: number) => void;
  readonly signal?: AbortSignal;
}

/** A title as it stands in a caption: what is said after it is to be read too. */
export function shortTitle(title: string): string {
  const letters = [...title];
  return letters.length > 36 ? `${letters.slice(0, 35).join('').trimEnd()}…` : title;
}

/** Size of the reel: the pictures' and the strip of the captions below them; even, as H.264 needs it. */
export function revealSize(picture: { readonly widthPx: number; readonly heightPx: number }): {
  widthPx: number;
  heightPx: number;
} {
  return { widthPx: picture.widthPx - (picture.widthPx % 2), heightPx: 2 * Math.round((1.12 * picture.heightPx) / 2) };
}

/** The picture with its caption below: light letters on dark. */
function captioned(p: Picture, coverage: Float32Array, heightPx: number): Picture {
  const out = createPicture(p.width, heightPx, 3);
  for (let c = 0; c < 3; c++) {
    const q = plane(out, c);
    q.set(plane(p, c));
    for (let i = p.height * p.width; i < q.length; i++)
      q[i] = 0.055 * (1 - coverage[i]!) + [0.93, 0.9, 0.82][c]! * coverage[i]!;
  }
  return out;
}

/**
 * One frame of the reel: which stage it shows at which frame of the shot, and from which column on still the stage
 * before.
 */
interface Shown {
  readonly stage: number;
  readonly n: number;
  readonly edge: number | null;
}

/** The frames of a part in the reel's order. */
function framesOf(part: RevealPart, per: number, widthPx: number): Shown[] {
  const wipe = Math.max(1, Math.round(per * 0.35));
  const out: Shown[] = [];
  for (let stage = 0; stage <= part.stages.length; stage++)
    for (let f = 0; f < per; f++) {
      const wiped = f < wipe && stage > 0 && stage < part.stages.length;
      out.push({
        stage,
        n: out.length % part.frames,
        edge: wiped ? Math.round((widthPx * (f + 1)) / (wipe + 1)) : null,
      });
    }
  return out;
}

const nameOf = (stage: number, n: number): string => `${stage} ${n}`;

/** Makes and keeps all pictures that the frames show, by moments. @param each called after each */
async function keepPictures(
  part: RevealPart,
  shown: readonly Shown[],
  kept: KeptPictures,
  o: RevealOptions,
  each: () => void,
): Promise<void> {
  const h = o.heightPx;
  const w = o.widthPx - (o.widthPx % 2);
  const wanted = wantedOf(shown);
  for (const n of [...wanted.keys()].sort((x, y) => x - y))
    for (const stage of wanted.get(n)!) {
      o.signal?.throwIfAborted();
      kept.keep(
        nameOf(stage, n),
        stage === part.stages.length
          ? await sideBySide(part, n, w, h)
          : fitInto(await part.stages[stage]!.frame(n), w, h),
      );
      each();
    }
}

/** Stages wanted at each frame of the shot, in rising order. */
function wantedOf(shown: readonly Shown[]): Map<number, readonly number[]> {
  const all = new Map<number, Set<number>>();
  for (const { stage, n, edge } of shown) {
    const set = all.get(n) ?? new Set<number>();
    set.add(stage);
    if (edge !== null) set.add(stage - 1);
    all.set(n, set);
  }
  return new Map([...all].map(([n, set]) => [n, [...set].sort((x, y) => x - y)]));
}

/** Writes the reveal's frames to `sink`, part after part; how many there are. */
export async function renderReveal(
  parts: readonly RevealPart[],
  sink: PictureSink,
  faces: Readonly<Record<Face, Typeface>>,
  o: RevealOptions,
): Promise<number> {
  const h = o.heightPx;
  const { widthPx: w, heightPx: whole } = revealSize(o);
  const per = Math.round((o.secondsAStage ?? 1.6) * o.framesPerSecond);
  const size = Math.round(h * 0.052);
  const plans = parts.map((p) => framesOf(p, per, w));
  const total = plans.reduce(
    (sum, p) => sum + p.length + [...wantedOf(p).values()].reduce((k, stages) => k + stages.length, 0),
    0,
  );
  let done = 0;
  let frames = 0;
  const kept = new KeptPictures(o.scratch, w, h);
  try {
    for (const [k, part] of parts.entries()) {
      const shown = plans[k]!;
      kept.clear();
      await keepPictures(part, shown, kept, o, () => o.progress?.(++done, total));
      let coverage: Float32Array | null = null;
      let captionOf = -1;
      for (const { stage, n, edge } of shown) {
        o.signal?.throwIfAborted();
        if (stage !== captionOf || coverage === null) {
          const text =
            stage === part.stages.length ? `${shortTitle(part.title)}: before and after` : part.stages[stage]!.caption;
          coverage = await renderLines(
            [
              {
                ...fitLine(text, size, 0.94 * w, faces.regular),
                x: w / 2,
                y: Math.round(h + 0.62 * (whole - h)),
                align: 'centre',
                face: 'regular',
              },
            ],
            w,
            whole,
            faces,
          );
          captionOf = stage;
        }
        const current = kept.read(nameOf(stage, n));
        if (edge !== null) wipeIn(current, kept.read(nameOf(stage - 1, n)), edge);
        await sink.writeCoded(captioned(current, coverage, whole));
        frames++;
        o.progress?.(++done, total);
      }
    }
  } finally {
    kept.close();
  }
  return frames;
}

/** Right of the edge the stage before is still seen; a light line stands on the edge. */
function wipeIn(current: Picture, before: Picture, edge: number): void {
  const { width: w, height: h } = current;
  for (let c = 0; c < 3; c++) {
    const to = plane(current, c);
    const from = plane(before, c);
    for (let y = 0; y < h; y++) {
      to.set(from.subarray(y * w + edge, (y + 1) * w), y * w + edge);
      for (let x = Math.max(0, edge - 1); x < Math.min(w, edge + 1); x++) to[y * w + x] = 0.92;
    }
  }
}

async function sideBySide(part: RevealPart, n: number, w: number, h: number): Promise<Picture> {
  const out = createPicture(w, h, 3);
  for (let i = 0; i < out.data.length; i++) out.data[i] = 0.055;
  const half = Math.floor(w / 2) - 4;
  const pictures = [await part.stages[0]!.frame(n), await part.stages[part.stages.length - 1]!.frame(n)];
  pictures.forEach((p, k) => {
    const rgb = fitInto(p, p.width, p.height);
    const height = Math.min(h, Math.round((half * rgb.height) / rgb.width));
    const small = resize(rgb, half, height, 'area');
    const x0 = k === 0 ? 2 : w - half - 2;
    const y0 = Math.max(0, Math.round((h - height) / 2));
    for (let c = 0; c < 3; c++)
      for (let y = 0; y < height && y + y0 < h; y++)
        plane(out, c).set(plane(small, c).subarray(y * half, (y + 1) * half), (y + y0) * w + x0);
  });
  return out;
}
