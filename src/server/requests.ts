/** Reading what a request says: numbers, bodies, forms; every misuse is an error that names it. */
import type { Context } from 'hono';
import type { z } from 'zod';
import { PlatewrightError } from '../core/errors.js';
import { firstIssue } from '../plate/marks/marks.js';

/** A whole number from 0 in an address, with or without a picture's ending. Throws `PW-FRAME-RANGE`. */
export function wholeNumber(text: string, what: string): number {
  const n = Number(text.replace(/\.(jpg|png)$/, ''));
  if (!Number.isInteger(n) || n < 0)
    throw new PlatewrightError('PW-FRAME-RANGE', `"${text}" is not a ${what} number; count from 0`, { kind: 'usage' });
  return n;
}

/** The width asked for (`?w=`), px. Throws `PW-FRAME-WIDTH` unless it is from 16 to 8192. */
export function optionalWidth(c: Context): number | undefined {
  const text = c.req.query('w');
  if (text === undefined) return undefined;
  const w = Number(text);
  if (!Number.isInteger(w) || w < 16 || w > 8192)
    throw new PlatewrightError('PW-FRAME-WIDTH', `w=${text} is not a width from 16 to 8192 pixels`, { kind: 'usage' });
  return w;
}

/** The value; throws `PW-SERVER-NO-SUCH` where it is null. */
export function needFound<T>(value: T | null, what: string): T {
  if (value === null) throw new PlatewrightError('PW-SERVER-NO-SUCH', `there is no such ${what}`, { kind: 'usage' });
  return value;
}

/** The request's JSON. Throws `PW-SERVER-FORM` where it is none, or not said to be. */
export async function jsonBody(c: Context): Promise<unknown> {
  const type = c.req.header('content-type') ?? '';
  // A foreign page can send plain forms without asking first; JSON it cannot.
  if (!type.startsWith('application/json'))
    throw new PlatewrightError('PW-SERVER-FORM', 'send application/json', { kind: 'usage' });
  try {
    return await c.req.json();
  } catch (cause) {
    throw new PlatewrightError('PW-SERVER-FORM', `the request is not JSON (${(cause as Error).message})`, {
      kind: 'usage',
      cause,
    });
  }
}

/** The value in its shape. Throws `PW-SERVER-FORM` with the first thing that is wrong. */
export function parseAs<T>(schema: z.ZodType<T>, value: unknown, what: string): T {
  const parsed = schema.safeParse(value);
  if (!parsed.success)
    throw new PlatewrightError('PW-SERVER-FORM', `${what} is malformed: ${firstIssue(parsed.error)}`, {
      kind: 'usage',
    });
  return parsed.data;
}
