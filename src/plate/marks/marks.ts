/**
 * Marks: what a person points at in a frame, and the marks file in which they reach the program
 * (docs/files.md). Image coordinates in pixels of the file's conformed picture, origin top
 * left, pixel centres at +0.5. Heights in metres.
 */
import { z } from 'zod';
import { PlatewrightError } from '../../core/errors.js';
import { withSeats } from './seat.js';

const point = z.tuple([z.number().finite(), z.number().finite()]);
const line = z.tuple([point, point]);
const polygon = z.array(point).min(3);
/** Pixels to be added on a side of the picture. */
const pixels = z.number().min(0).optional();
const frame = z.number().int().min(0).optional();
/**
 * Heights in metres. One in centimetres is told by its size: no mark's upright is a tower, and no performer taller than
 * a giraffe stands on tiptoe (own choice of bounds).
 */
const heightUpTo = (mostM: number) =>
  z
    .number()
    .positive()
    .max(mostM, { error: (issue) => `is ${issue.input}, but heights are in metres: at most ${mostM} here` })
    .optional();
const ofThing = heightUpTo(120);
const ofPerformer = heightUpTo(12);

/** One mark of a marks file; fields of each kind in docs/files.md. */
export const markSchema = z.discriminatedUnion('kind', [
  // `heightSd`: metres, where the height is a guess (a person of assumed height).
  z.object({
    kind: z.literal('upright'),
    frame,
    foot: point,
    top: point,
    height: ofThing,
    heightSd: z.number().positive().optional(),
  }),
  z.object({ kind: z.literal('groundLines'), frame, lines: z.array(line).min(2) }),
  z.object({ kind: z.literal('horizon'), frame, line }),
  z.object({
    kind: z.literal('rectangle'),
    frame,
    corners: z.tuple([point, point, point, point]),
    width: z.number().positive().optional(),
    depth: z.number().positive().optional(),
    plane: z.enum(['ground', 'wall']).optional(),
  }),
  z.object({
    kind: z.literal('shadow'),
    frame,
    foot: point,
    tip: point,
    height: ofThing,
    top: point.optional(),
  }),
  z.object({
    kind: z.literal('head'),
    frame,
    ellipse: z.tuple([z.number(), z.number(), z.number().positive(), z.number().positive(), z.number()]),
    yawDeg: z.number().optional(),
  }),
  // Of who turns: the eye on the picture's left, the eye on its right, tip of the nose, middle of the mouth.
  z.object({ kind: z.literal('face'), frame, leftEye: point, rightEye: point, nose: point, mouth: point.optional() }),
  z.object({ kind: z.literal('stand'), frame, ground: point, top: point, height: ofPerformer }),
  z.object({
    kind: z.literal('carry'),
    frame,
    region: polygon,
    ground: point.optional(),
    top: point.optional(),
    height: ofPerformer,
  }),
  // `shadow`: a shadow of what goes, whose ground no frame shows lit; it is relit.
  // `gone`: on this frame it is not there (it came in later, or has left); the place is then seen bare.
  z.object({ kind: z.literal('erase'), frame, polygon, shadow: z.boolean().optional(), gone: z.boolean().optional() }),
  z.object({ kind: z.literal('widen'), frame, left: pixels, right: pixels, top: pixels, bottom: pixels }),
  // On a plate: `offsetFrames` says that this part is taken from so many frames later
  // of the same shot (a line spoken sooner).
  z.object({ kind: z.literal('patch'), frame, polygon, offsetFrames: z.number().int().optional() }),
  z.object({ kind: z.literal('front'), frame, polygon }),
  z.object({ kind: z.literal('pane'), frame, polygon }),
  // On a plate: where its own shadow lies on the performer (the shadow of whoever stands beside it, of a tree).
  z.object({ kind: z.literal('shade'), frame, polygon }),
  // `base`: two points of the foot line of an upright one (a pane of glass); without it it lies level on the ground.
  z.object({
    kind: z.literal('reflector'),
    frame,
    polygon,
    base: line.optional(),
    roughness: z.number().min(0).max(1).optional(),
    share: z.number().min(0).max(1).optional(),
  }),
  // What the performer's shadow falls on in place of the ground. `base`: two points of the line where it stands;
  // `height`: metres over the ground, of the step or of that line.
  z
    .object({
      kind: z.literal('receiver'),
      frame,
      polygon,
      surface: z.enum(['wall', 'step', 'face']),
      base: line.optional(),
      height: z.number().finite().optional(),
    })
    .refine(
      (m) => m.surface !== 'wall' || m.base !== undefined,
      'a wall needs base: two points of its foot line on the ground',
    )
    .refine(
      (m) => m.surface !== 'step' || m.height !== undefined,
      'a step needs height: metres over the ground, negative under it',
    ),
  // A surface that is known to throw back such a share of the light that falls on it, in the light that the performer
  // gets. `sdStops`: how surely; `grey`: it has no colour of its own; `upright`: it stands and faces the camera (else it
  // lies flat).
  z.object({
    kind: z.literal('tone'),
    frame,
    polygon,
    reflects: z.number().min(0.02).max(1),
    sdStops: z.number().positive().max(2).optional(),
    grey: z.boolean().optional(),
    upright: z.boolean().optional(),
  }),
  z.object({ kind: z.literal('screen'), frame, polygon }),
  z.object({ kind: z.literal('keep'), frame, polygon }),
  // Fur, cloth, water or leaves whose stir is measured.
  z.object({ kind: z.literal('stir'), frame, polygon }),
  // `soft`: on a take, how far from the line its edge may lie on either side (fur),
  // pixels; the widest of all lines holds for the take.
  z.object({
    kind: z.literal('body'),
    frame,
    axis: line.optional(),
    polygon: polygon.optional(),
    soft: z.number().positive().optional(),
  }),
  // On a take without a screen: a rough line round the performer, outside of which nothing
  // of it is; touches on it or on the set beside it.
  z.object({ kind: z.literal('about'), frame, polygon }),
  z.object({ kind: z.literal('touch'), frame, points: z.array(point).min(1), on: z.enum(['performer', 'set']) }),
  z.object({ kind: z.literal('pose'), frame: z.number().int().min(0), yawDeg: z.number() }),
  z.object({
    kind: z.literal('performer'),
    frame,
    ground: point,
    top: point,
    height: ofPerformer,
  }),
  // On a take of several pictures with alpha (`frame`: which picture): how far from the plate's camera it stands, in
  // metres along its line of sight (`distance`), in multiples of the distance of the stand or carry mark (`share`), or
  // by the point of the picture that stands on the ground (`foot`).
  z.object({
    kind: z.literal('layer'),
    frame: z.number().int().min(0),
    distance: z.number().positive().optional(),
    share: z.number().positive().optional(),
    foot: point.optional(),
  }),
  z.object({ kind: z.literal('eyeline'), frame, from: point, to: point }),
]);
/** One mark, by its `kind`; points in full pixels of the picture. */
export type Mark = z.infer<typeof markSchema>;
export type MarkKind = Mark['kind'];
const MARK_KINDS: readonly MarkKind[] = markSchema.options.map((o) => o.shape.kind.value);
/** x, y: full pixels of the picture from its top left corner. */
export type Point = readonly [number, number];

