/**
 * Sharpness of the performer against the take itself. The recipe rendered again holds the take's own spectrum times
 * what the ride's scale, the softening asked and the grain make of it; the performer in the file should have the same.
 * A subject that is crisp by nature is crisp in both, so only what came on top (a sharpening, a softening, a file
 * scaled and scaled back) is read. Two bands of the picture an octave apart are compared (fineness.ts), the middle one
 * over the wide one: the finest holds most of the grain. Nothing is laid over the other, so a join whose performer
 * stands or looks a little otherwise is read as well.
 */
import type { Picture } from '../../image/picture.js';
import { bandsOf, coreOf, DEEP } from './fineness.js';
import { grow, type SeenFrame } from '../reader/frame.js';

/** The recipe rendered again, with its grain: the picture, its coded luma and the performer's matte, whole frame. */
export interface Expected {
  readonly coded: Picture;
  readonly luma: Float32Array;
  readonly matte: Float32Array;
}

/** How far the bands' filters reach over the outline, px. */
const REACH = 8;

/**
 * How much softer the performer is than the take through the recipe: 1 as soft, above softer, below sharper (root of
 * the ratio of the bands' shares); null where one of them shows too little.
 */
export function readAgainstTake(f: SeenFrame, expected: Expected): number | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    box = grow(f.box, REACH, REACH, W, H);
  // Where both are covered: what passes in front, or stands otherwise, is left out of both.
  const here = coreOf(f.matte, W, box),
    there = coreOf(expected.matte, W, box);
  const both = (i: number): boolean => here(i) >= DEEP && there(i) >= DEEP;
  const seen = bandsOf(f.luma, W, box, both),
    asked = bandsOf(expected.luma, W, box, both);
  return seen === null || asked === null ? null : Math.sqrt((asked.middle * seen.wide) / (asked.wide * seen.middle));
}
