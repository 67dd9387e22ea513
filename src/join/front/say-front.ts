/**
 * The front step's reason in words.
 */
import type { RegionFile } from '../../plate/marks/marks.js';
import type { FollowedFront } from '../passing/follow-front.js';
import type { FrontSoftness } from './front-softness.js';
import type { Veil } from './veil.js';

/** An outline that shows less edge than this is said to be doubtful (own choice). */
const PLAIN = 0.5;

export interface FrontSaid {
  /** What passes before the performer as marked, as followed, and how soft its edges are read and cut. */
  readonly things: readonly RegionFile[];
  readonly followed: readonly FollowedFront[];
  readonly soft: readonly FrontSoftness[];
  readonly softPx: readonly number[];
  /** 0 where no smear shows. */
  readonly shutterDeg: number;
  /** The thing that the performer is carried round; null where it is none. */
  readonly round: number | null;
  readonly pane: boolean;
  readonly veil: Veil | null;
  /** There are black bars. */
  readonly bars: boolean;
}

/** The whole reason: what passes, how it was followed, and how sure that is. */
export function sayFront(s: FrontSaid): string {
  const several = s.things.length > 1;
  return [
    sayThings(s.things.length),
    ...s.followed.map((f, i) => followedWords(f, s.things[i]!, several ? i + 1 : null)),
    s.shutterDeg > 0 ? `smeared by its own motion as under a shutter of ${s.shutterDeg}°, read from its edges` : '',
    saySoftness(s),
    ...s.soft.map((v, i) => sayDoubt(v, several ? `thing ${i + 1}'s` : 'its')),
    s.round === null
      ? ''
      : `the performer is carried round ${several ? `thing ${s.round + 1}` : 'it'} and comes out ` +
        'from behind it part by part, by how much nearer it is',
    s.pane ? sayPane(s.veil) : '',
    s.bars ? 'nothing is laid on the black bars round the picture' : '',
  ]
    .filter((part) => part !== '')
    .join('; ');
}

function sayThings(count: number): string {
  if (count === 0) return '';
  return `${count === 1 ? 'a thing of the plate passes' : `${count} things of the plate pass`} before the performer`;
}

function saySoftness({ soft, softPx }: FrontSaid): string {
  if (soft.length === 0) return '';
  const read = soft.flatMap((v) => (v.softPx === null ? [] : [v.softPx.toFixed(1)]));
  return read.length === 0
    ? `cut as softly as the plate's own edges are (${softPx[0]} px)`
    : `cut with the softness of ${soft.length === 1 ? 'its' : 'their'} own edges (${read.join(', ')} px)`;
}

function sayDoubt({ told }: FrontSoftness, whose: string): string {
  if (told === null || !(told < PLAIN)) return '';
  return (
    `${whose} outline shows an edge on ${(100 * told).toFixed(0)} % of its length only ` +
    '(it looks like what lies behind it, or lies beside its edge): look at the cut there'
  );
}

function sayPane(veil: Veil | null): string {
  if (veil === null) return 'a pane lies between';
  return [
    `a pane lies between: it takes ${(100 * veil.veil).toFixed(0)} % of the performer's light`,
    Math.max(...veil.lightLinear) > 0 ? ", adds its mist's own, as read from the darkest of the plate within it," : '',
    ' and keeps its bright scratches and drops over it',
  ].join('');
}

const BY: Readonly<Record<FollowedFront['how'], string>> = {
  set: 'goes as the set goes',
  edges: 'is followed by its edges',
  depth: 'is followed by its edges and the way of the camera past it',
  marks: 'goes from mark to mark as the marks tell',
  shape: 'changes its shape: its outline is carried from frame to frame by motion and settled by colours and edges',
};

/** How a thing is carried, and on which frame it needs a mark. */
function followedWords(f: FollowedFront, thing: RegionFile, number: number | null): string {
  const name = number === null ? 'it' : `thing ${number}`,
    runs = runsOf(f.lost),
    longest = runs.reduce((a, b) => (b[1] - b[0] > a[1] - a[0] ? b : a), [0, -1] as readonly [number, number]);
  const need =
    runs.length === 0
      ? ''
      : `, and is lost on ${runs.map(([a, b]) => (a === b ? `frame ${a}` : `frames ${a} to ${b}`)).join(', ')}: ` +
        'outline it on frame ' +
        `${Math.round((longest[0] + longest[1]) / 2)}${thing.frames.length === 1 ? ' with as many points' : ''}`;
  return `${name} ${BY[f.how]}${need}`;
}

function runsOf(frames: readonly number[]): (readonly [number, number])[] {
  const out: [number, number][] = [];
  for (const n of frames) {
    const last = out.at(-1);
    if (last !== undefined && last[1] === n - 1) last[1] = n;
    else out.push([n, n]);
  }
  return out;
}
