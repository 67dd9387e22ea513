/**
 * The mix: every item's sound at its place, with J and L edges and short equal-power fades at each edge
 * so that no cut clicks; a sound whose picture is paced is stretched along it; the film's own sound under another's;
 * music beneath. 48 kHz stereo float; blocks of one source at a time are read, so that memory holds the programme's
 * sound alone.
 */
import { secondsOf } from '../core/rational.js';
import { soundBlocks } from '../media/sound.js';
import type { Sound } from '../media/types.js';
import { alongPicture, readPaced } from './read-paced.js';
import type { PlacedItem, Programme } from './programme.js';

const SAMPLE_RATE = 48000;
const FADE_SECONDS = 0.012;

/** One source's part of the mix, in samples of the mix. */
export interface MixPart {
  readonly file: string;
  /** Seconds into the source where the part begins. */
  readonly fromSeconds: number;
  readonly startSample: number;
  readonly lengthSamples: number;
  readonly gainDb: number;
  readonly fadeSeconds: number;
  /** Where in the source, in seconds, a second of the part lies, where it does not go at the source's own speed. */
  readonly sourceSeconds?: (seconds: number) => number;
}

/** Where each sound goes. Edges that would begin before the programme are shortened. */
function mixParts(p: Programme, placed: readonly PlacedItem[]): MixPart[] {
  const sampleAt = (frame: number): number => Math.round(secondsOf(frame, p.rate) * SAMPLE_RATE);
  const total = sampleAt(placed[placed.length - 1]!.recordOut);
  const parts: MixPart[] = [];
  for (const i of placed) {
    if (i.under !== undefined)
      parts.push({
        file: i.under.sound.file,
        fromSeconds: secondsOf(i.under.sound.in, i.under.sound.rate),
        startSample: sampleAt(i.recordIn),
        lengthSamples: sampleAt(i.recordOut) - sampleAt(i.recordIn),
        gainDb: i.under.gainDb,
        fadeSeconds: FADE_SECONDS,
      });
    if (i.sound === null) continue;
    const from = Math.max(0, i.recordIn - i.soundLead);
    const to = Math.max(from + 1, i.recordOut + i.soundTail);
    const start = sampleAt(from);
    const end = Math.min(total, sampleAt(to));
    const source = secondsOf(i.sound.in, i.sound.rate) - (secondsOf(i.recordIn, p.rate) - secondsOf(from, p.rate));
    const skip = Math.max(0, -source);
    const begin = start + Math.round(skip * SAMPLE_RATE);
    if (end > begin)
      parts.push({
        file: i.sound.file,
        fromSeconds: Math.max(0, source),
        startSample: begin,
        lengthSamples: end - begin,
        gainDb: 0,
        fadeSeconds: FADE_SECONDS,
        ...(i.sound.paced === undefined
          ? {}
          : {
              sourceSeconds: alongPicture(i.sound.paced, i.rate, begin / SAMPLE_RATE - secondsOf(i.recordIn, p.rate)),
            }),
      });
  }
  if (p.music !== null) {
    const start = sampleAt(p.music.fromFrame);
    parts.push({
      file: p.music.file,
      fromSeconds: 0,
      startSample: start,
      lengthSamples: total - start,
      gainDb: p.music.gainDb,
      fadeSeconds: 1,
    });
  }
  return parts;
}

/** Renders the mix, before loudness. Sources without sound, or shorter than asked, leave silence. */
export async function renderMix(
  p: Programme,
  placed: readonly PlacedItem[],
  progress?: (done: number, total: number) => void,
): Promise<Sound> {
  const total = Math.round(secondsOf(placed[placed.length - 1]!.recordOut, p.rate) * SAMPLE_RATE);
  const out = new Float32Array(total * 2);
  const parts = mixParts(p, placed);
  let done = 0;
  for (const part of parts) {
    await addPart(out, part);
    progress?.(++done, parts.length);
  }
  return { sampleRate: SAMPLE_RATE, channels: 2, samples: out };
}

async function addPart(out: Float32Array, part: MixPart): Promise<void> {
  if (part.sourceSeconds !== undefined) return addPaced(out, part, part.sourceSeconds);
  const gain = 10 ** (part.gainDb / 20);
  const fade = Math.min(Math.round(part.fadeSeconds * SAMPLE_RATE), part.lengthSamples >> 1);
  const skip = Math.round(part.fromSeconds * SAMPLE_RATE);
  let position = 0;
  for await (const block of soundBlocks(part.file, { sampleRate: SAMPLE_RATE, channels: 2 })) {
    const n = block.samples.length / 2;
    for (let i = Math.max(0, skip - position); i < n; i++) {
      const k = position + i - skip;
      if (k >= part.lengthSamples) return;
      let g = gain;
      if (k < fade) g *= Math.sin(((k + 0.5) / fade) * (Math.PI / 2));
      const left = part.lengthSamples - 1 - k;
      if (left < fade) g *= Math.sin(((left + 0.5) / fade) * (Math.PI / 2));
      const o = (part.startSample + k) * 2;
      if (o + 1 >= out.length) return;
      out[o]! += g * block.samples[2 * i]!;
      out[o + 1]! += g * block.samples[2 * i + 1]!;
    }
    position += n;
    if (position - skip >= part.lengthSamples) return;
  }
}

/** A part that follows a paced picture. */
async function addPaced(out: Float32Array, part: MixPart, sourceSeconds: (seconds: number) => number): Promise<void> {
  const gain = 10 ** (part.gainDb / 20),
    { lengthSamples: n, startSample } = part,
    fade = Math.min(Math.round(part.fadeSeconds * SAMPLE_RATE), n >> 1),
    paced = await readPaced(part.file, sourceSeconds, n);
  if (paced === null) return;
  for (let i = 0; i < n; i++) {
    const edge = Math.min(1, (Math.min(i, n - 1 - i) + 0.5) / Math.max(1, fade)),
      g = gain * Math.sin((edge * Math.PI) / 2),
      o = (startSample + i) * 2;
    if (o + 1 >= out.length) return;
    out[o]! += g * paced.samples[2 * i]!;
    out[o + 1]! += g * paced.samples[2 * i + 1]!;
  }
}
