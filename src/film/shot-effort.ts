/**
 * What using a shot would take, in plain sentences, with an estimate of the effort. The minutes are the program's own
 * rule of thumb (desk work for one join of the whole shot, no source): each part stands in its sentence, so that a
 * person can disagree.
 */
import type { SetShift } from './set-shift.js';
import { SMALL_W } from './small-frame.js';
import type { ShotEntry } from './types.js';

/** How the camera moves: not, evenly, to and fro, towards or away, or too slowly for a single step to show. */
export type CameraWay = 'none' | 'steady' | 'restless' | 'pushes' | 'slow';

/** What the estimate of a shot goes by. */
export interface ShotFacts extends SetShift {
  readonly move: CameraWay;
  readonly seconds: number;
  readonly fps: number;
  /** Share of the picture that moves otherwise than the set. */
  readonly beside: number;
  /** Mean luma, coded, 0..1. */
  readonly brightness: number;
  /** As from `lowContrast`. */
  readonly contrast: number;
  readonly entry: ShotEntry;
}

interface Part {
  readonly minutes: number;
  readonly sentence: string;
}

/** Minutes that any join takes: marks, brief, a look at the result. */
const ANY_JOIN = 20;

/** The sentences and the whole effort in minutes, rounded. */
export function effortOf(shot: ShotFacts): { takes: string[]; effortMinutes: number } {
  const parts = [lengthPart(shot), cameraPart(shot), besidePart(shot), ...picturePart(shot)];
  return {
    takes: parts.map(({ minutes, sentence }) =>
      Math.round(minutes) > 0 ? `${sentence} (+${Math.round(minutes)} min)` : sentence,
    ),
    effortMinutes: Math.round(parts.reduce((sum, { minutes }) => sum + minutes, ANY_JOIN)),
  };
}

function lengthPart({ seconds }: ShotFacts): Part {
  return seconds < 1
    ? { minutes: 15, sentence: `only ${seconds.toFixed(1)} s long: hardly time for a gag` }
    : { minutes: Math.max(0, (seconds - 2) * 4), sentence: `${seconds.toFixed(1)} s of picture` };
}

function cameraPart({ move, dx, dy, growth, fps }: ShotFacts): Part {
  switch (move) {
    case 'none':
      return { minutes: 0, sentence: 'the camera stands still' };
    case 'steady':
      return {
        minutes: 25,
        sentence:
          `the camera moves ${wayOf(dx, dy)}, about ` +
          `${Math.round((Math.hypot(dx, dy) / SMALL_W) * fps * 100)} % of the width a ` +
          'second: the performer must ride along',
      };
    case 'restless':
      return {
        minutes: 40,
        sentence: 'the camera is restless (hand-held, shaken or fast): the performer must ride along with its blur',
      };
    case 'pushes':
      return {
        minutes: 30,
        sentence:
          `the camera ${growth > 0 ? 'pushes in' : 'draws back'}, ` +
          `about ${Math.round(Math.abs(growth) * fps * 100)} % a second: ` +
          `the performer must ride along and ${growth > 0 ? 'grow' : 'shrink'}`,
      };
    case 'slow':
      return { minutes: 20, sentence: 'the camera moves slowly: the performer must ride along' };
  }
}

/** Where the camera goes: the other way than the picture. */
function wayOf(dx: number, dy: number): string {
  if (Math.abs(dx) >= Math.abs(dy)) return dx < 0 ? 'to the right' : 'to the left';
  return dy < 0 ? 'downwards' : 'upwards';
}

function besidePart({ beside, move }: ShotFacts): Part {
  if (beside <= 0.08) return { minutes: 0, sentence: 'hardly anything moves by itself' };
  // While the camera travels two frames can't tell a walker from a post that stands nearer.
  const nearer = move === 'none' ? '' : ', by itself or because it stands nearer or farther';
  const sentence = `about ${Math.round(beside * 100)} % of the picture moves otherwise than the set${nearer}: `;
  return beside > 0.3
    ? { minutes: 45, sentence: `${sentence}to erase, hold or keep in front` }
    : { minutes: 20, sentence: `${sentence}may have to be erased, held or kept in front` };
}

function picturePart({ brightness, contrast, entry }: ShotFacts): Part[] {
  const parts: Part[] = [];
  if (brightness < 0.12)
    parts.push({ minutes: 10, sentence: 'a dark picture: edges are hidden, but grain and light are hard to match' });
  if (contrast < 8) parts.push({ minutes: 5, sentence: 'a flat picture: little for a track to hold on to' });
  if (entry === 'dissolve' || entry === 'fade')
    parts.push({ minutes: 10, sentence: `begins with a ${entry}: use the part after it, or make the ${entry} anew` });
  return parts;
}
