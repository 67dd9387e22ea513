/**
 * The documents of a production's book and their schemas. One kind, one schema; zod checks what enters the
 * book, TypeScript types follow from it. Results of the stages (cut list, measures, brief, verdict,
 * recipe, inspection) are stored as the stage wrote them: their types live with the stage, and the book
 * only checks that they are objects of the right version.
 */
import { ATTENTION_DEFAULTS } from '../brief/cautions.js';
import { z } from 'zod';
import { marksFileSchema } from '../plate/marks/marks.js';
import type { CutList, ShotSummary } from '../film/types.js';
import type { PlateMeasures } from '../plate/types.js';
import type { Verdict } from '../take/types.js';
import type { Recipe } from '../join/types.js';
import type { Inspection } from '../inspect/types.js';
import type { MediaInfo } from '../media/types.js';

const id = z.string().regex(/^[a-z0-9][a-z0-9-]{0,63}$/, 'an id is 1 to 64 small letters, digits and hyphens');
/** A stage's result, kept as the stage wrote it. */
const result = <T>() => z.custom<T>((v) => typeof v === 'object' && v !== null, 'a result must be an object');

/** The camera the studio owns: enough to turn a view into a place for the tripod. */
const cameraSchema = z.object({
  name: z.string().min(1),
  /** Width of the sensor area that the video mode uses, in millimetres. */
  sensorWidthMm: z.number().positive(),
  sensorHeightMm: z.number().positive(),
  /** Focal lengths that can be set, in millimetres, as [min, max]; equal for a fixed lens. */
  lensesMm: z.array(z.tuple([z.number().positive(), z.number().positive()])).min(1),
  videoWidthPx: z.number().int().positive(),
  videoHeightPx: z.number().int().positive(),
  rates: z.array(z.string()).min(1),
});

const attentionSchema = z.object({
  takeSeconds: z.number().positive().max(600),
  restSeconds: z.number().min(0).max(3600),
  blockMinutes: z.number().positive().max(240),
  restBlockMinutes: z.number().min(0).max(480),
  blocksADay: z.number().int().positive().max(48),
  warmestC: z.number().min(0).max(45),
});

/** The production's own document; there is one. */
export const productionSchema = z.object({
  id: z.literal('production'),
  title: z.string().min(1).max(200),
  rate: z.string(),
  performer: z.object({
    name: z.string(),
    species: z.string(),
    heightM: z.number().positive(),
    triesADay: z.number().int().positive(),
  }),
  /** The performer's attention (brief/cautions.ts): books from before it was kept here get the program's defaults. */
  attention: attentionSchema.default(ATTENTION_DEFAULTS),
  camera: cameraSchema,
  place: z.object({
    name: z.string(),
    latitude: z.number().min(-90).max(90),
    longitude: z.number().min(-180).max(180),
    timeZone: z.string(),
    roomLengthM: z.number().positive(),
    yard: z.object({ fromDeg: z.number(), toDeg: z.number() }).nullable(),
  }),
  /** Tolerances changed by hand: matter → [fits, mendable]. */
  tolerances: z.record(z.string(), z.tuple([z.number(), z.number()])),
  /** The production's delivery: loudness target and the like. */
  delivery: z.object({ loudnessLufs: z.number(), truePeakDbtp: z.number() }),
});
/** A production, as the book keeps it. */
export type ProductionDocument = z.infer<typeof productionSchema>;

const filmSchema = z.object({
  id,
  title: z.string().min(1),
  file: z.string().min(1),
  credit: z.string(),
  licence: z.string(),
  info: result<MediaInfo>(),
  cutList: result<CutList>().optional(),
  summaries: z.array(result<ShotSummary>()).optional(),
});
/** A film that was added to a production. */
export type FilmDocument = z.infer<typeof filmSchema>;

const pickSchema = z.object({
  id,
  film: id,
  title: z.string().min(1),
  in: z.number().int().min(0),
  out: z.number().int().positive(),
  order: z.number(),
  note: z.string(),
  /** Frames count from the pick's first frame. */
  marks: marksFileSchema,
  /** What the performer is to do here, as a sentence for the brief. */
  action: z.string(),
});
/** A shot that was picked from a film. */
export type PickDocument = z.infer<typeof pickSchema>;

/** `of` here and below: stamp of what it was made from (jobs/stale.ts). */
const measuresSchema = z.object({
  id,
  at: z.string(),
  of: z.string().optional(),
  measures: result<PlateMeasures>(),
});
/** A plate's or take's measures as the book keeps them, and when they were taken. */
export type MeasuresDocument = z.infer<typeof measuresSchema>;

const briefSchema = z.object({
  id,
  at: z.string(),
  of: z.string().optional(),
  brief: result<Record<string, unknown>>(),
});

const takeSchema = z.object({
  id,
  pick: id.nullable(),
  title: z.string().min(1),
  file: z.string().min(1),
  kind: z.enum(['video', 'still', 'sequence', 'layers']),
  star: z.boolean(),
  note: z.string(),
  info: result<MediaInfo>(),
  marks: marksFileSchema.nullable(),
  verdict: result<Verdict>().optional(),
  verdictOf: z.string().optional(),
  /** Of the file as it entered (file-stamp.ts). */
  stamp: z.string().optional(),
});
/** A take that was shot for a pick. */
export type TakeDocument = z.infer<typeof takeSchema>;

