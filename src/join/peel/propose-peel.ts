/**
 * The peel step: how the performer is told from what is behind it, by what the take brings, what was marked and what
 * was found.
 */
import { basename } from 'node:path';
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import { thingsOf } from '../mark-regions.js';
import { softOf } from '../outline/marked-take.js';
import { marksOf, type ProposalInput } from '../proposal-input.js';
import type { PeelStep } from '../performer-steps.js';
import { outlineBand } from './performer.js';
import { outlineRegion, screenRegion } from './screen-part.js';

/** How the performer is told from what is behind it. Throws `PW-PEEL-NO-SCREEN` where nothing could tell it. */
export function proposePeel(
  input: Pick<ProposalInput, 'take' | 'screen' | 'screenFound' | 'noScreen' | 'room' | 'quality' | 'takeHasAlpha'>,
): PeelStep {
  const { take } = input;
  const outline = outlineRegion(take.marks);
  const screens = screenRegion(take.marks);
  const found = input.screen ?? null;
  const base = {
    step: 'peel' as const,
    on: true,
    screen: found?.colour ?? ('green' as const),
    ...(found === null ? {} : { screenHueDeg: Math.round(10 * found.hueDeg) / 10 }),
    quality: input.quality,
    spill: 1,
  };
  if (input.takeHasAlpha) return { ...base, method: 'alpha', why: 'the take brings its own alpha' };
  const garbage = screens === undefined ? {} : { garbage: screens };
  const [first, ...further] = thingsOf(marksOf(take.marks, 'keep')),
    keep = first === undefined ? {} : { keep: first, ...(further.length === 0 ? {} : { alsoKeep: further }) };
  if (outline !== undefined)
    return {
      ...base,
      method: 'outline',
      outline,
      ...softEdge(take),
      why: input.screenFound ?? `the performer was outlined on ${counted(outline.frames.length, 'frame')}`,
      ...garbage,
    };
  const clean = take.marks.cleanFrame;
  if (input.noScreen != null && (screens === undefined || clean !== undefined)) {
    if (clean === undefined)
      throw new PlatewrightError(
        'PW-PEEL-NO-SCREEN',
        `the take ${basename(take.measures.file)} shows no green or blue screen (${input.noScreen}), ` +
          `so the performer can't be told from what is behind it. Where the camera stood still, ` +
          `name a frame of the empty set (cleanFrame of the take's marks; “empty set” beside the take); ` +
          'else point at the performer (a rough line about it, or touches on it: marks "about" and "touch"), ' +
          'or outline it on a few frames (a "body" mark with a polygon). If it is a screen, mark its useful part',
        { kind: 'input' },
      );
    return {
      ...base,
      method: 'difference',
      cleanFrame: clean,
      why: `no screen is seen (${input.noScreen}): the performer is what differs from the empty set on frame ${clean}`,
      ...garbage,
    };
  }
  return {
    ...base,
    method: 'screen',
    why: screenWords(input, screens !== undefined, first !== undefined),
    ...(input.room === undefined || screens !== undefined ? {} : { dropEdges: input.room.drop }),
    ...garbage,
    ...keep,
    ...(clean === undefined ? {} : { cleanFrame: clean }),
  };
}

/** What the peel off a screen says of itself. */
function screenWords(
  { take, screen, screenFound, room }: Pick<ProposalInput, 'take' | 'screen' | 'screenFound' | 'room'>,
  edgesMarked: boolean,
  keepMarked: boolean,
): string {
  const clean = take.marks.cleanFrame;
  const edges = screenFound ?? (edgesMarked ? 'its edges were marked' : null);
  const said = [
    `the take was shot before a ${screen == null ? '' : `${screen.colour} `}screen`,
    edges,
    clean === undefined ? null : `its frame ${clean} shows the empty set`,
    keepMarked ? "what was marked keeps the screen's colour" : null,
    room?.why,
  ];
  return said.filter((s) => s != null).join('; ');
}

/** How soft the outline's edge is taken to be: as marked, else what suits the picture's height. */
function softEdge({ marks, measures }: ProposalInput['take']): { readonly softPx?: number } {
  const px =
    softOf(marks) ?? (measures.heightPx > 0 ? Math.round(10 * outlineBand(measures.heightPx)) / 10 : undefined);
  return px === undefined ? {} : { softPx: px };
}
