/**
 * The performer on one frame from little: a rough line round it, touches on it and beside it, what moves against the
 * set. Colours of both sides as mixtures, the labels that suit them and the picture's own edges best by a least cut,
 * the mixtures anew from the labels, until nothing changes (C. Rother, V. Kolmogorov & A. Blake, SIGGRAPH 2004); at
 * last the colours near each place decide.
 */
import { distanceToSet, signedDistance } from '../../image/distance.js';
import { gridCut } from '../../image/grid-cut.js';
import { labelAreas } from '../peel/label-areas.js';
import { colourMixture, logDensity } from './colour-mixture.js';
import { localOdds } from './local-odds.js';
import { cutEdges, type SmallFrame } from './small-frame.js';

/** Weight of the picture's edges beside the colours' odds, and the share of it that a length costs everywhere. */
export const EDGE_WEIGHT = 6,
  EDGE_FLOOR = 0.06;
/** Most that the mixtures may say of a pixel. */
const MOST_GLOBAL = 5,
  MOST_BESIDE_MOTION = 2.2;
const PERFORMER_PARTS = 5,
  SET_PARTS = 7,
  TURNS = 6;
/** Pixels about the outline that are no samples, reach of the near colours, turns with them. */
const DOUBTFUL = 2,
  REACH = 26,
  NEAR_TURNS = 3;
/**
 * Small pixels about a touch within which motion is doubted; most that it says for and against a pixel, and the small
 * pixels by which dense motion is smeared over an outline.
 */
const DOUBTED = 45,
  MOVED = 2.2,
  STILL = -2,
  SMEARED = 6;
/** What they say a smear's width inside and outside. */
const DEEP_MOVED = MOVED * Math.tanh(1),
  DEEP_STILL = STILL * Math.tanh(0.7);
/** Share of the open part that must move by itself before motion says anything: a performer may hold still. */
const LEAST_MOVED = 0.12;
const SURE = 1e4;
/** Share of the pixels that change their side in a turn from which on nothing more is asked. */
const SETTLED = 0.0005;
type CutEdges = ReturnType<typeof cutEdges>;

/**
 * @param must 1 surely performer, -1 surely set, 0 open
 * @param prior log odds known beside the colours (motion), or null
 * @returns 1 performer, 0 set; null where nothing is open or one side has no colours
 */
export function firstOutline(frame: SmallFrame, must: Int8Array, prior: Float32Array | null): Uint8Array | null {
  const said = prior === null ? null : movingPrior(prior, must, frame.width, frame.height),
    edges = cutEdges(frame, EDGE_WEIGHT, EDGE_FLOOR),
    found = byMixtures(frame, must, said, edges);
  return found === null ? null : byNearColours(frame, must, said, edges, found);
}

/** How much each pixel counts as the performer's and as the set's at first, 0..1. */
function startWeights(
  { width: w, height: h }: SmallFrame,
  must: Int8Array,
  said: Float32Array | null,
): { readonly front: Float32Array; readonly back: Float32Array } {
  const n = w * h,
    outside = new Uint8Array(n);
  for (let i = 0; i < n; i++) outside[i] = must[i] === -1 ? 1 : 0;
  const depth = distanceToSet(outside, w, h);
  let deepest = 0,
    touched = 0;
  for (let i = 0; i < n; i++) {
    if (must[i] !== -1 && depth[i]! < 1e9) deepest = Math.max(deepest, depth[i]!);
    if (must[i] === 1) touched++;
  }
  // At first whoever lies deep in the rough line is the performer, more so what was touched; where much of it moves by
  // itself, what moves.
  const front = new Float32Array(n),
    back = new Float32Array(n),
    told = touched > 40;
  for (let i = 0; i < n; i++) {
    if (must[i] === -1) {
      back[i] = 1;
      continue;
    }
    const deep = deepest > 0 ? Math.min(1, depth[i]! / (0.6 * deepest)) : 1;
    if (must[i] === 1) front[i] = 1;
    else if (said !== null) {
      front[i] = said[i]! > DEEP_MOVED ? 1 : 0;
      back[i] = said[i]! < DEEP_STILL ? 0.5 : 0;
    } else {
      front[i] = told ? 0.04 * deep : deep * deep;
      back[i] = told ? 0.02 : 0.15 * (1 - deep);
    }
  }
  return { front, back };
}

