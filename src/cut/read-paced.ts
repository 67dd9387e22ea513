/** A file's sound along the pictures that are shown of it: what the mix and a retimed file have in common. */
import { secondsOf, type Rate } from '../core/rational.js';
import { readSound } from '../media/sound.js';
import type { Sound } from '../media/types.js';
import { pacedSound } from './paced-sound.js';

/** All sound here: stereo at 48 kHz. */
const SAMPLE_RATE = 48000;
/** Read beyond what is played at each end, seconds: room for the search of windows that go on from each other. */
const SPARE = 0.1;

/**
 * Seconds of the source by seconds of the part, from seconds of the source at each frame shown. `lead`: seconds from
 * the first frame to the part's begin, negative where it begins earlier. Before the first frame and after the last the
 * sound goes at its own speed.
 */
export function alongPicture(paced: readonly number[], rate: Rate, lead: number): (seconds: number) => number {
  const last = paced.length - 1,
    frame = secondsOf(1, rate);
  return (seconds) => {
    const at = (seconds + lead) / frame;
    if (at <= 0) return paced[0]! + at * frame;
    if (at >= last) return paced[last]! + (at - last) * frame;
    const n = Math.floor(at);
    return paced[n]! + (at - n) * (paced[n + 1]! - paced[n]!);
  };
}

/**
 * So many samples of a file's sound, stretched along a map from seconds of the answer to seconds of the file; of the
 * file only what is played is held. Null where it has no sound.
 */
export async function readPaced(
  file: string,
  sourceSeconds: (seconds: number) => number,
  length: number,
): Promise<Sound | null> {
  let least = Infinity,
    most = 0;
  for (let i = 0; i <= length; i += 480) {
    const s = sourceSeconds(i / SAMPLE_RATE);
    least = Math.min(least, s);
    most = Math.max(most, s);
  }
  const from = Math.max(0, least - SPARE),
    source = await readSound(file, {
      sampleRate: SAMPLE_RATE,
      channels: 2,
      fromSeconds: from,
      toSeconds: Math.max(from, most) + SPARE,
    });
  if (source === null) return null;
  const at = (i: number): number => (sourceSeconds(i / SAMPLE_RATE) - from) * SAMPLE_RATE;
  return { sampleRate: SAMPLE_RATE, channels: 2, samples: pacedSound(source, at, length) };
}
