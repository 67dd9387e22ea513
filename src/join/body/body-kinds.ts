/**
 * Bodies that a performer may have, as few balls by a few numbers: an animal on four legs that stands, sits, lies or
 * crouches, a bird on two, a person. No likeness of one animal: trunk, legs, neck and head with usual proportions, so
 * that an outline, which tells no depth, can be asked which of them it may be of (body-likeness.ts).
 */
import type { BodyKind } from './body-kind.js';
import { CROUCHING } from './crouching-kind.js';
import { LYING, SITTING, STANDING } from './four-legged-kinds.js';
import { BIRD, PERSON } from './two-legged-kinds.js';

/** All of them, as body-likeness.ts tries them. */
export const BODY_KINDS: readonly BodyKind[] = [STANDING, SITTING, LYING, BIRD, PERSON, CROUCHING];