/** The labels so far, and the log odds that the whole picture's colours and motion give each pixel. */
interface ByMixtures {
  readonly mask: Uint8Array;
  readonly global: Float32Array;
}

/** Mixtures of both sides' colours and the least cut in turn; null where a side has no colours. */
function byMixtures(frame: SmallFrame, must: Int8Array, said: Float32Array | null, edges: CutEdges): ByMixtures | null {
  const { width: w, height: h, data } = frame,
    n = w * h,
    { front, back } = startWeights(frame, must, said),
    most = said === null ? MOST_GLOBAL : MOST_BESIDE_MOTION;
  let found: ByMixtures | null = null;
  for (let turn = 0; turn < TURNS; turn++) {
    const f = colourMixture(data, n, front, PERFORMER_PARTS),
      b = colourMixture(data, n, back, SET_PARTS);
    if (f === null || b === null) return null;
    const global = new Float32Array(n);
    for (let i = 0; i < n; i++) {
      const odds =
        logDensity(f, data[i]!, data[n + i]!, data[2 * n + i]!) -
        logDensity(b, data[i]!, data[n + i]!, data[2 * n + i]!);
      global[i] = Math.max(-most, Math.min(most, odds)) + (said === null ? 0 : said[i]!);
    }
    const mask = gridCut(held(global, must), edges, w, h),
      changed = found === null ? n : difference(mask, found.mask);
    found = { mask, global };
    if (changed < SETTLED * n) break;
    // A line from motion lies beside the true one by its smear: what is near it teaches nothing yet.
    const label = sides(mask, w, h, said === null ? 0 : SMEARED - turn);
    for (let i = 0; i < n; i++) {
      front[i] = label[i] === 1 ? 1 : 0;
      back[i] = label[i] === 2 ? 1 : 0;
    }
  }
  return found;
}

/** The colours near each place decide beside the whole picture's. */
function byNearColours(
  frame: SmallFrame,
  must: Int8Array,
  said: Float32Array | null,
  edges: CutEdges,
  found: ByMixtures,
): Uint8Array {
  const { width: w, height: h } = frame,
    n = w * h,
    open = new Uint8Array(n);
  for (let i = 0; i < n; i++) open[i] = must[i] === 0 ? 1 : 0;
  let { mask } = found;
  for (let turn = 0; turn < NEAR_TURNS; turn++) {
    const doubt = said === null ? DOUBTFUL : Math.max(DOUBTFUL, SMEARED - 2 * turn),
      near = localOdds(frame, frame, sides(mask, w, h, doubt), open, REACH),
      odds = new Float32Array(n);
    for (let i = 0; i < n; i++) odds[i] = 0.5 * found.global[i]! + near[i]!;
    const now = gridCut(held(odds, must), edges, w, h),
      changed = difference(now, mask);
    mask = now;
    if (changed < SETTLED * n) break;
  }
  return tidy(mask, must, w, h);
}

/** What motion says of each pixel: by the distance to the line round what moves. Null where too little does. */
function movingPrior(motion: Float32Array, must: Int8Array, w: number, h: number): Float32Array | null {
  const moves = new Uint8Array(w * h);
  let open = 0,
    moving = 0;
  for (let i = 0; i < moves.length; i++)
    if (must[i] !== -1) {
      open++;
      if (motion[i]! > 1) {
        moves[i] = 1;
        moving++;
      }
    }
  if (moving < LEAST_MOVED * open) return null;
  // Where a person touched, what was thought before is in doubt.
  const touched = Uint8Array.from(must, (m, i) => (m === 1 || (m === -1 && open > 0 && inner(must, i, w, h)) ? 1 : 0)),
    away = distanceToSet(touched, w, h);
  return signedDistance(Float32Array.from(moves), w, h).map(
    (d, i) => (d > 0 ? MOVED : -STILL) * Math.tanh(d / SMEARED) * Math.min(1, away[i]! / DOUBTED),
  );
}