const joinSchema = z.object({
  id,
  take: id,
  recipe: result<Recipe>(),
  /** Controls as the program proposed them (join/step-controls.ts); joins from before they were kept have none. */
  proposed: z.record(z.string(), z.union([z.number(), z.boolean(), z.string()])).optional(),
  /** The job that proposed the recipe: when it goes on after a stop it keeps what a hand changed meanwhile. */
  by: z.string().optional(),
  render: z
    .object({
      file: z.string(),
      matte: z.string().nullable(),
      frames: z.number().int(),
      quality: z.enum(['fast', 'fine']),
      recipeHash: z.string(),
      at: z.string(),
    })
    .optional(),
  inspection: result<Inspection>().optional(),
});
/** A join of a take: its recipe and what was made of it. */
export type JoinDocument = z.infer<typeof joinSchema>;

const cutEntrySchema = z.discriminatedUnion('kind', [
  z.object({
    kind: z.literal('pick'),
    pick: id,
    trimIn: z.number().int().min(0),
    trimOut: z.number().int().min(0),
    soundLead: z.number().int(),
    soundTail: z.number().int(),
    soundFrom: z.enum(['film', 'take', 'patch', 'none']),
    /** Level of the film's own sound under a take's, dB; without it only the take's is heard. */
    filmUnderDb: z.number().min(-60).max(6).optional(),
  }),
  z.object({
    kind: z.literal('film'),
    film: id,
    in: z.number().int().min(0),
    out: z.number().int().positive(),
    soundLead: z.number().int(),
    soundTail: z.number().int(),
  }),
  z.object({ kind: z.literal('title'), lines: z.array(z.string()).min(1), frames: z.number().int().positive() }),
]);
/** One item of the cut: a join, a shot of the film or a title. */
export type CutEntry = z.infer<typeof cutEntrySchema>;
/** The cut's document; there is one. Captions count frames of the programme. */
export const cutSchema = z.object({
  id: z.literal('cut'),
  entries: z.array(cutEntrySchema),
  music: z.object({ file: z.string(), gainDb: z.number(), fromFrame: z.number().int() }).nullable(),
  captions: z.array(z.object({ in: z.number().int().min(0), out: z.number().int().positive(), text: z.string() })),
  credits: z.array(z.string()),
  thanks: z.array(z.string()),
});
/** The short's cut: what follows what. */
export type CutDocument = z.infer<typeof cutSchema>;

const momentSchema = z.object({
  id,
  take: id,
  frame: z.number().int().min(0),
  kind: z.string().min(1),
  note: z.string(),
});
/** A noted frame of a take. */
export type MomentDocument = z.infer<typeof momentSchema>;

const spentSchema = z.object({
  id,
  date: z.string(),
  what: z.string(),
  minutes: z.number().min(0),
  money: z.number().min(0),
  currency: z.string(),
});
const purposeSchema = z.object({ id, text: z.string() });
const daySchema = z.object({ id, at: z.string(), plan: result<Record<string, unknown>>() });
const deliverySchema = z.object({
  id,
  at: z.string(),
  files: z.array(z.string()),
  report: result<Record<string, unknown>>(),
});

/** Every kind of document, by which what comes in is checked. */
export const DOCUMENT_SCHEMAS = {
  production: productionSchema,
  film: filmSchema,
  pick: pickSchema,
  measures: measuresSchema,
  brief: briefSchema,
  take: takeSchema,
  join: joinSchema,
  cut: cutSchema,
  moment: momentSchema,
  spent: spentSchema,
  purpose: purposeSchema,
  day: daySchema,
  delivery: deliverySchema,
} as const;
/** Name of a kind of document. */
export type DocumentKind = keyof typeof DOCUMENT_SCHEMAS;
/** A document of a kind, as it is kept. */
export type DocumentOf<K extends DocumentKind> = z.infer<(typeof DOCUMENT_SCHEMAS)[K]>;

/** Names of all kinds. */
export const DOCUMENT_KINDS = Object.keys(DOCUMENT_SCHEMAS) as DocumentKind[];

/**
 * Makes an id from words a person wrote; `taken` avoids collisions by a number. Words that hold no
 * letter of a to z (a title in another script) give `otherwise`, which should say what is named (film,
 * take, pick), and what digits they have: take-3.
 */
export function makeId(words: string, taken: (id: string) => boolean, otherwise = 'unnamed'): string {
  // An accent goes, its letter stays one with its word: Écharpe is echarpe, not e-charpe.
  const plain = words
    .normalize('NFKD')
    .replace(/\p{M}+/gu, '')
    .toLowerCase();
  const own = plain
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-+|-+$/g, '')
    .slice(0, 48)
    .replace(/-+$/, '');
  const base =
    /[a-z]/.test(own) || !/\p{L}/u.test(plain) ? own || otherwise : own === '' ? otherwise : `${otherwise}-${own}`;
  if (!taken(base)) return base;
  for (let n = 2; ; n++) if (!taken(`${base}-${n}`)) return `${base}-${n}`;
}

/**
 * A file's name from a title: letters and digits of any script, small, with hyphens
 * between; `otherwise` where there are none.
 */
export function fileNameOf(title: string, otherwise: string): string {
  // 40 characters: at four bytes each they and an ending stay within the 255 bytes that file systems take.
  const name = title
    .normalize('NFC')
    .toLowerCase()
    .replace(/[^\p{L}\p{M}\p{N}]+/gu, '-')
    .replace(/^-+|-+$/g, '');
  return [...name].slice(0, 40).join('').replace(/-+$/, '') || otherwise;
}
