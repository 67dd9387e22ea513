/**
 * Reads on one frame what only the take through the recipe tells: light, outline, softness, holes, size and the ground
 * about the foot.
 */
import type { Box } from '../../join/ground/ground.js';
import type { GroundStep } from '../../join/types.js';
import { readLightBeside } from '../light/against-light.js';
import { readAgainstTake } from '../texture/against-take.js';
import { readDirection } from '../texture/softness-by-direction.js';
import { rimWidth } from '../edge/edge-slope.js';
import { matteBox, type SeenFrame } from './frame.js';
import { readGrainBeside } from '../texture/grain-beside.js';
import { readHalo } from '../edge/halo.js';
import { NEARLY, SAME } from '../limits.js';
import { readOutlineBeside, readRimBeside } from '../edge/outline-beside.js';
import type { Bare } from './reference.js';
import type { Put } from './series.js';
import { readHoles, readThroughBeside } from '../edge/solid.js';
import { readMirrored } from '../light/mirrored.js';
import { readSurround } from '../light/surround.js';

/** Shift (px) up to which an outline lies on the recipe's. */
const LIES_ON = 0.35;
/** Matte's area (px²) from which its root tells a size to some percent. */
const LEAST_AREA = 400;

/** What of the recipe decides how a frame is read. */
export interface BesideOf {
  /** Null where no recipe says what the performer stood before. */
  readonly screen: 'green' | 'blue' | null;
  /** Something passes before the performer. */
  readonly fronts: boolean;
  /** Null where it is off, or its shadow was kept from the take. */
  readonly ground: GroundStep | null;
  /** Planned place of the foot. */
  readonly foot: readonly [number, number] | null;
}

/** Puts one frame's readings beside the bare join as the recipe makes it; what can't be read on it is put as null. */
export function readBeside(f: SeenFrame, bare: Bare, of: BesideOf, put: Put): void {
  const own = bare.explained >= SAME;
  put('explained', f.frame, bare.explained);
  put('takeBlur', f.frame, readAgainstTake(f, bare.expected));
  putLight(f, bare, own, put);
  if (own) putGrain(f, bare, put);
  const box = matteBox(bare.expected.matte, f.join.width, f.join.height);
  if (f.box === null || box === null) return;
  putEdge(f, bare, own, of, put);
  putSoftness(f, bare, f.box, box, put);
  putSize(f, bare, box, of, put);
  putGround(f, bare, of, put);
}

function putLight(f: SeenFrame, { expected }: Bare, own: boolean, put: Put): void {
  const light = readLightBeside(f, expected, own);
  put('exposure', f.frame, light?.stops ?? null);
  put('lightRed', f.frame, light?.red ?? null);
  put('lightBlue', f.frame, light?.blue ?? null);
  put('veil', f.frame, light?.veil ?? null);
  put('shade', f.frame, light?.shade ?? null);
  put('shadeAsked', f.frame, light?.shadeAsked ?? null);
  put('saturation', f.frame, light?.saturation ?? null);
  put('takeBlack', f.frame, light?.black ?? null);
  put('takeWhite', f.frame, light?.white ?? null);
}

function putGrain(f: SeenFrame, { luma, expected, gain, offset }: Bare, put: Put): void {
  if (luma === null) return;
  const grain = readGrainBeside(f, luma, expected.luma, { gain, offset });
  put('grainBeside', f.frame, grain?.ratio ?? null);
  put('grainAsked', f.frame, grain?.asked ?? null);
  put('grainEncoder', f.frame, grain?.encoder ?? null);
  put('grainSlope', f.frame, grain?.slope ?? null);
  put('grainSlopeSd', f.frame, grain?.slopeSd ?? null);
}

function putEdge(f: SeenFrame, bare: Bare, own: boolean, of: BesideOf, put: Put): void {
  const { expected, explained, gain, offset, shift } = bare;
  put('takeThrough', f.frame, own ? readThroughBeside(f, expected) : null);
  const edge = readRimBeside(f, expected, of.screen ?? 'green');
  put('spillBeside', f.frame, edge?.screen ?? null);
  put('rimLight', f.frame, edge?.light ?? null);
  // A slip shifts every rim, and is its own matter.
  if (own && Math.hypot(...shift) < LIES_ON) {
    const outline = readOutlineBeside(f, expected);
    put('rimBeside', f.frame, outline?.rim ?? null);
    put('beyondBeside', f.frame, outline?.beyond ?? null);
    put('coverBeside', f.frame, outline?.cover ?? null);
  }
  put('haloAsked', f.frame, readHalo(f, expected.coded.data, expected.matte)?.rim ?? null);
  const holes = explained < NEARLY ? null : readHoles(f, expected, gain, offset);
  put('holes', f.frame, holes?.share ?? null, holes?.at);
}

/** @param seen @param box boxes of the matte as seen and as expected */
function putSoftness(f: SeenFrame, { expected }: Bare, seen: Box, box: Box, put: Put): void {
  const { width, height } = f.join;
  const soft = readDirection(f, expected);
  put('softAlong', f.frame, soft?.along ?? null);
  put('softAcross', f.frame, soft?.across ?? null);
  put('softDeg', f.frame, soft?.deg ?? null);
  const rim = rimWidth(f.matte, width, height, seen);
  const asked = rimWidth(expected.matte, width, height, box);
  put('rim', f.frame, rim === null || asked === null ? null : rim / asked);
}

/** @param box of the expected matte */
function putSize(f: SeenFrame, { expected, scale }: Bare, box: Box, of: BesideOf, put: Put): void {
  if (scale !== 1) {
    put('size', f.frame, scale);
    return;
  }
  // Cut by the picture's border or hidden, less is seen of either.
  const { width, height } = f.join;
  const cut = box[0] <= 1 || box[1] <= 1 || box[2] >= width - 1 || box[3] >= height - 1;
  if (cut || of.fronts) return;
  let here = 0;
  let there = 0;
  for (let i = 0; i < f.matte.length; i++) {
    here += f.matte[i]!;
    there += expected.matte[i]!;
  }
  if (there > LEAST_AREA) put('size', f.frame, Math.sqrt(here / there));
}

/** Ground about the foot, which a performer of another size does not share, and what a floor mirrors. */
function putGround(f: SeenFrame, { expected, scale }: Bare, of: BesideOf, put: Put): void {
  const about = of.ground === null || of.foot === null || scale !== 1 ? null : readSurround(f, expected, of.foot);
  put('contact', f.frame, about?.contact ?? null);
  put('thrownBack', f.frame, about?.thrownBack ?? null);
  put('shadowTint', f.frame, about?.tint ?? null);
  const reflection = about === null ? undefined : of.ground?.reflection;
  const mirrored =
    reflection === undefined ? null : readMirrored(f, expected, reflection.base === undefined ? of.foot![1] : null);
  put('mirrored', f.frame, mirrored?.share ?? null);
  put('mirroredX', f.frame, mirrored?.off[0] ?? null);
  put('mirroredY', f.frame, mirrored?.off[1] ?? null);
  put('mirroredSharper', f.frame, mirrored?.sharper ?? null);
}