/** A whole marks file. */
export const marksFileSchema = z.object({
  /** The frame the marks were made on where a mark does not say its own. */
  frame: z.number().int().min(0).default(0),
  /** Focal length in pixels where the lens is known beforehand (a take's own camera). */
  focalPx: z.number().positive().optional(),
  cameraHeight: ofThing,
  /** Frame of a take on which the set is empty: the peel's clean frame. */
  cleanFrame: z.number().int().min(0).optional(),
  marks: z.array(markSchema),
});
/** Marks of a plate or take and what is known of its camera, as `parseMarks` lets them in (docs/files.md). */
export type MarksFile = z.infer<typeof marksFileSchema>;

/**
 * Polygons over time, carried between the frames given (an erase or front region file). `gone`: the thing is
 * not there on that frame (src/plate/marks/presence.ts).
 */
export const regionFileSchema = z.object({
  frames: z
    .array(z.object({ frame: z.number().int().min(0), polygon, gone: z.boolean().optional() }))
    .min(1)
    .refine((f) => f.some((k) => k.gone !== true), { message: 'on every frame it is gone: nothing is outlined' }),
});
/** Polygons over time, full pixels of the picture. */
export type RegionFile = z.infer<typeof regionFileSchema>;

const IN_WORDS: Readonly<Record<string, string>> = {
  tuple: 'a list of numbers, as the point [x, y]',
  array: 'a list',
  number: 'a number',
  int: 'a whole number',
  string: 'a text',
  boolean: 'true or false',
  object: 'an object in braces',
  undefined: 'nothing',
  null: 'null',
};

