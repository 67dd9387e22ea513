/** Shapes of what the workbench may send, and the names in its addresses. */
import { z } from 'zod';
import { DOCUMENT_KINDS, type DocumentKind } from '../book/documents.js';
import { PlatewrightError } from '../core/errors.js';
import type { FrameSource } from './frame-store.js';

const SOURCES = new Set<FrameSource>(['film', 'plate', 'take', 'join', 'matte']);

export const editSchema = z.object({
  title: z.string().min(1).max(200),
  changes: z
    .array(
      z.discriminatedUnion('do', [
        z.object({
          do: z.literal('put'),
          kind: z.enum(DOCUMENT_KINDS as [DocumentKind, ...DocumentKind[]]),
          document: z.record(z.string(), z.unknown()),
        }),
        z.object({
          do: z.literal('change'),
          kind: z.enum(DOCUMENT_KINDS as [DocumentKind, ...DocumentKind[]]),
          id: z.string(),
          fields: z.record(z.string(), z.unknown()),
        }),
        z.object({
          do: z.literal('remove'),
          kind: z.enum(DOCUMENT_KINDS as [DocumentKind, ...DocumentKind[]]),
          id: z.string(),
        }),
      ]),
    )
    .min(1)
    .max(500),
});
export const settingSchema = z.object({
  name: z.string().min(1).max(40),
  numbers: z.array(z.number()).min(1).max(2).nullable(),
});
export const studioSchema = z.object({ name: z.string().min(1).max(40), text: z.string().max(200) });
export const jobSchema = z.object({
  kind: z.enum([
    'scan',
    'measure',
    'brief',
    'verdict',
    'outline',
    'quick',
    'join',
    'inspect',
    'day',
    'deliver',
    'reveal',
  ]),
  subject: z.string().max(64),
  spec: z.record(z.string(), z.unknown()).default({}),
});

/** `ground.azimuthDeg:30,air.grain:0.5` */
export function changesOf(text: string | undefined): Record<string, number> {
  const out: Record<string, number> = {};
  for (const part of (text ?? '').split(',').filter((s) => s !== '')) {
    const [name, value] = part.split(':');
    if (name === undefined || value === undefined || !Number.isFinite(Number(value)))
      throw new PlatewrightError('PW-SERVER-FORM', `"${part}" is no change; write step.number:value`, {
        kind: 'usage',
      });
    out[name] = Number(value);
  }
  return out;
}

/** A kind of document by its name in an address. Throws `PW-SERVER-NO-SUCH`. */
export function documentKind(text: string): DocumentKind {
  const kind = DOCUMENT_KINDS.find((k) => k === text);
  if (kind === undefined)
    throw new PlatewrightError('PW-SERVER-NO-SUCH', `the book has no documents called "${text}"`, { kind: 'usage' });
  return kind;
}

/** A source of pictures by its name in an address. Throws `PW-SERVER-NO-SUCH`. */
export function frameSource(text: string): FrameSource {
  if (!SOURCES.has(text as FrameSource))
    throw new PlatewrightError(
      'PW-SERVER-NO-SUCH',
      `there are no pictures called "${text}"; ask for film, plate, take, join or matte`,
      { kind: 'usage' },
    );
  return text as FrameSource;
}