/** A touch on the set: it lies amid what is open, not beyond the line about it. */
function inner(must: Int8Array, i: number, w: number, h: number): boolean {
  const x = i % w,
    y = Math.floor(i / w),
    r = 2 * 4 + 3;
  return (
    [
      [r, 0],
      [-r, 0],
      [0, r],
      [0, -r],
    ].filter(([dx, dy]) => {
      const u = x + dx!,
        v = y + dy!;
      return u >= 0 && v >= 0 && u < w && v < h && must[v * w + u] !== -1;
    }).length >= 3
  );
}

function held(odds: Float32Array, must: Int8Array): Float32Array {
  return odds.map((v, i) => (must[i] === 0 ? v : must[i]! * SURE));
}

/** What a length of the outline costs in the picture's edges, 1 where it runs through what is flat. */
export function edgeCost(frame: SmallFrame, mask: Uint8Array): number {
  const { width: w, height: h } = frame,
    edges = cutEdges(frame, 1, 0);
  let cost = 0,
    length = 0;
  for (let y = 0, i = 0; y < h - 1; y++)
    for (let x = 0; x < w; x++, i++) {
      if (x < w - 1 && mask[i] !== mask[i + 1]) {
        cost += edges[0][i]!;
        length++;
      }
      if (mask[i] !== mask[i + w]) {
        cost += edges[2][i]!;
        length++;
      }
    }
  return length === 0 ? 1 : cost / length;
}

function difference(a: Uint8Array, b: Uint8Array): number {
  let k = 0;
  for (let i = 0; i < a.length; i++) if (a[i] !== b[i]) k++;
  return k;
}

/** 1 inside, 2 outside, 0 within `doubt` pixels of the line between. */
export function sides(mask: Uint8Array, w: number, h: number, doubt: number): Uint8Array {
  const toIn = distanceToSet(mask, w, h),
    toOut = distanceToSet(
      mask.map((v) => 1 - v),
      w,
      h,
    );
  return mask.map((v, i) => (v === 1 ? (toOut[i]! > doubt ? 1 : 0) : toIn[i]! > doubt ? 2 : 0));
}

/** Share of the largest part under which a part apart is dropped, and of its area under which a hollow is filled. */
const LEAST_PART = 0.12,
  LEAST_HOLLOW = 0.004;

/** One performer: parts apart that are small and untouched go, pin-holes are filled. */
export function tidy(mask: Uint8Array, must: Int8Array | null, w: number, h: number): Uint8Array {
  const { labels, area } = labelAreas(mask, w, h),
    keep = new Uint8Array(area.length);
  let most = 0;
  for (let l = 1; l < area.length; l++) most = Math.max(most, area[l]!);
  for (let l = 1; l < area.length; l++) keep[l] = area[l]! >= LEAST_PART * most ? 1 : 0;
  if (must !== null) for (let i = 0; i < mask.length; i++) if (must[i] === 1) keep[labels[i]!] = 1;
  const out = mask.map((v, i) => (v === 1 && keep[labels[i]!] === 1 ? 1 : 0));
  const { labels: holes, area: size } = labelAreas(
      out.map((v) => 1 - v),
      w,
      h,
    ),
    edge = new Uint8Array(size.length);
  for (let x = 0; x < w; x++) edge[holes[x]!] = edge[holes[(h - 1) * w + x]!] = 1;
  for (let y = 0; y < h; y++) edge[holes[y * w]!] = edge[holes[y * w + w - 1]!] = 1;
  if (must !== null) for (let i = 0; i < mask.length; i++) if (must[i] === -1) edge[holes[i]!] = 1;
  for (let i = 0; i < out.length; i++) {
    const l = holes[i]!;
    if (out[i] === 0 && edge[l] === 0 && size[l]! < LEAST_HOLLOW * most) out[i] = 1;
  }
  return out;
}