/** First zod issue as one readable phrase: where and what. */
export function firstIssue(error: z.ZodError): string {
  const i = error.issues[0];
  if (i === undefined) return 'it does not have the form asked for';
  const place = i.path.length > 0 ? i.path.join('.') : 'the document';
  const types = /expected (\w+), received (\w+)/i.exec(i.message);
  if (types === null) return `${place}: ${i.message}`;
  const wanted = IN_WORDS[types[1]!] ?? types[1]!;
  const got = IN_WORDS[types[2]!] ?? types[2]!;
  return types[2] === 'undefined'
    ? `${place} is missing; ${wanted} belongs there`
    : `${place} should be ${wanted}, but is ${got}`;
}

/** First issue of a marks file, its mark counted from 1 and named as checkMarks does. */
function markIssue(error: z.ZodError, raw: unknown): string {
  const issue = error.issues[0],
    [list, index, ...place] = issue?.path ?? [];
  if (issue === undefined || list !== 'marks' || typeof index !== 'number') return firstIssue(error);
  const kind: unknown = (raw as { marks: ({ kind?: unknown } | null)[] }).marks[index]?.kind;
  if (place.length === 1 && place[0] === 'kind')
    return kind === undefined
      ? `mark ${index + 1} says no kind; kinds are ${MARK_KINDS.join(', ')}`
      : `mark ${index + 1}: there is no kind ${JSON.stringify(kind)}; kinds are ${MARK_KINDS.join(', ')}`;
  const named = typeof kind === 'string' ? `mark ${index + 1} (${kind})` : `mark ${index + 1}`;
  return place.length === 0
    ? firstIssue(new z.ZodError([{ ...issue, path: [named] }]))
    : `${named}: ${firstIssue(new z.ZodError([{ ...issue, path: place }]))}`;
}

/**
 * Parses and checks a marks file's text; what a stand mark says of a carried performer is taken into its carry mark.
 * Throws `PW-MARKS-FORM` naming the place.
 */
export function parseMarks(text: string, name: string): MarksFile {
  let raw: unknown;
  try {
    // An editor may put a byte order mark before the text (RFC 8259, 8.1: a parser may pass over it).
    raw = JSON.parse(text.replace(/^\uFEFF/, ''));
  } catch (cause) {
    throw new PlatewrightError(
      'PW-MARKS-FORM',
      `${name} is not JSON (${(cause as Error).message}); a marks file looks like {"frame":0,"marks":[...]}`,
      { cause },
    );
  }
  const parsed = marksFileSchema.safeParse(raw);
  if (!parsed.success)
    throw new PlatewrightError('PW-MARKS-FORM', `${name}: ${markIssue(parsed.error, raw)}`, { cause: parsed.error });
  return withSeats(parsed.data);
}

/** Parses and checks a region file's text. Throws `PW-REGION-FORM`. */
export function parseRegion(text: string, name: string): RegionFile {
  let raw: unknown;
  try {
    // An editor may put a byte order mark before the text (RFC 8259, 8.1: a parser may pass over it).
    raw = JSON.parse(text.replace(/^\uFEFF/, ''));
  } catch (cause) {
    throw new PlatewrightError(
      'PW-REGION-FORM',
      `${name} is not JSON (${(cause as Error).message}); ` +
        'a region file looks like {"frames":[{"frame":0,"polygon":[[x,y],[x,y],[x,y]]}]}',
      { cause },
    );
  }
  const parsed = regionFileSchema.safeParse(raw);
  if (!parsed.success)
    throw new PlatewrightError(
      'PW-REGION-FORM',
      `${name}: ${firstIssue(parsed.error)} (a region file looks like ` +
        '{"frames":[{"frame":0,"polygon":[[x,y],[x,y],[x,y]]}]})',
      { cause: parsed.error },
    );
  return parsed.data;
}
